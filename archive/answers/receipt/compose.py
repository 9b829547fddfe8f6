"""The receipt as a document of plain blocks: the same on a terminal, as text, as HTML and as PDF."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from archive.answers import count_text
from archive.answers.documents import (
    Block,
    Code,
    Document,
    DocumentSection,
    FactsBlock,
    Listing,
    Notice,
    Para,
    TableBlock,
)
from archive.answers.documents.qr import head_to_scan
from archive.answers.receipt.next_step import next_step
from archive.answers.receipt.receipt_facts import ReceiptFacts
from archive.answers.translated import translation_note
from archive.answers.wording import ENGLISH, Wording
from archive.store import mapping_use
from archive.store.head_digits import grouped
from archive.vocabulary.ranges import ranges

_SHOWN = 12
"""Labels, ranges or names of one kind that are listed."""
_CAUSES = 40
"""Causes of what was set aside that are listed."""


def compose(facts: ReceiptFacts, words: Wording = ENGLISH, *, kept: bool = False) -> Document:
    """The receipt. kept: in a file, with each file as received and its SHA-256, and what comes next."""
    told = facts.told
    sections = [
        DocumentSection("", [*translation_note(words), FactsBlock(_said(facts, words))]),
        DocumentSection(words("Read"), _read(told, words)),
        DocumentSection(words("Records"), _records(told, words)),
        DocumentSection(words("Set aside"), _set_aside(told, words)),
        DocumentSection(words("To be looked at"), _to_look_at(facts, words)),
        DocumentSection(words("Found by rules"), _found(told, words)),
        DocumentSection(words("The schedule"), _schedule(told, words)),
        DocumentSection(words("The links of the job as they stand now"), _links(facts, words)),
        DocumentSection(words("The ledger"), _ledger(facts, words, kept=kept)),
    ]
    if kept:
        sections.append(DocumentSection(words("Next"), [Para(next_step(facts))]))
        sections.append(DocumentSection(words("Files as received"), _files(told, words)))
    at = str(told.get("at") or "")
    return Document(
        title=_title(facts, words),
        subtitle="",
        kicker=words("Receipt of a deposit"),
        date=at[:10] or "1970-01-01",
        sections=[s for s in sections if s.blocks],
        language=words.language,
    )


def _title(facts: ReceiptFacts, words: Wording) -> str:
    if facts.dry_run:
        return words("Dry run: nothing was written")
    if facts.told["deposit"] is None:
        return words("Nothing new: no deposit was made")
    return words("Deposit {deposit}", deposit=facts.told["deposit"])


def _said(facts: ReceiptFacts, words: Wording) -> list[tuple[str, str]]:
    told = facts.told
    by = told.get("by_name") or told.get("by") or words("not stated")
    rows = [
        (words("job"), told.get("job") or facts.job),
        (words("site"), told.get("site")),
        (words("zone"), told.get("zone")),
        (words("at"), told.get("at")),
        (words("by"), by if told["deposit"] else None),
        (words("reason"), told.get("reason")),
        (words("archive"), facts.archive),
    ]
    return [(name, str(value)) for name, value in rows if value]


def _read(told: dict[str, Any], words: Wording) -> list[Block]:
    by = {
        mapping_use.NAMED: words("the mapping that was named"),
        mapping_use.FROM_SHELF: words("the archive's mapping"),
        mapping_use.OWN: words("a mapping of the user's folder"),
        mapping_use.DRAFT: words("A DRAFT that nobody looked over"),
        mapping_use.ACCEPTED: words("a draft, accepted here"),
        "": words("its own reader"),
    }
    rows = [
        [
            r["layout"] or words("not recognised"),
            str(r["files"]),
            str(r["records"]),
            str(r["set_aside"]),
            by[r["by"]] if r["layout"] else words("nobody"),
        ]
        for r in told.get("layouts", [])
    ]
    head = [words("layout"), words("files"), words("records"), words("aside"), words("read by")]
    blocks: list[Block] = [TableBlock(head, rows, "lrrrl", weights=(3, 1, 1, 1, 3))] if rows else []
    if passed := told.get("passed_over"):
        names = words.some(passed, 4)
        blocks.append(
            Para(
                words.counted(
                    len(passed),
                    "{count} file of operating systems passed over: {names}",
                    "{count} files of operating systems passed over: {names}",
                    names=names,
                )
            )
        )
    alike: dict[tuple[str, ...], list[str]] = {}
    for draft in told.get("drafted", []):
        if draft["unplaced"]:
            alike.setdefault(tuple(draft["unplaced"]), []).append(draft["file"])
    for unplaced, files in alike.items():
        file, names = words.some(ranges(files), _SHOWN), words.some(unplaced, _SHOWN)
        blocks.append(Para(words("{file}: the draft has no place for {names}", file=file, names=names)))
    return blocks


def _records(told: dict[str, Any], words: Wording) -> list[Block]:
    named = {
        "new": words("new"),
        "retests": words("new tests of links that were tested before"),
        "reread": words("read again from files that are here already; this reading counts"),
        "renditions": words("the same test with other rounding or in less detail; the richer one counts"),
        "same_file": words("here already: the same file"),
        "same_content": words("here already: the same content"),
        "conflicts": words("IN CONFLICT: the same test with other values; none counts until one is withdrawn"),
        "relabelled": words("UNDER ANOTHER LABEL: the same test; the former counts until somebody decides"),
        "copied_curves": words("COPIED CURVES: the same curves as another test; somebody may have copied a result"),
    }
    rows = [(str(told["records"]), words("handed in"))]
    rows += [(str(told[kind]), text) for kind, text in named.items() if told[kind]]
    graded = told.get("graded", {})
    for verdict, text in (("pass", words("pass")), ("fail", words("fail")), ("not graded", words("not graded"))):
        if graded.get(verdict):
            rows.append((str(graded[verdict]), words("graded here: {verdict}", verdict=text)))
    blocks: list[Block] = [TableBlock([words("records"), words("what they are")], rows, "rl", weights=(1, 8))]
    for here in told.get("here", []):
        blocks.append(
            Para(
                words.counted(
                    here["records"],
                    "{count} of them is here since {day}: deposit {deposit}, job {job}",
                    "{count} of them are here since {day}: deposit {deposit}, job {job}",
                    day=str(here.get("at") or "")[:10],
                    deposit=here["deposit"],
                    job=here["job"] or words("none"),
                )
            )
        )
    reasons = [words("{n} not graded: {why}", n=r["records"], why=r["reason"]) for r in graded.get("reasons", [])]
    if reasons:
        blocks.append(Listing(reasons[:_SHOWN]))
        blocks += _more(len(reasons), words)
    return blocks


def _set_aside(told: dict[str, Any], words: Wording) -> list[Block]:
    """By cause: each cause with its remedy once, and what it struck by name."""
    causes: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for row in told.get("aside", []):
        at = ", ".join(x for x in (row["path"], row["place"], row["link_label"]) if x)
        causes[tuple(row[k] or "" for k in ("reason", "found", "expected", "remedy"))].append(at)
    items = []
    for (reason, found, expected, remedy), places in causes.items():
        said = f"{words.some(places, 4)}: {reason}"
        said += f"; {words('found {what}', what=found)}" if found else ""
        said += f"; {words('expected {what}', what=expected)}" if expected else ""
        items.append(said + (f". {remedy[:1].upper()}{remedy[1:]}" if remedy else ""))
    title = words("{n} could not be read; kept as handed in", n=told["set_aside"])
    return [Notice(title, items[:_CAUSES]), *_more(len(items), words, _CAUSES)] if items else []


def _to_look_at(facts: ReceiptFacts, words: Wording) -> list[Block]:
    told = facts.told
    items = []
    for other in told.get("elsewhere", []):
        items.append(
            words.counted(
                other["records"],
                "{count} record is HERE ALREADY UNDER JOB {job}, deposit {deposit}; nothing was moved",
                "{count} records are HERE ALREADY UNDER JOB {job}, deposit {deposit}; nothing was moved",
                job=other["job"] or words("none"),
                deposit=other["deposit"],
            )
        )
    items += told.get("notes", [])
    items += [words("IN DOUBT: {what}", what=line) for line in told.get("doubts", [])]
    items += [words("TO KNOW: {what}", what=line) for line in told.get("cautions", [])]
    return [Listing(items)] if items else []


def _found(told: dict[str, Any], words: Wording) -> list[Block]:
    rows = [[words(f["severity"]), f["rule"].replace("-", " "), str(f["count"])] for f in told.get("found", [])]
    if not rows:
        return []
    head = [words("severity"), words("rule"), words("findings")]
    return [TableBlock(head, rows, "llr", weights=(1, 3, 1))]


def _schedule(told: dict[str, Any], words: Wording) -> list[Block]:
    blocks: list[Block] = []
    named = {"added": words("added"), "removed": words("removed"), "changed": words("changed")}
    for schedule in told.get("schedules", []):
        listed = schedule["links"]
        blocks.append(Para(words.counted(listed, "It lists {count} link now.", "It lists {count} links now.")))
        rows = [(f"{named[k]} ({len(schedule[k])})", _labels(schedule[k], words)) for k in named if schedule[k]]
        blocks.append(FactsBlock(rows))
    return blocks


def _links(facts: ReceiptFacts, words: Wording) -> list[Block]:
    if facts.progress is None:
        return []
    counts = facts.progress.counts
    blocks: list[Block] = [Para(line) for line in (*count_text.sums(counts, words), *count_text.beside(counts, words))]
    _, others = count_text.apart(counts, words)
    blocks.append(Para(others))
    names = count_text.names(words)
    listed = ("failing", "not_graded", "in_conflict", "in_doubt", "missing", "unexpected", "late")
    rows = [(f"{names[k]} ({counts[k]})", _labels(counts.of(k), words)) for k in listed if counts.of(k)]
    if rows:
        blocks.append(FactsBlock(rows))
    whys = [f"{x.label}: {words.reason(x.why)}" for x in facts.progress.links if x.why and x.result.tested]
    notes = [
        *facts.progress.notes,
        *(w for w in whys if not any(w.endswith(n) or w in n for n in facts.progress.notes)),
    ]
    if notes:
        blocks += [Listing(notes[:_SHOWN]), *_more(len(notes), words)]
    return blocks


def _ledger(facts: ReceiptFacts, words: Wording, *, kept: bool) -> list[Block]:
    told = facts.told
    head = str(told["ledger_head"])
    if not head:
        return []
    says = words("ledger head {head} over {size} entries", head=head, size=told["ledger_size"])
    blocks: list[Block] = [Para(says), Para(words("to type:")), Code(grouped(head))]
    if kept and facts.archive_id:
        blocks.append(head_to_scan(facts.archive_id, int(told["ledger_size"]), head, words))
    return blocks


def _files(told: dict[str, Any], words: Wording) -> list[Block]:
    rows = [
        [f["name"], f"{f['bytes']:,}", f["sha256"], f.get("kept_in", words("this deposit"))]
        for f in told.get("received", [])
    ]
    if not rows:
        return []
    head = [words("file"), words("bytes"), "SHA-256", words("kept in")]
    return [TableBlock(head, rows, "lrll", weights=(3, 1, 4, 2), code=frozenset({2}))]


def _labels(labels: Any, words: Wording) -> str:
    return words.some(ranges(labels), _SHOWN)


def _more(count: int, words: Wording, shown: int = _SHOWN) -> list[Block]:
    return [Para(words("and {n} more", n=count - shown))] if count > shown else []
