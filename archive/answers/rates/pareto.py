"""What failed: failing links and failures by parameter, pair combination, end and band of frequency."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.answers.rates.cable_shares import cable_notes
from archive.answers.rates.fields import FIELDS, OTHER_NAMES, chosen, frequency_bands
from archive.answers.rates.rates import about
from archive.answers.rates.source import Choice, CountingSource
from archive.errors import Trouble
from archive.store import Archive
from archive.store.counting.columns import BITS
from archive.vocabulary.counted import agreed, counted

PARTS = ("parameter", "pairing", "end", "frequency_band", "direction", "wavelength")
"""What a failure is broken down by, besides the fields of fields.FIELDS."""

_COLUMNS = {"wavelength": "wavelength_nm"}
_ALSO = {
    "fiber": "pairing",
    "nm": "wavelength",
    "pair": "pairing",
    "combination": "pairing",
    "frequency": "frequency_band",
    "band": "frequency_band",
}


TESTS = {"all": BITS["live"], "current": BITS["current"], "first": BITS["first"]}
"""Which tests of each link are looked at, and the bit of their state."""


@dataclass(frozen=True)
class Failed:
    """Rows of what failed, the most links first.

    Each row: the parts, links (failing links that have it), share_of_links (of all failing links, those of which
    nothing says what failed too), failures (curves and readings), worst_margin, median_margin (in the parameter's
    unit). links, failures: over all rows, each once. shares add up to more than one, for one link may fail in several
    ways. unknown: failing links of which nothing says what failed. tests: one of TESTS; about: what was chosen.
    """

    parts: Sequence[str]
    rows: list[dict[str, Any]]
    links: int
    failures: int
    unknown: int
    notes: list[str] = field(default_factory=list)
    tests: str = "all"
    about: str = ""

    @property
    def columns(self) -> dict[str, Any]:
        """Of the rows, also where there is none, each with a value of its kind."""
        numbers = {"links": 0, "share_of_links": 0.0, "failures": 0, "worst_margin": 0.0, "median_margin": 0.0}
        return {part: 0.0 if part == "wavelength" else _example(part) for part in self.parts} | numbers

    @property
    def failing(self) -> int:
        """Failing links, the base of all shares."""
        return self.links + self.unknown


def _example(part: str) -> Any:
    return FIELDS[part].example if part in FIELDS else ""


def failed(
    archives: Archive | Sequence[Archive],
    choice: Choice | None = None,
    by: Iterable[str] | None = None,
    *,
    tests: str = "all",
    watch: Callable[[Iterable[int]], Iterable[int]] = iter,
) -> Failed:
    """What failed, by the verdicts that were chosen; the same curve failing again in a retest is one failure.

    by: parts (PARTS) and fields; None for parameter. tests: which tests of a link, one of TESTS: all, the one that
    counts now (what still fails), the first. Of a record that this program did not grade at a parameter the
    instrument's verdict on it counts. Errors: Trouble for a word that there is not.
    """
    choice = choice or Choice()
    if choice.cohort is not None:
        raise Trouble("what failed has no cohort", code="rates.unknown-word", remedy="leave `--cohort` out")
    names = [_named(n) for n in (by or ["parameter"])]
    source = CountingSource.of(archives, watch)
    source.refuse_unknown(choice)
    if not source.files.records:
        return Failed(names, [], 0, 0, 0, tests=tests, about=about(source, choice))
    where, values = choice.where()
    where += f" AND {choice.state} & {TESTS[tests]} > 0 AND {choice.state} & {BITS['failed']} > 0"
    told = f"{where} AND {_TOLD_BY[choice.verdicts]}"
    bands, shown = frequency_bands()
    columns, shows = [], []
    for name in names:
        if name in PARTS:
            columns.append(bands if name == "frequency_band" else f"f.{_COLUMNS.get(name, name)}")
            shows.append(shown if name == "frequency_band" else _same)
        else:
            (one,) = chosen([name], choice.length_edges)
            columns.append(one.sql)
            shows.append(one.shown)
    rows = _rows(source, columns, told, values) if source.files.failures else []
    total = _total(source, where, told, values)
    out = []
    for row in rows:
        parts = {n: show(v) for n, show, v in zip(names, shows, row, strict=False)}
        links, failures, worst, median = row[len(names) :]
        share = links / (total[0] + total[2]) if total[0] else None
        numbers = {"links": links, "share_of_links": share, "failures": failures}
        out.append({**parts, **numbers, "worst_margin": worst, "median_margin": median})
    notes = (
        [
            f"{total[2]} of {counted(total[0] + total[2], 'failing link')} {agreed(total[2], 'says', 'say')} nothing "
            "of what failed: only a verdict came along"
        ]
        if total[2]
        else []
    )
    notes = [*cable_notes(source, choice, names), *notes]
    return Failed(names, out, *total, notes, tests, about(source, choice))


_TOLD_BY = {
    "best": "f.told_by != 'instrument too'",
    "program": "f.told_by = 'program'",
    "reported": "f.told_by != 'program'",
}
"""Whose failures are counted, by whose verdicts."""


def _same(value: Any) -> Any:
    return value


def _named(word: str) -> str:
    name = word.strip().lower().replace("-", "_")
    name = _ALSO.get(name, name)
    if name not in PARTS and OTHER_NAMES.get(name, name) not in FIELDS:
        raise Trouble(
            "what failed cannot be told by this",
            code="rates.unknown-field",
            found=repr(word),
            expected=", ".join((*PARTS, *FIELDS)),
        )
    return name if name in PARTS else OTHER_NAMES.get(name, name)


def _rows(source: CountingSource, columns: Sequence[str], where: str, values: Sequence[Any]) -> list[tuple[Any, ...]]:
    """One row per value of the columns: distinct links, distinct failing curves and readings, margins."""
    keys = ", ".join(f"{c} AS k{i}" for i, c in enumerate(columns))
    names = ", ".join(f"k{i}" for i in range(len(columns)))
    one = 'f.parameter AS p, f.pairing AS pair, f."end" AS at_end, f.direction AS way, f.wavelength_nm AS wave'
    return source.rows(
        f"WITH one AS (SELECT {keys}, r.unit, {one}, min(f.margin) AS margin FROM {source.failures} f "
        f"JOIN {source.records} r ON r.row = f.row WHERE {where} GROUP BY ALL) "
        f"SELECT {names}, count(DISTINCT unit) AS links, count(*) AS failures, min(margin), median(margin) FROM one "
        f"GROUP BY {names} ORDER BY links DESC, failures DESC, {names}",
        values,
    )


def _total(source: CountingSource, where: str, told: str, values: Sequence[Any]) -> tuple[int, int, int]:
    """Failing links with something that failed, failures, failing links without."""
    found: tuple[Any, ...] = (0, 0)
    known = ""
    if source.files.failures:
        joined = f"{source.failures} f JOIN {source.records} r ON r.row = f.row WHERE {told}"
        found = source.rows(
            "SELECT count(DISTINCT unit), count(*) FROM (SELECT DISTINCT r.unit, f.parameter, f.pairing, "
            f'f."end", f.direction, f.wavelength_nm FROM {joined})',
            values,
        )[0]
        known = f" EXCEPT SELECT DISTINCT r.unit FROM {joined}"
    failing = f"SELECT DISTINCT r.unit FROM {source.records} r WHERE {where}"
    unknown = source.rows(f"SELECT count(*) FROM ({failing}{known})", values)[0][0]
    return int(found[0]), int(found[1]), int(unknown)
