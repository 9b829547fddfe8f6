"""What records can be grouped by: the word, the expression over the records ready for counting, how it is shown."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from archive import schemas
from archive.errors import Trouble


@dataclass(frozen=True)
class GroupField:
    """One thing to group by. sql: over records `r`; shown: what a value of it becomes in a row; parse: back again."""

    name: str
    sql: str
    meaning: str
    shown: Callable[[Any], Any] = lambda value: value
    parse: Callable[[str], Any] = lambda text: text


def _quarter(value: Any) -> str | None:
    return None if value is None else f"{value // 4}-Q{value % 4 + 1}"


def _month(value: Any) -> str | None:
    return None if value is None else f"{value // 12}-{value % 12 + 1:02d}"


def _parse_year(text: str) -> int:
    return int(text)


def _parse_quarter(text: str) -> int:
    year, _, quarter = text.upper().partition("-Q")
    return int(year) * 4 + int(quarter) - 1


def _parse_month(text: str) -> int:
    year, _, month = text.partition("-")
    return int(year) * 12 + int(month) - 1


def _known(column: str) -> str:
    return f"coalesce(r.{column}, 'unknown')"


FIELDS = {
    f.name: f
    for f in (
        GroupField("cable_type", _known("cable_type"), "brand-neutral cable type"),
        GroupField("category", _known("category"), "category of the cable"),
        GroupField("construction", _known("construction"), "screens of the cable: u-utp, f-utp, s-ftp ..."),
        GroupField("screened", _known("screened"), "whether the cable is screened or unscreened"),
        GroupField("gauge", _known("gauge"), "gauge of the conductors, or core of the fiber"),
        GroupField("conductor", _known("conductor"), "solid or stranded"),
        GroupField("sheath", _known("sheath"), "sheath of the cable"),
        GroupField("cable_basis", _known("cable_basis"), "what the cable type rests on: rule, settled, job ..."),
        GroupField("limit", "r.limit_id", "limit with its edition"),
        GroupField("configuration", "r.configuration", "channel, permanent-link ..."),
        GroupField("year", "r.year", "year of the test", parse=_parse_year),
        GroupField("quarter", "r.year * 4 + (r.month - 1) // 3", "quarter of the test", _quarter, _parse_quarter),
        GroupField("month", "r.year * 12 + (r.month - 1)", "month of the test", _month, _parse_month),
        GroupField("site", "r.site", "site"),
        GroupField("job", "r.job_id", "job"),
        GroupField("client", "r.client", "client of the job"),
        GroupField("contractor", "r.contractor", "contractor of the job"),
        GroupField("crew", "r.crew", "crew of the job"),
        GroupField("length_band", "", "band of length"),
        GroupField("maker", "r.maker", "maker of the unit at the local end"),
        GroupField("model", "r.model", "model of the unit at the local end"),
        GroupField("serial", "r.local_serial", "serial number of the unit at the local end"),
        GroupField("remote_model", "r.remote_model", "model of the unit at the remote end"),
        GroupField("remote_serial", "r.remote_serial", "serial number of the unit at the remote end"),
        GroupField("medium", "r.medium", "copper or fiber"),
        GroupField("evidence", "r.evidence", "evidence level: full-sweep, worst-points, verdict-only"),
        GroupField("parameter", "", "each parameter by itself"),
    )
}
"""By name, in the order in which they are listed."""

OTHER_NAMES = {
    "class": "category",
    "basis": "cable_basis",
    "length": "length_band",
    "instrument": "model",
    "instrument_model": "model",
    "instrument_serial": "serial",
    "local_serial": "serial",
    "evidence_level": "evidence",
    "job_id": "job",
    "limit_id": "limit",
}

TIMES = ("year", "quarter", "month")


def chosen(names: Iterable[str], edges: Sequence[float] | None = None) -> list[GroupField]:
    """Fields by name, each once. edges: upper ends of the bands of length in metres.

    Errors: Trouble for a name that is none.
    """
    found: dict[str, GroupField] = {}
    for word in names:
        name = word.strip().lower().replace("-", "_").replace(" ", "_")
        name = OTHER_NAMES.get(name, name)
        if name not in FIELDS:
            raise Trouble(
                "records cannot be grouped by this",
                code="rates.unknown-field",
                found=repr(word),
                expected=", ".join(FIELDS),
            )
        found[name] = length_bands(edges) if name == "length_band" else FIELDS[name]
    return list(found.values())


def length_bands(edges: Sequence[float] | None = None) -> GroupField:
    """The field of length by these bands, or by those of schemas/rates.toml."""
    ends = [float(e) for e in edges or schemas.load("rates.toml")["length"]["edges_m"]]
    if not ends or ends[0] <= 0 or any(b <= a for a, b in pairwise(ends)):
        listed = ", ".join(f"{e:g}" for e in ends)
        raise Trouble(
            "no bands of length", code="rates.length-bands", found=listed, expected="rising numbers of metres"
        )
    names = [band(i, ends, "m") for i in range(len(ends) + 1)]
    sql = "r.length_band" if edges is None else _banded("r.length_m", ends)
    return GroupField("length_band", sql, "band of length", lambda v: None if v is None else names[v], names.index)


def frequency_bands() -> tuple[str, Callable[[Any], str | None]]:
    """The expression of the band of `f.frequency_mhz`, and how its value is shown."""
    ends = [float(e) for e in schemas.load("rates.toml")["frequency"]["edges_mhz"]]
    return _banded("f.frequency_mhz", ends), lambda v: band(v, ends, "MHz")


def band(number: int | None, ends: Sequence[float], unit: str) -> str | None:
    """Name of a band by its number."""
    if number is None:
        return None
    if number == 0:
        return f"to {ends[0]:g} {unit}"
    if number == len(ends):
        return f"over {ends[-1]:g} {unit}"
    return f"{ends[number - 1]:g} to {ends[number]:g} {unit}"


def _banded(column: str, ends: Sequence[float]) -> str:
    """Number of the band; the upper end of a band belongs to it."""
    parts = " + ".join(f"({column} > {end!r})::TINYINT" for end in ends)
    return f"({parts})"
