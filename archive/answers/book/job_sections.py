"""The sections about the whole job, each by the word a person asks for it with."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from archive import vocabulary
from archive.answers import count_text
from archive.answers.book.book_facts import BookFacts, BookLink, Row
from archive.answers.cautions import cautions
from archive.answers.documents import Block, DocumentSection, FactsBlock, Listing, Notice, Para, TableBlock, stressed
from archive.answers.filed import document_name
from archive.answers.finding_text import finding_text
from archive.answers.job_terms import sentences
from archive.answers.sealing.seal_note import seal_line
from archive.answers.wording import Wording, plain
from archive.vocabulary.link_counts import FAILING, IN_CONFLICT, IN_DOUBT, NOT_GRADED

DEFAULT_COLUMNS = ("length", "insertion_loss", "return_loss", "next", "ps_next", "acr_f", "ps_acr_f")
_FORMER = {"acr_f": "elfext", "ps_acr_f": "ps_elfext"}
"""What editions before 2009 called a parameter: it stands in the same column."""
_LOSS = "optical_loss"
_MANY = 400
"""Labels of one kind that are listed at the most."""


def summary(facts: BookFacts, words: Wording) -> DocumentSection:
    """The job in numbers, and its facts; without a heading, since it stands first."""
    blocks: list[Block] = []
    for part in facts.cover.split("\n\n"):
        if part.strip():
            blocks.append(Para(" ".join(part.split()), role="lead"))
    blocks.append(Para(_state(facts, words), role="body" if facts.cover else "lead"))
    blocks.append(FactsBlock(job_facts(facts, words), columns=2))
    blocks.append(FactsBlock(count_text.rows(facts.counts, words), columns=2))
    blocks += [Para(text, "small") for text in count_text.sums(facts.counts, words)]
    beside = count_text.beside(facts.counts, words)
    if facts.counts["provisional"]:
        beside.append(
            words(
                "Links whose verdict rests on limit lines known to this program only from memory, to be verified "
                "against the standard, or on sweeps coarser than field tests are: {count}.",
                count=facts.counts["provisional"],
            )
        )
    doubtful = facts.counts.of("in_doubt")
    if doubtful:
        beside.append(words("In doubt whether their tests are of one link: {links}.", links=words.some(doubtful)))
    beside += sentences(facts.terms, words)
    if beside:
        blocks.append(Notice(words("To be read with these numbers"), beside))
    counts: dict[tuple[str, str], int] = {}
    for x in facts.links:
        if x.result.tested:
            key = (x.limit, x.result.outcome)
            counts[key] = counts.get(key, 0) + 1
    named = count_text.names(words)
    rows = [[limit or words("none named"), named[v], str(n)] for (limit, v), n in sorted(counts.items())]
    if rows:
        head = [words("limit"), words("verdict"), words("links")]
        blocks.append(TableBlock(head, rows, align="llr", weights=(3, 1, 1), caption=words("Verdicts by limit")))
    return DocumentSection("", blocks)


def _state(facts: BookFacts, words: Wording) -> str:
    """The state of the job in a sentence."""
    c = facts.counts
    if c.complete:
        return words("Complete: every link is tested and passes.")
    filled = {"tested": c["tested"], "passing": c["passing"]}
    if not c.has_schedule:
        return words("Links tested: {tested}; passing: {passing}. No schedule was filed.", **filled)
    return words(
        "Not complete: of {count} scheduled links and those beyond, tested: {tested}, passing: {passing}.",
        count=c["scheduled"],
        **filled,
    )


def job_facts(facts: BookFacts, words: Wording) -> list[tuple[str, str]]:
    """Names and dates of the job."""
    j = facts.job
    rows = [
        (words("job"), plain(j.get("job_id"))),
        (words("name"), plain(j.get("name"))),
        (words("client"), plain(j.get("client"))),
        (words("site"), plain(j.get("site"))),
        (words("contractor"), plain(j.get("contractor"))),
        (words("crew"), plain(j.get("crew"))),
        (words("required limit"), plain(j.get("required_limit"))),
        (words("work began"), words.day(plain(j.get("work_start")))),
        (words("work ended"), words.day(plain(j.get("work_end")))),
        (words("warranty from"), words.day(plain(j.get("warranty_start")))),
        (words("warranty until"), words.day(plain(j.get("warranty_end")))),
        (words("records kept until"), words.day(plain(j.get("retain_until")))),
    ]
    return [(name, value) for name, value in rows if value]


def open_points(facts: BookFacts, words: Wording) -> DocumentSection:
    """What is not done: missing, failing, undecided, not graded, unexpected, set aside, errors."""
    lists = [
        (words("Scheduled and not tested"), facts.counts.of("missing")),
        (words("Failing"), facts.counts.of("failing")),
        (words("Tested and not scheduled"), facts.counts.of("unexpected")),
        (words("Late"), facts.counts.of("late")),
    ]
    items = [f"{title} ({len(labels)}): {words.some(labels, _MANY)}" for title, labels in lists if labels]
    blocks: list[Block] = [Notice(words("Links"), items)] if items else []
    if facts.notes:
        blocks.append(Listing([words(n) for n in facts.notes]))
    unsettled = [x for x in facts.links if x.result.outcome in (NOT_GRADED, IN_CONFLICT, IN_DOUBT)]
    if unsettled:
        rows = [[x.label, words.reason(x.why)] for x in unsettled]
        head = [words("link"), words("why")]
        caption = words("Tested, and without a verdict or a record that stands")
        blocks.append(TableBlock(head, rows, caption=caption, weights=(1, 3)))
    if facts.set_aside:
        rows = [
            [plain(s["link_label"]), plain(s["path"]), plain(s["place"]), plain(s["reason"]), plain(s["remedy"])]
            for s in facts.set_aside
        ]
        head = [words(h) for h in ("link", "file", "place", "why it was set aside", "what to do")]
        caption = words("Set aside, and read in no later deposit")
        blocks.append(TableBlock(head, rows, caption=caption, weights=(1, 1.4, 0.8, 2, 2)))
    errors = [f for f in facts.findings if f.get("severity") == "error" and f.get("status") == "raised"]
    if errors:
        rows = [
            [words.term(rule), str(len(found)), finding_text(found[0], words), _links(found, words)]
            for rule, found in by_rule(errors)
        ]
        head = [words(h) for h in ("rule", "times", "what was found first", "links")]
        caption = words("Findings that must be resolved")
        blocks.append(TableBlock(head, rows, align="lrll", caption=caption, weights=(1.4, 0, 2.6, 2.4)))
    if not blocks:
        blocks.append(Para(words("Nothing is open.")))
    return DocumentSection(words("Open points"), blocks)


def schedule(facts: BookFacts, words: Wording, columns: Sequence[str] = ()) -> Iterator[DocumentSection]:
    """All links grouped by place; columns are parameters: a reading, or the smallest margin of a curve.

    Without any: those of copper, of fibre, or of both, as the job has it.
    """
    waves: list[float] = []
    if not columns:
        waves = sorted({nm for x in facts.links for nm in x.losses})
        copper = any({*x.margins, *x.values} & {*DEFAULT_COLUMNS[1:], *_FORMER.values()} for x in facts.links)
        columns = DEFAULT_COLUMNS if copper or not waves else DEFAULT_COLUMNS[:1]

    def cell(x: BookLink, p: vocabulary.Parameter) -> str:
        if p.id in read:
            return words.value(x.values.get(p.id), p.unit)
        return words.margin(x.margins.get(p.id, x.margins.get(_FORMER.get(p.id, ""))), p.unit)

    def name(p: vocabulary.Parameter) -> str:
        ids = [i for i in (p.id, _FORMER.get(p.id, "")) if any(i in x.margins for x in facts.links)]
        return " / ".join(words.parameter(i) for i in ids or [p.id])

    def losses(x: BookLink) -> list[str]:
        found = [words.number(x.losses.get(nm), 2) for nm in waves]
        return [*found, words.number(x.margins.get(_LOSS), 2)] if waves else []

    known = [vocabulary.parameter(c) for c in columns]
    read = {p.id for p in known if any(p.id in x.values for x in facts.links)}
    head = [words("link"), words("tested"), words("verdict")]
    head += [words.headed(p.id) if p.id in read else name(p) for p in known]
    head += [f"{words.headed(_LOSS)}, {nm:g}\u00a0nm" for nm in waves] + [words.parameter(_LOSS)] * bool(waves)
    intro = words(
        "Under a parameter without a unit stands its smallest margin in dB, of all pairs and both ends; under one with "
        "a unit its worst reading."
    )
    yield DocumentSection(words("Schedule of links"), [Para(intro, role="small")])
    for place, group in groupby(facts.links, key=lambda x: x.place):
        rows = [
            (
                x.result.outcome == FAILING,
                [x.label, _day(x), verdict_text(x, words), *(cell(x, p) for p in known), *losses(x)],
            )
            for x in group
        ]
        numbers = len(head) - 3
        table = stressed(head, rows, align="lll" + "r" * numbers, weights=(1.3, 0, 0, *([1] * numbers)))
        yield DocumentSection(place_name(place, words), [table], level=2)


def _day(x: BookLink) -> str:
    return str(x.record.get("tested_local") or x.record.get("tested_at") or "")[:10]


def verdict_text(x: BookLink, words: Wording) -> str:
    """The verdict on a link with what must stand beside it."""
    return count_text.result(x.result, words)


def instruments(facts: BookFacts, words: Wording) -> DocumentSection:
    """The units that were used, with calibrations and how many links rest on each; documents filed."""
    rows = [
        [
            " ".join(x for x in (plain(i.get("maker")), plain(i.get("model"))) if x),
            plain(i.get("serial")),
            plain(i.get("unit")),
            words.day(plain(i.get("calibrated_on")), empty=words("not stated")),
            words.day(plain(i.get("calibration_due")), empty=words("not stated")),
            plain(i.get("links")),
        ]
        for i in facts.instruments
    ]
    head = [words(h) for h in ("instrument", "serial", "unit", "calibrated", "calibration due", "links")]
    none = Para(words("No record names an instrument."))
    blocks: list[Block] = [TableBlock(head, rows, align="lllllr", weights=(1.8, 1.3, 0.9, 0, 0, 0)) if rows else none]
    if facts.documents:
        rows = [
            [document_name(d, words), words.term(d.get("kind")), plain(d.get("document_id"))] for d in facts.documents
        ]
        head = [words("document"), words("kind"), words("SHA-256")]
        blocks.append(
            TableBlock(head, rows, weights=(1.6, 0, 3.4), code=frozenset({2}), caption=words("Documents filed"))
        )
    return DocumentSection(words("Instruments, calibrations, documents"), blocks)


def findings(facts: BookFacts, words: Wording) -> DocumentSection:
    """What the rules found, by rule."""
    message = [f for f in facts.findings if f.get("status") != "could not look"]
    rows = [
        [words.term(found[0].get("severity")), words.term(rule), str(len(found)), _links(found, words)]
        for rule, found in by_rule(message)
    ]
    if not rows:
        return DocumentSection(words("Findings"), [Para(words("No rule that could look found a fault."))])
    head = [words(h) for h in ("weight", "rule", "times", "links")]
    return DocumentSection(words("Findings"), [TableBlock(head, rows, align="llrl", weights=(0, 1.8, 0, 3.4))])


def proof(facts: BookFacts, words: Wording) -> DocumentSection:
    """Deposits of the job and the head of the ledger."""
    rows = [
        [
            plain(d.get("deposit")),
            words.day(plain(d.get("when"))),
            plain(d.get("by")),
            plain(d.get("records")),
            plain(d.get("root")),
        ]
        for d in facts.deposits
    ]
    text = words(
        "The ledger of the archive held {count} entries when this book was made. Keep this page apart from the "
        "archive: a head held elsewhere shows that nothing was altered since.",
        count=facts.entries,
    )
    heads = FactsBlock([(words("archive"), facts.archive_id), (words("head of the ledger"), facts.head)])
    head = [words(h) for h in ("deposit", "when", "by", "records", "root over its records")]
    table = TableBlock(head, rows, align="lllrl", weights=(1.7, 1.2, 1, 0, 2.6), code=frozenset({0, 4}))
    return DocumentSection(words("Proof"), [Para(text), Para(seal_line(facts.seal, words)), heads, table])


def careful(facts: BookFacts, words: Wording) -> DocumentSection:
    """What can hurt somebody who works on these links."""
    media = {str(x.record.get("medium")) for x in facts.links if x.record}
    return DocumentSection(words("Cautions"), [Listing([words(t) for t in cautions(media)])])


def by_rule(rows: Iterable[Row]) -> list[tuple[str, list[Row]]]:
    """Findings by rule, the gravest rules first."""
    grouped: dict[str, list[Row]] = {}
    for f in rows:
        grouped.setdefault(plain(f.get("rule")), []).append(f)
    weight = {"error": 0, "warning": 1, "information": 2}
    return sorted(grouped.items(), key=lambda g: (weight.get(plain(g[1][0].get("severity")), 3), g[0]))


def _links(rows: Sequence[Row], words: Wording) -> str:
    """Labels in order, the first of them."""
    return words.some(sorted({plain(f.get("link_label")) for f in rows} - {""}))


def place_name(place: Sequence[str], words: Wording) -> str:
    """Building, floor, space and panel in one line."""
    names = (words("building"), words("floor"), words("space"), words("panel"))
    parts = [f"{n} {v}" for n, v in zip(names, place, strict=False) if v]
    return ", ".join(parts) or words("place not stated")
