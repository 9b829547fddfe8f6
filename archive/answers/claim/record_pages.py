"""All that one record shows of itself: curves, worst cases, readings, instruments, findings."""

from __future__ import annotations

from collections.abc import Iterator

from archive.answers.claim import optics, tables
from archive.answers.claim.claim_facts import ClaimFacts, TestedRecord
from archive.answers.claim.curve_figures import figures, line_of
from archive.answers.documents import Block, DocumentSection, Para
from archive.answers.wording import Wording


def record_pages(
    facts: ClaimFacts, tested: TestedRecord, words: Wording, *, fresh: bool = False
) -> Iterator[DocumentSection]:
    """Sections of one record. fresh: it is the fresh test, and the sections are called so."""
    if tested.record["medium"] != "fiber" or fresh:  # optical_tests shows them as what they are
        yield from _curves(tested, words, fresh)
        yield from _worst_cases(tested, words, fresh)
    rest = (tables.scalars(tested, words), tables.wire_map(tested, words), optics.loss(tested, words))
    listed = [x for x in (*rest, optics.events(tested, words)) if x is not None]
    if listed:
        title = words("Other measurements of the fresh test") if fresh else words("Other measurements")
        yield DocumentSection(title, [])
        yield from listed
    title = words("Instruments of the fresh test") if fresh else words("Instruments on the day of the test")
    yield tables.instruments(facts, tested, title, words)
    title = words("Findings on the fresh test") if fresh else words("Findings")
    yield tables.findings(tested, () if fresh else facts.around.findings, title, words)


def _curves(tested: TestedRecord, words: Wording, fresh: bool) -> Iterator[DocumentSection]:
    limit_id = _limit_id(tested)
    grades = [g for s in tested.stated[:1] for g in s.grades] if fresh else tested.grades(limit_id)
    pictures = figures(tested.curves or tested.batch, grades, line_of(limit_id), words)
    if not pictures:
        return
    intro = words(
        "The thick line is the limit, {limit}. The hatched side fails; the shaded strip is the distance between the "
        "limit and the worst of all curves. A ring marks the smallest margin, and its curve is drawn wide. A bar at "
        "the lower edge marks where points fail. Peaks far on the good side are cut off at the frame. Where the limit "
        "is dashed it leaves points out, for information only.",
        limit=limit_id,
    )
    plain = words("No limit is known for this record; the curves stand here as measured.")
    blocks: list[Block] = [Para(intro if limit_id else plain, role="small"), *pictures]
    yield DocumentSection(words("Curves of the fresh test") if fresh else words("Curves"), blocks)


def _worst_cases(tested: TestedRecord, words: Wording, fresh: bool) -> Iterator[DocumentSection]:
    worst = tables.worst_cases(tested, _limit_id(tested), words)
    if worst:
        note = words(
            "A margin above zero meets the limit. What the instrument reported stands beside what this program "
            "recomputed; the difference is recomputed minus reported. "
            "A verdict is of the whole curve, also beside a worst value that meets the limit."
        )
        title = (
            words("Worst cases of the fresh test, recomputed and reported")
            if fresh
            else words("Worst cases, recomputed and reported")
        )
        yield DocumentSection(title, [Para(note, role="small")])
        yield from worst


def _limit_id(tested: TestedRecord) -> str | None:
    verdict = tested.verdict()
    return verdict["limit_id"] if verdict else None
