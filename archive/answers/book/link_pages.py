"""The sections of single links: results as a compact table, curves as small pictures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from archive import vocabulary
from archive.answers.book.book_facts import BookFacts, BookLink, Row
from archive.answers.book.job_sections import place_name, verdict_text
from archive.answers.claim.claim_facts import TestedRecord
from archive.answers.claim.curve_figures import figures, line_of
from archive.answers.claim.verdicts import leading_text
from archive.answers.documents import Block, DocumentSection, Figure, FigureGrid, Para, stressed
from archive.answers.wording import Wording, decimals_of, plain
from archive.vocabulary.link_counts import IN_DOUBT

CURVES = ("insertion_loss", "return_loss", "next", "acr_f", "optical_loss", "backscatter")
"""Parameters whose curves a book shows; what is derived of them stands in the results."""


def result(x: BookLink, facts: BookFacts, words: Wording) -> DocumentSection:
    """What was measured on one link: verdicts, leading margin, and each parameter's smallest at both ends."""
    where = place_name(x.place, words)
    if not x.address:
        message = words("No record stands: {why}.", why=words.reason(x.why)) if x.why else words("Not tested.")
        return DocumentSection(x.label, [Para(f"{where}. {message}")], level=2)
    found = facts.result(x)
    reported = words.verdict(x.record["reported_verdict"]) if x.record["reported_verdict"] else words("no verdict")
    when = words.day(x.record["tested_local"] or x.record["tested_at"] or "")
    message = words("Tested {when}; the instrument reported {reported}.", when=when, reported=reported)
    blocks: list[Block] = [Para(f"{where}. {message}", role="small")]
    for v in found.verdicts:
        text = words(
            "{verdict} against {limit}",
            verdict=words.marked(v["verdict"], marginal=v["marginal"], provisional=v["provisional"]),
            limit=plain(v["limit_id"])
            or words("an unknown limit ({found})", found=plain(v["limit_found"]) or words("none named")),
        )
        leading = leading_text(v, words)
        text += words("; leading margin {margin}", margin=leading) if leading else ""
        text += f"; {words.told(v['reason'])}" if v["reason"] else ""
        blocks.append(Para(text[:1].upper() + text[1:] + "."))
    blocks += [Para(text) for text in _to_know(x, facts, words)]
    rows = list(_rows(found.grades, found.reported, words))
    if rows:
        head = [words("smallest margin"), words("local end"), words("at"), words("remote end"), words("at")]
        head += [words("reported"), words("verdict")]
        blocks.append(stressed(head, rows, align="lrlrlrl", weights=(2, 0, 1.5, 0, 1.5, 0, 0)))
    return DocumentSection(x.label, blocks, level=2)


def _to_know(x: BookLink, facts: BookFacts, words: Wording) -> list[str]:
    """What the cover says of several links and this one is among."""
    told = []
    if x.result.copy_of:
        told.append(words("Its curves are those of {link}, number for number.", link=x.result.copy_of))
    if x.result.outcome == IN_DOUBT:
        told.append(words("It is in doubt whether its tests are of one link."))
    named = {
        "limit": words("It was tested to another limit than the job requires."),
        "before": words("It was tested before the work began."),
        "after": words("It was tested after the work ended."),
        "calibration": words("It was tested with a unit whose calibration had run out."),
    }
    return told + [named[b.what] for b in facts.terms if x.label in b.links]


def _rows(grades: Sequence[Row], reported: Sequence[Row], words: Wording) -> Iterator[tuple[bool, list[str]]]:
    """A row per parameter: margin and place of the worst point, local (or of the whole link) and remote.

    What the instrument alone reported a margin of has its row too, with nothing recomputed beside.
    """
    for p in vocabulary.parameters().values():
        here = {g["end"]: g for g in grades if g["parameter"] == p.id}
        stated = [r["margin"] for r in reported if r["parameter"] == p.id and r["margin"] is not None]
        if not here and stated:
            theirs = words.value(min(stated), p.unit, decimals_of(min(stated), p.unit))
            yield False, [words.headed(p.id), "", "", "", "", theirs, words("not recomputed")]
        if not here:
            continue
        first, second = here.get("local") or here.get(None), here.get("remote")
        words_of = {g["verdict"] for g in here.values()}
        verdict = next((w for w in ("fail", "not graded", "pass") if w in words_of), "not graded")
        provisional = any(g["provisional"] for g in here.values())
        yield (
            verdict == "fail",
            [
                words.headed(p.id),
                *_point(first, p.unit, words),
                *_point(second, p.unit, words),
                words.value(min(stated, default=None), p.unit),
                words.marked(verdict, provisional=provisional),
            ],
        )


def _point(g: Row | None, unit: str, words: Wording) -> tuple[str, str]:
    if g is None:
        return "", ""
    at = f"{words.free(g['frequency_mhz'])} MHz" if g["frequency_mhz"] is not None else ""
    margin = words.value(g["margin"], unit, decimals_of(g["margin"], unit))
    return margin, ", ".join(x for x in (plain(g["pairing"]), at) if x)


def curves(tested: TestedRecord, words: Wording) -> list[Figure]:
    """One picture per parameter, thinned to the page."""
    verdict = tested.verdict()
    limit_id = verdict["limit_id"] if verdict else None
    batch = tested.curves or tested.batch
    return figures(batch, tested.grades(limit_id), line_of(limit_id), words, only=CURVES, compact=True)


def intro(wanted: Sequence[str], words: Wording) -> DocumentSection:
    """The heading of the links, and how to read what follows."""
    results = words(
        "For each link stands the smallest margin of every parameter, of all pairs; a margin above zero meets the "
        "limit. What has no ends stands under the local one."
    )
    pictures = words(
        "In the pictures the thick line is the limit; the hatched side fails. A ring marks the smallest margin, and "
        "its curve is drawn wide. Where the limit is dashed it leaves points out, for information only."
    )
    if "curves" not in wanted:
        return DocumentSection(words("Results per link"), [Para(results, role="small")])
    if "results" not in wanted:
        return DocumentSection(words("Curves per link"), [Para(pictures, role="small")])
    return DocumentSection(words("Results and curves per link"), [Para(f"{results} {pictures}", role="small")])


def sized(section: DocumentSection) -> int:
    """About how many bytes a section takes in a page; nearly all of them are pictures."""
    return sum(len(f.svg) for b in section.blocks if isinstance(b, FigureGrid) for f in b.items) + 4000


def pages(
    wanted: Sequence[str], links: Sequence[BookLink], facts: BookFacts, words: Wording
) -> Iterator[DocumentSection]:
    """One section for each link that has something to show, in the order of the links."""
    pictures = facts.records(links) if "curves" in wanted else iter(())
    for x in links:
        drawn = curves(next(pictures)[1], words) if "curves" in wanted and x.address else []
        if "results" in wanted:
            section = result(x, facts, words)
            yield replace(section, blocks=[*section.blocks, *_grid(drawn)], keep=True)
        elif drawn:
            message = words("{link}: {verdict}", link=x.label, verdict=verdict_text(x, words))
            title = message + (f", {x.limit}" if x.limit else "")
            yield DocumentSection(title, _grid(drawn), level=2, keep=True)


def _grid(drawn: list[Figure]) -> list[Block]:
    """Pictures two in a row; none where there are none."""
    return [FigureGrid(drawn)] if drawn else []
