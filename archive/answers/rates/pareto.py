"""What failed: failing links and failures by parameter, pair combination, end and band of frequency."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.answers.rates.cable_shares import cable_notes
from archive.answers.rates.fields import FIELDS, OTHER_NAMES, chosen, frequency_bands
from archive.answers.rates.source import Choice, CountingSource
from archive.errors import Trouble
from archive.store import Archive
from archive.store.counting.blocks import counting

PARTS = ("parameter", "pairing", "end", "frequency_band")
"""What a failure is broken down by, besides the fields of fields.FIELDS."""

_ALSO = {"pair": "pairing", "combination": "pairing", "frequency": "frequency_band", "band": "frequency_band"}


@dataclass(frozen=True)
class Failed:
    """Rows of what failed, the most links first.

    Each row: the parts, links (failing links that have it), share_of_links (of all failing links), failures (curves
    and readings), worst_margin, median_margin (in the parameter's unit). links, failures: over all rows, each once.
    shares add up to more than one, for one link may fail in several ways. unknown: failing links of which nothing
    says what failed: only a verdict came along.
    """

    parts: Sequence[str]
    rows: list[dict[str, Any]]
    links: int
    failures: int
    unknown: int
    notes: list[str] = field(default_factory=list)


def failed(
    archive: Archive,
    choice: Choice | None = None,
    by: Iterable[str] | None = None,
    *,
    watch: Callable[[Iterable[int]], Iterable[int]] = iter,
) -> Failed:
    """What failed in any test that counts; the same curve failing again in a retest of the link is one failure.

    by: parts (PARTS) and fields; None for parameter. Errors: Trouble for a word that there is not.
    """
    choice = choice or Choice()
    names = [_named(n) for n in (by or ["parameter"])]
    source = CountingSource(counting(archive, watch))
    if not source.files.records:
        return Failed(names, [], 0, 0, 0)
    where, values = choice.where()
    bands, shown = frequency_bands()
    columns, shows = [], []
    for name in names:
        if name in PARTS:
            columns.append(bands if name == "frequency_band" else f"f.{name}")
            shows.append(shown if name == "frequency_band" else _same)
        else:
            (one,) = chosen([name], choice.length_edges)
            columns.append(one.sql)
            shows.append(one.shown)
    rows = _rows(source, columns, where, values) if source.files.failures else []
    total = _total(source, where, values)
    out = []
    for row in rows:
        parts = {n: show(v) for n, show, v in zip(names, shows, row, strict=False)}
        links, failures, worst, median = row[len(names) :]
        share = links / total[0] if total[0] else None
        numbers = {"links": links, "share_of_links": share, "failures": failures}
        out.append({**parts, **numbers, "worst_margin": worst, "median_margin": median})
    notes = [f"{total[2]} failing links say nothing of what failed: only a verdict came along"] if total[2] else []
    return Failed(names, out, *total, [*cable_notes(source, choice, names), *notes])


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


def _total(source: CountingSource, where: str, values: Sequence[Any]) -> tuple[int, int, int]:
    """Failing links with something that failed, failures, failing links without."""
    if not source.files.failures:
        found: tuple[Any, ...] = (0, 0)
    else:
        found = source.rows(
            "SELECT count(DISTINCT unit), count(*) FROM (SELECT DISTINCT r.unit, f.parameter, f.pairing, "
            f'f."end", f.direction, f.wavelength_nm FROM {source.failures} f JOIN {source.records} r '
            f"ON r.row = f.row WHERE {where})",
            values,
        )[0]
    failing = f"SELECT DISTINCT r.unit FROM {source.records} r WHERE {where} AND r.state & 8 > 0"
    known = ""
    if source.files.failures:
        joined = f"{source.failures} f JOIN {source.records} r ON r.row = f.row"
        known = f" EXCEPT SELECT DISTINCT r.unit FROM {joined} WHERE {where}"
    unknown = source.rows(f"SELECT count(*) FROM ({failing}{known})", values)[0][0]
    return int(found[0]), int(found[1]), int(unknown)
