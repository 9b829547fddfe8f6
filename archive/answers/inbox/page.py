"""The summary of one run of an inbox, as a document."""

from __future__ import annotations

import shlex

from archive.answers.documents import Block, Document, DocumentSection, FactsBlock, Listing, Notice, Para, TableBlock
from archive.answers.inbox.take import InboxRun, JobTaken
from archive.answers.translated import translation_note
from archive.answers.wording import ENGLISH, Wording

_NAMED = 50
"""Files of one kind that are named."""


def compose(run: InboxRun, archive: str, at: str, words: Wording = ENGLISH) -> Document:
    """The page. at: when the run ended (ISO 8601)."""
    sections = [
        DocumentSection("", [*translation_note(words), Para(_lead(run, words), "lead"), *_table(run, words)]),
        *(s for j in run.jobs if (s := _of_job(j, archive, words)).blocks),
    ]
    if run.loose:
        items = [f"{name}: {why}" for name, why in run.loose.items()]
        sections.append(DocumentSection(words("In no folder of a job"), _listed(items, words)))
    return Document(
        title=words("Inbox"),
        subtitle=words("archive {archive}", archive=archive),
        kicker=words("Uploads taken in"),
        date=at[:10],
        sections=sections,
        language=words.language,
        page_of=words("page {page} of {pages}"),
        footer=words("Nothing in the inbox was moved, changed or deleted."),
    )


def _lead(run: InboxRun, words: Wording) -> str:
    taken, waiting = sum(len(j.taken) for j in run.jobs), run.waiting
    text = words("Files taken in: {taken}. Files that wait until they rest: {waiting}.", taken=taken, waiting=waiting)
    return f"{text} {words('There is something to look at.')}" if run.look else text


def _table(run: InboxRun, words: Wording) -> list[Block]:
    if not run.jobs:
        return [Para(words("There is no folder of a job."))]
    head = [
        words("job"),
        words("taken in"),
        words("records"),
        words("set aside"),
        words("here already"),
        words("waiting"),
        words("not taken"),
        words("deposit"),
    ]
    rows, strong = [], set()
    for number, j in enumerate(run.jobs):
        told = j.plain()
        counts = [len(j.taken), told["records"] or 0, told["set_aside"] or 0, len(j.here) + len(j.nothing)]
        counts += [len(j.waiting), len(j.left)]
        deposit = told["deposit"] or (words("none: {why}", why=j.trouble) if j.trouble else words("none"))
        rows.append([j.job, *(words.number(n, 0) for n in counts), deposit])
        if j.look:
            strong.add(number)
    return [TableBlock(head, rows, "lrrrrrrl", weights=(2.2, 1, 1, 1, 1, 1, 1, 3), strong=frozenset(strong))]


def _of_job(j: JobTaken, archive: str, words: Wording) -> DocumentSection:
    told, blocks = j.plain(), list[Block]()
    if j.trouble:
        blocks.append(Notice(words("Nothing of this folder was taken"), [j.trouble]))
    if told["set_aside"]:
        blocks.append(Para(words("What was set aside, and what to do: {command}", command=_setaside(j, archive))))
    found = {k: n for k, n in (told["findings"] or {}).items() if n}
    if found:
        blocks.append(FactsBlock([(words("findings"), ", ".join(f"{words(k)} {n}" for k, n in found.items()))]))
    if told["conflicts"]:
        blocks.append(Para(words("Records that contradict another one of the same test: {n}.", n=told["conflicts"])))
    if j.left:
        items = [f"{path}: {why}" for path, why in j.left.items()]
        blocks += [Para(words("Not taken:")), *_listed(items, words)]
    if j.waiting:
        blocks += [Para(words("Waiting until they rest:")), *_listed(j.waiting, words)]
    return DocumentSection(j.job, blocks)


def _setaside(j: JobTaken, archive: str) -> str:
    return f"muniment setaside {shlex.quote(archive)} --job {shlex.quote(j.job)}"


def _listed(items: list[str], words: Wording) -> list[Block]:
    more = [Para(words("and {n} more", n=len(items) - _NAMED))] if len(items) > _NAMED else []
    return [Listing(items[:_NAMED]), *more]
