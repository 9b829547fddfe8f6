"""A report of pass rates as one self-contained page: tables, pictures, and what a reader may rely on and may not."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

from archive.answers.count_text import percent
from archive.answers.documents.html import html
from archive.answers.documents.model import (
    Block,
    Document,
    DocumentSection,
    FactsBlock,
    Figure,
    Listing,
    Notice,
    Para,
    TableBlock,
)
from archive.answers.rates.pareto import Failed, failed
from archive.answers.rates.pictures import of_failed
from archive.answers.rates.rate_pictures import of_rates
from archive.answers.rates.rates import Asked, Rates, rates, sensitivity
from archive.answers.rates.source import Choice
from archive.answers.rates.table import encoded
from archive.answers.rates.trend import Trend, trend
from archive.answers.rates.trend_picture import of_trend
from archive.answers.rates.words import failed_table, false_alarms, rates_table, trend_table
from archive.atomic import atomic_write, require_empty
from archive.store import Archive
from archive.vocabulary import parameters
from archive.vocabulary.counted import counted

PAGE = "index.html"


def write_report(
    archives: Archive | Sequence[Archive],
    out: Path,
    by: Sequence[str],
    choice: Choice,
    asked: Asked,
    *,
    watch: Callable[[Iterable[int]], Iterable[int]] = iter,
) -> list[Path]:
    """Writes a new folder with the page and its tables as CSV; returns their paths. Nothing is fetched from anywhere
    when the page is opened. Errors: Trouble where the folder is not empty, or as for rates."""
    require_empty(out)
    found = rates(archives, by, choice, asked, watch=watch)
    files = {"rates.csv": encoded(found.rows, "csv", found.columns)}
    missed, followed = None, None
    if choice.cohort is None:
        missed = failed(archives, choice)
        followed = trend(archives, "quarter", choice)
        files["failed.csv"] = encoded(missed.rows, "csv", missed.columns)
        files["quarters.csv"] = encoded(followed.points, "csv", followed.columns)
    page = html(report(found, missed, followed, datetime.now(UTC).date().isoformat()))
    with atomic_write(out) as folder:
        folder.mkdir()
        for name, data in {PAGE: page.encode(), **files}.items():
            (folder / name).write_bytes(data)
    return [out / name for name in (PAGE, *files)]


def report(found: Rates, missed: Failed | None, followed: Trend | None, day: str) -> Document:
    """The report as a document. day: ISO 8601, on which it was made."""
    sections = [
        DocumentSection("What was asked", [FactsBlock(_facts(found, day))]),
        DocumentSection("What a reader may rely on", list(_reliable(found, followed))),
        DocumentSection("What a reader may not rely on", [Listing(list(_unreliable(found, followed)))]),
        DocumentSection("Pass rates", list(_rates(found))),
    ]
    if followed is not None and followed.points:
        sections.append(DocumentSection("First-time rates by quarter", list(_over_time(followed))))
    if missed is not None and (missed.rows or missed.unknown):
        sections.append(DocumentSection("What failed", list(_failed(missed))))
    return Document("Pass rates", found.about, "Report", day, sections)


def _facts(found: Rates, day: str) -> list[tuple[str, str]]:
    t = found.total
    facts = [("Archive, period, choice", found.about), ("Made on", day)]
    if found.fields:
        facts.append(("Grouped by", ", ".join(f"{f.name.replace('_', ' ')} ({f.meaning})" for f in found.fields)))
    if t["tests"]:
        links, jobs, tests = (counted(t[f"{noun}s"], noun) for noun in ("link", "job", "test"))
        facts.append(("Counted", f"{links} of {jobs}, {tests}"))
        facts.append(("Final rate", f"{percent(t['rate'])} of these links passed"))
        facts.append(
            ("First-time rate", f"{percent(t['first_time_rate'])} of {counted(t['first_links'], 'first test')} passed")
        )
    return facts


def _reliable(found: Rates, followed: Trend | None) -> Iterator[Block]:
    told = [t.sentence for t in found.told] + (followed.sentences() if followed is not None else [])
    if told:
        yield Listing([*told])
    else:
        yield Para("Nothing differs by more than jobs alike do.", "lead")
    yield from (Para(text) for text in found.closing)
    expected = found.expected_false_alarms + (followed.plain()["expected_false_alarms"] if followed is not None else 0)
    if expected:
        alarms = false_alarms(round(expected, 2))
        yield Para(f"Where in truth nothing differs or changes, about {alarms} among such sentences would be expected.")
    yield Para(
        "Of the links that are in the archive the counts are exact. Intervals are of the rate at which such jobs pass; "
        "links of one job go together, so that an interval rests on jobs and not on links.",
        "small",
    )


def _unreliable(found: Rates, followed: Trend | None) -> Iterator[str]:
    if found.fields:
        yield "The order of the groups: two groups whose intervals overlap may well stand the other way round."
        yield "That groups of which nothing is said above are alike: smaller differences may be there unseen."
        yield (
            "That a group is the cause of its rate: what comes with it (cable, length, year, people) is looked for, "
            "but only as far as the records say it."
        )
    uncertain = sensitivity(found.total) if found.total["tests"] else ""
    if uncertain:
        yield uncertain
    yield from (f"{note[:1].upper()}{note[1:]}." for note in (*found.notes, *(followed.notes if followed else [])))
    yield "Anything about links that were never tested, or whose tests never came into the archive."


def _rates(found: Rates) -> Iterator[Block]:
    if any(r["links"] or r["first_links"] for r in found.rows):
        alt = "Pass rates of the groups with their intervals; the table below holds the numbers."
        yield Figure(of_rates(found).svg(), "", alt)
    yield _table(rates_table(found))


def _over_time(followed: Trend) -> Iterator[Block]:
    yield Figure(of_trend(followed).svg(), "", "First-time pass rates by quarter; the table below holds the numbers.")
    yield _table(trend_table(followed))


def _failed(missed: Failed) -> Iterator[Block]:
    if missed.rows:
        yield Figure(of_failed(missed).svg(), "", "Failing links by what failed; the table below holds the numbers.")
        head, *rows = failed_table(missed)
        known = parameters()
        yield _table([head, *([known[c].name if c in known else c for c in row] for row in rows)])
    if missed.notes:
        yield Notice("Beside these", missed.notes, "note")


def _table(lines: Sequence[Sequence[str]]) -> TableBlock:
    head, *rows = lines
    empty = [i for i in range(len(head)) if not any(row[i] for row in rows)]
    kept = [i for i in range(len(head)) if i not in empty]
    align = "".join("l" if i == 0 else "r" for i in kept)
    return TableBlock([head[i].replace("_", " ") for i in kept], [[row[i] for i in kept] for row in rows], align)
