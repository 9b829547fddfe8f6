"""What records can be grouped by: the word, the expression over the records ready for counting, how it is shown.

The fields are declared in schemas/rates.toml.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from archive import schemas
from archive.errors import Trouble

UNKNOWN = "unknown"
_FIBER = 100
"""Number of the first band of length of fibers; bands of copper count from 0."""


@dataclass(frozen=True)
class GroupField:
    """One thing to group by. sql: over records `r`; shown: what a value of it becomes in a row; parse: back again, with
    ValueError for what no value of it can be."""

    name: str
    sql: str
    meaning: str
    shown: Callable[[Any], Any] = lambda value: value
    parse: Callable[[str], Any] = lambda text: text

    @property
    def example(self) -> Any:
        """A value of the kind that its rows show: a year is a number, all others are words."""
        return 0 if self.name == "year" else ""


def _quarter(value: Any) -> str | None:
    return None if value is None else f"{value // 4}-Q{value % 4 + 1}"


def _month(value: Any) -> str | None:
    return None if value is None else f"{value // 12}-{value % 12 + 1:02d}"


def _parse_year(text: str) -> int:
    return int(_matched(r"([0-9]{4})", text)[1])


def _parse_quarter(text: str) -> int:
    found = _matched(r"([0-9]{4})-?Q([1-4])", text.upper())
    return int(found[1]) * 4 + int(found[2]) - 1


def _parse_month(text: str) -> int:
    found = _matched(r"([0-9]{4})-(0[1-9]|1[0-2]|[1-9])", text)
    return int(found[1]) * 12 + int(found[2]) - 1


def _matched(pattern: str, text: str) -> re.Match[str]:
    found = re.fullmatch(pattern, text.strip())
    if found is None:
        raise ValueError(text)
    return found


_KINDS: dict[str, tuple[Callable[[Any], Any], Callable[[str], Any]]] = {
    "text": (lambda value: value, lambda text: text),
    "year": (lambda value: value, _parse_year),
    "quarter": (_quarter, _parse_quarter),
    "month": (_month, _parse_month),
    "length_band": (lambda value: value, lambda text: text),
    "parameter": (lambda value: value, lambda text: text),
}
SAID_AS = {"year": "2019", "quarter": "2019-Q4", "month": "2019-04"}
"""An example of each kind that has a form."""


def _declared() -> dict[str, GroupField]:
    found = {}
    for name, told in schemas.load("rates.toml")["fields"].items():
        shown, parse = _KINDS[told.get("kind", "text")]
        column = f"r.{told['column']}" if "column" in told else told.get("sql", "")
        sql = f"coalesce({column}, '{told['unknown']}')" if "unknown" in told else column
        found[name] = GroupField(name, sql, told["meaning"], shown, parse)
    return found


FIELDS = _declared()
"""By name, in the order in which they are listed."""

OTHER_NAMES: dict[str, str] = schemas.load("rates.toml")["other_names"]

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
                remedy=f"nearest: {', '.join(near)}" if (near := nearest(name, [*FIELDS, *OTHER_NAMES])) else "",
            )
        found[name] = length_bands(edges) if name == "length_band" else FIELDS[name]
    return list(found.values())


def nearest(word: str, known: Iterable[Any]) -> list[str]:
    """Up to five of the known words that are near to one, the nearest first; case does not count."""
    folded = {str(k).casefold(): str(k) for k in known if k is not None}
    found = difflib.get_close_matches(word.casefold(), folded, 5, 0.5)
    inside = [f for f in folded if word.casefold() in f and f not in found]
    return [folded[f] for f in [*found, *inside][:5]]


def length_bands(edges: Sequence[float] | None = None) -> GroupField:
    """The field of length by these bands, or by those of schemas/rates.toml, which are of copper and of fiber."""
    rules = schemas.load("rates.toml")["length"]
    if edges is None:
        copper, fiber = ([float(e) for e in rules[f"{medium}_m"]] for medium in ("copper", "fiber"))
        names = {i: band(i, copper, "m") for i in range(len(copper) + 1)}
        names |= {_FIBER + i: f"fiber {band(i, fiber, 'm')}" for i in range(len(fiber) + 1)}
        return _length_field("r.length_band", names)
    ends = [float(e) for e in edges]
    if not ends or ends[0] <= 0 or any(b <= a for a, b in pairwise(ends)):
        listed = ", ".join(f"{e:g}" for e in ends)
        raise Trouble(
            "no bands of length", code="rates.length-bands", found=listed, expected="rising numbers of metres"
        )
    return _length_field(_banded("r.length_m", ends), {i: band(i, ends, "m") for i in range(len(ends) + 1)})


def _length_field(sql: str, names: dict[int, str | None]) -> GroupField:
    numbers = {name: number for number, name in names.items()}

    def parse(text: str) -> int:
        if text not in numbers:
            raise ValueError(text)
        return numbers[text]

    return GroupField("length_band", sql, "band of length", lambda v: None if v is None else names[v], parse)


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
