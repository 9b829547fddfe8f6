"""What one row of a table is, and which of its columns say which row it is."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations
from typing import Any

import numpy as np

from archive import vocabulary
from archive.formats.base import units, words
from archive.formats.draft import heading
from archive.formats.draft.heading import WAVELENGTHS, Heading
from archive.formats.draft.layout import Column, Found, nameless
from archive.formats.draft.profile import Profile, profile

MOST_CELLS = 6000
"""Cells of a column whose profile is taken."""


@dataclass
class Seen:
    """A column with its reading and its profile."""

    column: Column
    heading: Heading
    profile: Profile
    own: Heading
    """The reading of its own heading, without what stands above the table."""
    inner: Heading
    """The reading of its own heading, without the names of the elements around it."""

    @property
    def source(self) -> str:
        """Its name."""
        return self.column.source


@dataclass
class Roles:
    """rows: links, readings, points, curves. keys: the columns that say what a row is, by name (as row.<name>).

    words: of those columns, what their words mean. label: the column with the link's label, where the table has one.
    """

    rows: str
    keys: dict[str, Seen] = field(default_factory=dict)
    words: dict[str, dict[str, str]] = field(default_factory=dict)
    label: Seen | None = None
    per_record: float = 1.0
    reason: str = ""
    confidence: float = 0.95


def look(columns: Sequence[Column], context: tuple[str, ...], decimal: str, thousands: str) -> list[Seen]:
    """Columns with their readings and profiles."""
    out = []
    for c in columns:
        found = profile(c.cells[:MOST_CELLS], decimal, thousands)
        if len(c.cells) > MOST_CELLS and found.numeric < 0.5 and found.filled:
            # Words further down, such as the quantity of the curves that come later.
            more = dict.fromkeys(x.strip() for x in c.cells[MOST_CELLS:] if isinstance(x, str) and x.strip())
            found.distinct = list(dict.fromkeys([*found.distinct, *more]))[:MOST_CELLS]
        inner = heading.read(*c.levels[c.outer :])
        out.append(Seen(c, heading.read(*context, *c.levels), found, heading.read(*c.levels), inner))
    return out


def roles(found: Found, seen: list[Seen], fiber: bool, alone: bool, key: Seen | None = None) -> Roles:
    """The roles of a table's columns. alone: the table's records are told by its own columns, not by blocks. key: the
    column that names the link of a row in the words of another table."""
    out = Roles("links")
    filled = [s for s in seen if s.profile.filled]
    out.label = label_of(filled, fiber) or key
    runs = _runs(out.label, found)
    out.per_record = found.rows / max(1, len(set(runs)))
    frequency = _frequency(filled, list(zip(runs, found.run, strict=True)) if len(found.run) == len(runs) else runs)
    for name, test in _TESTS:
        for s in filled:
            if s is out.label or s in out.keys.values() or s is frequency or s.column.part:
                continue
            meaning = test(s)
            if meaning is not None:
                out.keys[name] = s
                out.words[name] = meaning
                break
    _pair_columns(out, [s for s in filled if s is not frequency and not s.column.part])
    lists = [s for s in filled if s.profile.lists > 0.8]
    whole = lists and ("parameter" in out.keys or (out.per_record > 1.2 and all(s.heading.parameters for s in lists)))
    if found.headings_are == "frequencies" or whole:
        out.rows, out.reason = "curves", "each row is a whole curve"
    elif frequency is not None:
        out.rows, out.reason = "points", "frequencies rise from row to row"
        out.keys["frequency"] = frequency
    elif out.keys.keys() & {"parameter", "pairing", "disturbed", "wavelength", "end"} and out.per_record > 1.2:
        out.rows, out.reason = "readings", "several rows per record, told apart by " + ", ".join(out.keys)
    elif "parameter" in out.keys and not alone:
        out.rows, out.reason = "readings", "rows name their quantity"
    if out.rows == "links":
        for name in ("parameter", "pairing", "disturbing", "disturbed", "end", "origin", "kind"):
            out.keys.pop(name, None)
            out.words.pop(name, None)
        if not fiber and "direction" in out.keys:
            out.keys.pop("direction")
    return out


def part_keys(seen: list[Seen]) -> dict[str, Seen]:
    """Labels of blocks that say which part of a record each block is."""
    out: dict[str, Seen] = {}
    for name, test in _TESTS:
        if name in ("unit", "origin", "kind"):
            continue
        for s in seen:
            if s.profile.filled and s not in out.values() and len(s.profile.distinct) > 1 and test(s) is not None:
                out[name] = s
                break
    return out if "parameter" in out or "pairing" in out else {}


def part_roles(parts: dict[str, Seen]) -> Roles:
    """The roles of labels that say which part of a record a block is."""
    tests = dict(_TESTS)
    return Roles("labels", dict(parts), {n: tests[n](s) or {} for n, s in parts.items()})


def label_of(seen: list[Seen], fiber: bool) -> Seen | None:
    """The column, or the label of blocks, with the labels of links."""
    best, most = None, 0.0
    for i, s in enumerate(seen):
        p, h = s.profile, s.own
        if nameless(s.source):
            continue
        if (
            h.parameters
            or h.modifiers & {"frequency", "margin"}
            or p.dates
            or p.verdicts > 0.5
            or p.cables > 0.5
            or p.limits > 0.5
        ):
            continue
        named = "link_label" in h.fields or (fiber and "fiber" in h.media and not h.fields)
        cable = not named and h.fields[:1] == ["cable"] and p.cables < 0.1 and len(p.distinct) > 1
        cable = cable and (p.unique > 0.5 or (len(p.distinct) > 2 and all(re.search(r"\d", c) for c in p.distinct)))
        weak = cable or (not named and (h.text.strip().casefold() in NAMES or "port" in h.fields[:1]))
        if not named and not weak:
            continue
        if p.numeric > 0.9 and not named:
            continue
        score = (
            (2.0 if named else 0.5) + min(1.0, len(p.distinct) / max(1, 0.2 * p.n)) - 0.01 * i - 0.3 * len(h.unknown)
        )
        if h.fields[:1] == ["link_label"]:
            score += 0.4
        if p.numeric > 0.9 and s.source == "@block":
            score -= 1.7  # It numbers the sections.
        if p.numeric > 0.9:
            # A plain number may be that of the row: a label beside it is surer.
            score -= 0.7
        if score > most:
            best, most = s, score
    return best


def _runs(label: Seen | None, found: Found) -> list[Any]:
    """Something that differs from record to record, for each row."""
    if label is None:
        return list(found.record) or [0] * found.rows
    last: Any = None
    out = []
    for cell, block in zip(label.column.cells, found.record, strict=False):
        last = cell if cell not in (None, "") else last
        out.append((block, last))
    return out


def _frequency(seen: list[Seen], runs: list[Any]) -> Seen | None:
    """The column of frequencies that rise within each record, or None."""
    named = [s for s in seen if _is_frequency(s)]
    free = [s for s in seen if not s.own.says and not s.own.unit]
    for s in [*named, *free]:
        values = s.profile.values
        if values is None or s.profile.numeric < 0.95 or s.profile.filled < 5:
            continue
        rises = falls = 0
        for i in range(1, min(len(values), len(runs))):
            if runs[i] != runs[i - 1] or not np.isfinite(values[i]) or not np.isfinite(values[i - 1]):
                continue
            rises += values[i] > values[i - 1]
            falls += values[i] <= values[i - 1]
        lengths = len(values) / max(1, falls + len({repr(r) for r in runs[: len(values)]}))
        if s in named and rises >= 4 and lengths >= 4 and rises > 2.5 * falls:
            return s
        paired = set(s.profile.distinct) <= {"12", "36", "45", "78"}
        numbered = bool((np.diff(values[np.isfinite(values)]) == 1).all()) and len({repr(r) for r in runs}) > 1
        if s in named or paired or numbered or lengths < 4:
            continue  # A number that counts on from record to record is that of the row.
        if falls == 0 and rises >= 8 and np.nanmin(values) > 0 and np.nanmax(values) > 20:
            return s
    return None


def _is_frequency(s: Seen) -> bool:
    h = s.own
    if h.parameters or h.generics or h.modifiers & {"limit", "margin", "value", "start", "stop", "step"}:
        return False
    unit = units.units().get(h.unit)
    return "frequency" in h.modifiers or (unit is not None and unit.dimension == "frequency")


def _parameters(s: Seen) -> dict[str, str] | None:
    """Distinct cells that name quantities, with what they name; None where the column does not."""
    p, h = s.profile, s.inner
    if not p.distinct or p.numeric > 0.3 or p.verdicts > 0.5 or len(p.distinct) > 80 or h.parameters or p.lists > 0.5:
        return None
    if h.fields and "parameter" not in h.modifiers:
        return None
    known = {}
    for cell in p.distinct:
        found = heading.read(cell)
        if (found.parameters or found.generics) and not (set(found.unknown) and not found.parameters):
            known[cell] = ""
    share = len(known) / len(p.distinct)
    named = "parameter" in h.modifiers
    if share >= 0.5 and (named or len(known) >= 2 or share == 1):
        return known
    return None


def _pairs(s: Seen) -> dict[str, str] | None:
    p, h = s.profile, s.inner
    if h.parameters or h.generics or h.pairs or len(p.distinct) > 40 or not p.distinct:
        return None
    from archive.formats.draft.paired import plain

    named = "pair" in h.modifiers or h.pair_word
    some = [bool(plain(c)) for c in p.distinct]
    share = sum(some) / len(some)
    if named and share >= 0.6:
        return {}
    clear = [c for c in p.distinct if re.fullmatch(rf"{_PAIR}(?:[^\d.]+{_PAIR})?", c)]
    return {} if len(clear) >= max(2, 0.8 * len(p.distinct)) and not h.fields and not h.unit else None


_PAIR = r"(?:(?i:pair|pr)\.?\s*)?(?:1[-/, ]?2|3[-/, ]?6|4[-/, ]?5|7[-/, ]?8)"


def _pair_columns(out: Roles, seen: list[Seen]) -> None:
    """Two columns of pairs that name a combination together, where quantities of combinations have both. A third may
    name the pair of the other rows.

    Where the order of the two counts and no word says which disturbs which, they are less sure.
    """
    free = [s for n, s in out.keys.items() if n != "pairing"]
    mine = [s for s in seen if s is not out.label and s not in free and _one_pair(s)]
    couples = [(a, b) for a, b in combinations(mine, 2) if any(_both(a, b))]
    if len(mine) == 1 and mine[0] is out.keys.get("pairing"):
        mine[0].heading.unknown = []  # Its cells say what it is, whatever its heading may be.
    if len(couples) != 1 or len(mine) > 3:
        return
    (couple,) = couples
    per = _quantities(*couple, out.keys.get("parameter"), seen)
    if not per or not per <= {"combination", "ordered"}:
        return
    backwards = "disturbed" in couple[0].own.modifiers or "disturbing" in couple[1].own.modifiers
    said = backwards or "disturbing" in couple[0].own.modifiers or "disturbed" in couple[1].own.modifiers
    out.keys.pop("pairing", None)
    rest = [s for s in mine if s not in couple]
    named = dict(
        zip(("disturbing", "disturbed", "pairing"), [*(couple[::-1] if backwards else couple), *rest], strict=False)
    )
    for name, s in named.items():
        out.keys[name] = s
        out.words[name] = {c: _contacts(c) for c in s.profile.distinct}
        s.heading.unknown = []
        if "ordered" in per and not said and s in couple:
            s.column.doubt = "nothing says which of the two pairs disturbs the other"


def _both(one: Seen, other: Seen) -> list[bool]:
    """Of each row whether two columns have a cell."""
    cells = zip(one.column.cells, other.column.cells, strict=True)
    return [a not in (None, "") and b not in (None, "") for a, b in cells]


def _contacts(cell: str) -> str:
    """A cell that names one pair by its contacts, as 1-2; "" where it is anything else."""
    return f"{cell.strip()[0]}-{cell.strip()[-1]}" if re.fullmatch(_PAIR, cell.strip()) else ""


def _one_pair(s: Seen) -> bool:
    """Whether every cell names one pair by its contacts."""
    h = s.own
    return (
        len(s.profile.distinct) > 1
        and not (h.parameters or h.generics or h.unit)
        and all(map(_contacts, s.profile.distinct))
    )


def _quantities(one: Seen, other: Seen, parameter: Seen | None, seen: list[Seen]) -> set[str]:
    """Of the rows in which both columns have a pair, different ones: what their quantities are measured of ("pair",
    "combination", "ordered"); nothing where both name one pair or no quantity is named."""
    rows = [i for i, both in enumerate(_both(one, other)) if both]
    if any(one.column.cells[i] == other.column.cells[i] for i in rows):
        return set()
    if parameter is not None:
        return {_per(str(parameter.column.cells[i])) for i in rows}
    return {_per(*s.column.levels) for s in seen if s.heading.parameters or s.heading.generics}


@lru_cache(maxsize=4096)
def _per(*levels: str) -> str:
    """What the quantity that some words name is measured of."""
    said = heading.read(*levels)
    if said.parameters:
        return vocabulary.parameter(said.parameters[0]).per
    return "combination" if "crosstalk" in said.generics else ""


NAMES = frozenset(("id", "name", "nr", "no"))
"""Headings that name the thing of their row or section, whatever it is."""

END_LETTERS = (
    ("a", "b"),
    ("1", "2"),
    ("l", "r"),
    ("m", "r"),
    ("n", "f"),
    ("m", "s"),
    ("h", "r"),
    ("p", "r"),
    ("p", "d"),
    ("h", "g"),
    ("l", "d"),
)
"""Letters and numbers by which exports tell the two ends apart: of the local end, of the remote one."""


def end_of(cell: str) -> str:
    """The end that a cell names, such as "Near end" or "Main unit (A)"; "" where it names none, or more."""
    whole = words.meaning(cell, "end")
    if whole or len(cell) > 40 or re.search(r"\d", cell):
        return whole or ""
    said = heading.read(cell)
    other = said.parameters or said.generics or said.unknown or said.guessed or said.pairs or said.unit
    return said.ends[0] if len(set(said.ends)) == 1 and not other else ""


def _ends(s: Seen) -> dict[str, str] | None:
    p, h = s.profile, s.inner
    if h.parameters or not 1 <= len(p.distinct) <= 6:
        return None
    named = "end" in h.modifiers
    known = {c: m for c in p.distinct if (m := end_of(c))}
    spelt = len(known) >= 2 and all(len(c.strip()) > 1 for c in known)
    if len(known) == len(p.distinct) and (named or (len(known) >= 2 and not h.fields) or spelt):
        return known
    if named and len(p.distinct) == 2:
        for first, second in END_LETTERS:
            by = {c.strip().casefold(): c for c in p.distinct}
            if set(by) == {first, second}:
                return {by[first]: "local", by[second]: "remote"}
    return known if named and known else None


def _directions(s: Seen) -> dict[str, str] | None:
    p, h = s.profile, s.inner
    if h.parameters or not 1 <= len(p.distinct) <= 4:
        return None
    known = {c: m for c in p.distinct if (m := words.meaning(c, "direction"))}
    return known if len(known) == len(p.distinct) and ("direction" in h.modifiers or len(known) == 2) else None


def _wavelengths(s: Seen) -> dict[str, str] | None:
    p, h = s.profile, s.inner
    if h.parameters or h.generics or not p.distinct:
        return None
    some = [re.sub(r"\s*nm$|\.0$", "", c.strip()) in WAVELENGTHS for c in p.distinct]
    named = "wavelength" in h.modifiers or h.unit == "nm"
    return {} if all(some) and (named or len(some) >= 2) else None


def _units(s: Seen) -> dict[str, str] | None:
    p, h = s.profile, s.inner
    if not p.distinct or p.numeric > 0 or h.parameters or len(p.distinct) > 12:
        return None
    named = "units" in h.fields
    known = [units.find(c) is not None for c in p.distinct]
    return {} if all(known) and (named or len(known) >= 2) else None


def _origins(s: Seen) -> dict[str, str] | None:
    p, h = s.profile, s.inner
    if h.parameters or not 2 <= len(p.distinct) <= 6 or p.numeric > 0:
        return None
    known = {}
    for c in p.distinct:
        ids = {m.id for m in words.meanings(c, "modifier")}
        for meaning, origin in (("limit", "limit"), ("margin", "margin"), ("value", "measured")):
            if meaning in ids:
                known[c] = origin
                break
    return known if len(known) == len(p.distinct) else None


def _kinds(s: Seen) -> dict[str, str] | None:
    p, h = s.profile, s.inner
    if h.parameters or not 1 <= len(p.distinct) <= 6 or p.numeric > 0 or p.lists > 0.5:
        return None
    known = {}
    for c in p.distinct:
        found = heading.read(c)
        if "margin" in found.modifiers and not found.unknown:
            known[c] = "worst_margin"
        elif found.modifiers & {"worst", "maximum"} and "value" in found.modifiers and not found.unknown:
            known[c] = "worst_value"
    return known if len(known) == len(p.distinct) and ("kind" in h.modifiers or len(known) == 2) else None


_TESTS: tuple[tuple[str, Callable[[Seen], dict[str, str] | None]], ...] = (
    ("parameter", _parameters),
    ("pairing", _pairs),
    ("unit", _units),
    ("end", _ends),
    ("direction", _directions),
    ("wavelength", _wavelengths),
    ("origin", _origins),
    ("kind", _kinds),
)
