"""Which columns say what a row is: quantity, pair, end, direction, wavelength, unit, origin, kind of point.

Each test gives what the distinct cells mean, {} where its cells need no words, None where the column is none such.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from archive.formats.base import units, words
from archive.formats.draft import heading
from archive.formats.draft.columns import Seen
from archive.formats.draft.hypotheses import hypotheses
from archive.formats.draft.paired import plain

Meanings = dict[str, str]

PAIR = r"(?:(?i:pair|pr)\.?\s*)?(?:1[-/, ]?2|3[-/, ]?6|4[-/, ]?5|7[-/, ]?8)"


def end_of(cell: str) -> str:
    """The end that a cell names, such as "Near end" or "Main unit (A)"; "" where it names none, or more."""
    whole = words.meaning(cell, "end")
    if whole or len(cell) > 40 or re.search(r"\d", cell):
        return whole or ""
    said = heading.read(cell)
    other = said.parameters or said.generics or said.unknown or said.guessed or said.pairs or said.unit
    return said.ends[0] if len(set(said.ends)) == 1 and not other else ""


def _parameters(s: Seen) -> Meanings | None:
    p, h = s.profile, s.inner
    if not p.distinct or p.numeric > 0.3 or p.verdicts > 0.5 or len(p.distinct) > 80 or h.parameters or p.lists > 0.5:
        return None
    if h.fields and "parameter" not in h.modifiers:
        return None
    known = {c: "" for c in p.distinct if _names_quantity(c)}
    share = len(known) / len(p.distinct)
    named = "parameter" in h.modifiers
    return known if share >= 0.5 and (named or len(known) >= 2 or share == 1) else None


def _names_quantity(cell: str) -> bool:
    said = heading.read(cell)
    maybe = {m.id for m in said.maybe if m.kind == "parameter"}
    return bool(said.parameters or len(maybe) == 1 or (said.generics and not said.unknown))


def _pairs(s: Seen) -> Meanings | None:
    p, h = s.profile, s.inner
    if h.parameters or h.generics or len(p.distinct) > 40 or not p.distinct:
        return None
    named = "pair" in h.modifiers or h.pair_word
    if h.pairs and not (named and len(p.distinct) > 1):
        return None
    if named and sum(bool(plain(c)) for c in p.distinct) >= 0.6 * len(p.distinct):
        h.pairs = s.own.pairs = s.heading.pairs = ""
        return {}
    if h.fields or h.unit:
        return None
    clear = [c for c in p.distinct if re.fullmatch(rf"{PAIR}(?:[^\d.]+{PAIR})?", c) or _keyed(c)]
    plainly = {re.sub(r"^(?:[A-Za-z]|[Pp]r|[Pp]air) ?(?=[1-4]$)", "", c) for c in p.distinct}
    numbered = not h.says and plainly == set("1234") and (p.filled > 4 or p.distinct[0] not in "1234")
    both = [c for c in p.distinct if not h.says and re.fullmatch(r"[1-4][^\d.,]+[1-4]", c)]
    if len(both) > 2:
        both += [c for c in p.distinct if c in ("1", "2", "3", "4")]
    coloured = [c for c in p.distinct if not h.says and re.search(r"[a-z]{3}", plain(c))]
    most = max(len(clear), len(both), len(coloured))
    return {} if numbered or most >= max(2, 0.8 * len(p.distinct)) else None


def _keyed(cell: str) -> bool:
    """Whether a cell is a letter with the contacts of one or two pairs, as keys are that may not begin with a digit."""
    contacts = plain(cell).replace(" ", "")
    return bool(re.fullmatch(r"[A-Za-z]_?[1-8][\d_]*", cell)) and len(contacts) in (2, 4)


def _units(s: Seen) -> Meanings | None:
    p = s.profile
    if not p.distinct or p.numeric > 0 or s.inner.parameters or len(p.distinct) > 12:
        return None
    known = all(units.find(c) is not None for c in p.distinct)
    return {} if known and ("units" in s.inner.fields or len(p.distinct) >= 2) else None


def _ends(s: Seen) -> Meanings | None:
    p, h = s.profile, s.inner
    if h.parameters or not 1 <= len(p.distinct) <= 6:
        return None
    named = "end" in h.modifiers
    known = {c: m for c in p.distinct if (m := end_of(c))}
    spelt = len(known) >= 2 and all(len(c.strip()) > 1 for c in known)
    if len(known) == len(p.distinct) and (named or (len(known) >= 2 and not h.fields) or spelt):
        return known
    if named and (letters := lettered(p.distinct)):
        return letters
    return known if named and known else None


def lettered(distinct: list[str]) -> Meanings:
    """Two cells that are letters by which exports tell the ends apart, as ends; {} where they are not."""
    by = {c.strip().casefold(): c for c in distinct}
    found = next((pair for pair in hypotheses().ends.letters if set(by) == set(pair)), None)
    return {by[found[0]]: "local", by[found[1]]: "remote"} if found is not None and len(distinct) == 2 else {}


def _directions(s: Seen) -> Meanings | None:
    p, h = s.profile, s.inner
    if h.parameters or not 1 <= len(p.distinct) <= 4:
        return None
    known = {c: m for c in p.distinct if (m := words.meaning(c, "direction"))}
    return known if len(known) == len(p.distinct) and ("direction" in h.modifiers or len(known) == 2) else None


def _wavelengths(s: Seen) -> Meanings | None:
    p, h = s.profile, s.inner
    if h.parameters or h.generics or not p.distinct:
        return None
    known = all(re.sub(r"\s*nm$|\.0$", "", c.strip()) in hypotheses().wavelengths.nm for c in p.distinct)
    return {} if known and ("wavelength" in h.modifiers or h.unit == "nm" or len(p.distinct) >= 2) else None


def _fibers(s: Seen) -> Meanings | None:
    """Letters or numbers of fibers, under a heading that says fiber and nothing else."""
    p, h = s.profile, s.inner
    named = "fiber" in h.media and not (h.parameters or h.generics or h.fields or h.modifiers or h.unknown)
    return (
        {} if named and len(p.distinct) > 1 and all(re.fullmatch(r"[A-Za-z]|\d{1,3}", c) for c in p.distinct) else None
    )


def _origins(s: Seen) -> Meanings | None:
    p = s.profile
    if s.inner.parameters or not 2 <= len(p.distinct) <= 6 or p.numeric > 0:
        return None
    known = {c: o for c in p.distinct if (o := _origin({m.id for m in words.meanings(c, "modifier")}))}
    return known if len(known) == len(p.distinct) else None


def _origin(said: set[str]) -> str:
    return "limit" if "limit" in said else "margin" if "margin" in said else "measured" if "value" in said else ""


def _kinds(s: Seen) -> Meanings | None:
    p, h = s.profile, s.inner
    if h.parameters or not 1 <= len(p.distinct) <= 6 or p.numeric > 0 or p.lists > 0.5:
        return None
    known = {c: k for c in p.distinct if (k := _kind(heading.read(c)))}
    return known if len(known) == len(p.distinct) and ("kind" in h.modifiers or len(known) == 2) else None


def _kind(said: heading.Heading) -> str:
    return "" if said.unknown else kind_said(said.modifiers)


def kind_said(modifiers: set[str]) -> str:
    """Which point of a curve some words name: worst_margin, worst_value or ""."""
    if "margin" in modifiers:
        return "worst_margin"
    return "worst_value" if "value" in modifiers and modifiers & {"worst", "maximum"} else ""


TESTS: dict[str, Callable[[Seen], Meanings | None]] = {
    "parameter": _parameters,
    "pairing": _pairs,
    "unit": _units,
    "end": _ends,
    "direction": _directions,
    "wavelength": _wavelengths,
    "subject": _fibers,
    "origin": _origins,
    "kind": _kinds,
}
"""By the name of the key, in the order in which columns are asked."""
