"""What columns say of each other, where no word speaks: margins, ends, and quantities by their pairs and curves.

A limit less a value is a margin. Two words without which rows would be the same name the ends.

Quantities of pairs that have no end are insertion loss; of pairs with an end return loss or power sums, told apart by
the shape of their curves; of combinations near-end crosstalk, or far-end ratios where their order counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Any

import numpy as np

from archive import vocabulary
from archive.formats.draft import paired, shape
from archive.formats.draft.columns import Seen, filled_down
from archive.formats.draft.hypotheses import hypotheses, score_of, weight
from archive.formats.draft.keys import end_of, lettered
from archive.formats.draft.placing import Meaning, Placed, Surroundings
from archive.formats.draft.quantities import dimension_of, within
from archive.formats.mapping.headings import frequency_of
from archive.formats.mapping.target import Target

Claims = Sequence[tuple[Seen, list[Placed]]]

_PARTS = ("value", "limit", "margin")


def add(claims: Claims) -> None:
    """Adds the third of value, limit and margin where two of them are known and a free column of numbers is that."""
    known = [p for _, own in claims for p in own[:1] if p.to is not None and _part(p.to) in _PARTS and p.seen.numeric]
    free = [(s, own) for s, own in claims if s.numeric and _unclear(s, own)]
    for s, own in free:
        for a, b in combinations(known, 2):
            third = _third(a, b, s)
            if third is not None and not any(p.to == third for p in known):
                why = f"with {a.source!r} and {b.source!r} it makes value, limit and margin"
                own[:] = [Placed(s, third, a.unit, score_of(0.93) + weight("own"), why, what=_part(third))]
                break
    _by_frequency(claims, [(s, own) for s, own in free if not any(p.what and p.what != "value" for p in own)])


def _by_frequency(claims: Claims, free: Claims) -> None:
    """A limit or a margin beside the value and frequency of a worst case, by what is the same at one frequency."""
    placed = [p for _, own in claims for p in own[:1] if p.to is not None and p.to.table == "reported"]
    values = [p for p in placed if _part(p.to or Target("", "")) == "value" and not p.seen.inner.unknown]
    axes = [p for p in placed if p.to is not None and p.to.column == "frequency"]
    rest = [(s, own) for s, own in free if s.inner.unknown and not any(p.seen is s for p in values)]
    if len(values) != 1 or len(axes) != 1 or len(rest) != 1 or values[0].to is None:
        return
    (s, own), value = rest[0], values[0]
    if dimension_of(s.heading.unit or s.profile.unit) != "level" or any(
        _part(p.to) in ("limit", "margin") for p in placed if p.to is not None
    ):
        return
    mhz = axes[0].seen.profile.values
    part = shape.part_of([""] * len(mhz), mhz, value.seen.profile.values, s.profile.values)
    if part:
        to = _put(value.to or Target("", ""), part)
        own[:] = [
            Placed(s, to, value.unit, score_of(0.92), f"with {value.source!r} the same at one frequency", what=part)
        ]


def _unclear(s: Seen, own: list[Placed]) -> bool:
    """Whether nothing but its unit or its numbers says what a column is."""
    h = s.inner
    clear = h.parameters or h.fields or h.modifiers & {"limit", "margin", "value", "frequency"}
    return not clear and dimension_of(h.unit or s.profile.unit) in ("level", "")


def _part(to: Target) -> str:
    if to.table == "row":
        return to.name
    return to.column if to.table == "reported" else to.origin or "value" if to.table == "sweeps" else ""


def _third(a: Placed, b: Placed, s: Seen) -> Target | None:
    """The place of a column that makes value, limit and margin with two others, or None."""
    assert a.to is not None and b.to is not None
    missing = [x for x in _PARTS if x not in (_part(a.to), _part(b.to))]
    if len(missing) != 1 or _put(a.to, "value") != _put(b.to, "value"):
        return None
    x, y, z = (
        np.abs(p.profile.values) if _part(t) != "margin" else p.profile.values for p, t in _with(a, b, s, missing)
    )
    ok = np.isfinite(x) & np.isfinite(y) & np.isfinite(z)
    step = 10.0 ** -min(p.decimals for p in (a.seen.profile, b.seen.profile, s.profile))
    if ok.sum() < 3 or np.ptp(z[ok]) == 0:
        return None
    by = {_part(a.to): x[ok], _part(b.to): y[ok], missing[0]: z[ok]}
    off = np.abs(np.abs(by["value"] - by["limit"]) - np.abs(by["margin"]))
    return _put(a.to, missing[0]) if float((off <= 1.6 * step).mean()) > 0.9 else None


def _with(a: Placed, b: Placed, s: Seen, missing: list[str]) -> Iterator[tuple[Seen, Target]]:
    assert a.to is not None and b.to is not None
    yield a.seen, a.to
    yield b.seen, b.to
    yield s, _put(a.to, missing[0])


def _put(to: Target, part: str) -> Target:
    """The place of another part of the same quantity."""
    if to.table == "row":
        return to.at(name=part)
    return to.at(column=part) if to.table == "reported" else to.at(origin="" if part == "value" else part)


def end_by_need(meaning: Meaning, free: Sequence[Seen], runs: Sequence[Any]) -> None:
    """Finds the column of ends that no word names: two words without which rows that differ would be the same."""
    paired_rows = "pairing" in meaning.keys or ("parameter" in meaning.keys and "frequency" in meaning.keys)
    if "end" in meaning.keys or not paired_rows or len(runs) < 4:
        return
    told = [filled_down(runs)]
    told += [s.column.cells for n, s in meaning.keys.items() if n != "unit" and len(s.column.cells) == len(runs)]
    if _double(told) < 0.25:
        return
    for s in free:
        cells = [c for c in s.profile.distinct if c.strip()]
        if len(cells) != 2 or s.inner.parameters or s.profile.verdicts > 0.5 or s.profile.lists > 0.5:
            continue
        if _double([*told, s.column.cells]) > 0.05:
            continue
        said = lettered(cells) or {c: e for c in cells if (e := end_of(c))}
        if len(set(said.values())) < 2:
            said = {cells[0]: "local", cells[1]: "remote"}
            s.column.doubt = "nothing says which end is which: the first is taken as the local one"
        meaning.keys["end"], meaning.words["end"] = s, said
        return


def parameter_by_need(meaning: Meaning, free: Sequence[Seen], seen: Sequence[Seen]) -> None:
    """Finds the column of quantities that no word names: words that go with single pairs, or with combinations."""
    pairs = meaning.keys.get("pairing")
    if "parameter" in meaning.keys or pairs is None or any(s.heading.parameters or s.heading.generics for s in seen):
        return
    per = [len(paired.plain(str(c)).replace(" ", "")) > 2 for c in pairs.column.cells]
    for s in free:
        p = s.profile
        words = [c for c in p.distinct if any(x.isalpha() for x in c)]
        if not 1 <= len(words) <= 12 or len(words) < len(p.distinct) or p.verdicts > 0.5 or p.dates or p.cables > 0.5:
            continue
        if s.inner.says or s.inner.unit or p.limits > 0.5 or len(s.column.cells) != len(per):
            continue
        kinds = {(str(c).strip(), k) for c, k in zip(s.column.cells, per, strict=True)}
        if len(kinds) == len(words) and (len(words) > 1 or "end" in meaning.keys) and _several_rows(s, pairs):
            meaning.keys["parameter"], meaning.words["parameter"] = s, {}
            s.column.doubt = "nothing but the pairs beside it says that it names quantities"
            return


def _several_rows(s: Seen, pairs: Seen) -> bool:
    """Whether each word stands beside several pairs: so the words of a label or a place do not."""
    by: dict[str, set[str]] = {}
    for word, pair in zip(s.column.cells, pairs.column.cells, strict=True):
        by.setdefault(str(word), set()).add(str(pair))
    return all(len(v) >= 4 for v in by.values())


def _double(keys: Sequence[Sequence[Any]]) -> float:
    """Share of the rows that some columns do not tell apart from another."""
    rows = list(zip(*keys, strict=False))
    return 1 - len(set(rows)) / len(rows) if rows else 0.0


def name_quantities(
    meaning: Meaning, seen: Sequence[Seen], words: Sequence[str], taken: set[str]
) -> dict[str, tuple[str, float]]:
    """Words for quantities that nobody knows, with the quantity that their pairs, ends and curves tell, and how
    probable it is. taken: quantities that other words name."""
    names, pairs = meaning.keys["parameter"].column.cells, meaning.keys.get("pairing")
    if pairs is None or len(pairs.column.cells) != len(names):
        return {}
    ends = meaning.keys.get("end")
    out: dict[str, tuple[str, float]] = {}
    for word in words:
        at = [i for i, c in enumerate(names) if str(c).strip() == word]
        combined = {c for i in at if (c := paired.plain(str(pairs.column.cells[i])))}
        ended = ends is not None and any(str(ends.column.cells[i] or "").strip() in meaning.words["end"] for i in at)
        curve = _shape_of(meaning, seen, at)
        level = curve.high if curve is not None else _level(seen, meaning, at)
        known = taken | {p for p, _ in out.values()}
        found, likely = quantity_of(combined, ended, curve, known, level)
        if found:
            out[word] = (found, likely)
    return out


def quantity_of(
    pairs: set[str], ended: bool, curve: shape.Shape | None, taken: set[str], level: float
) -> tuple[str, float]:
    """The quantity that pairs, ends, the shape of a curve and its levels tell, and how probable it is; ("", 0) where
    none. taken: quantities that other words name; level: highest of a curve, else the median, in dB, or NaN."""
    if not pairs:
        return "", 0.0
    if all(len(p.replace(" ", "")) == 4 or (" " in p and len(p) == 3) for p in pairs) and len(pairs) > 4:
        found = "next" if len(pairs) <= 6 else "acr_f"
        return (found, 0.85 if ended else 0.7) if found not in taken else ("", 0.0)
    if not ended:
        agrees = shape.agrees("insertion_loss", curve)
        likely = 0.92 if agrees > 0 else 0.7 if agrees == 0 else 0.0
        return ("insertion_loss", likely) if likely and "insertion_loss" not in taken else ("", 0.0)
    apart = hypotheses().apart
    levels = apart.highest if curve is not None else apart.levels
    rest = [p for p in levels if p not in taken and within(level, levels[p])]
    if len(rest) == 1:
        return rest[0], apart.by_level
    falls = curve is not None and shape.agrees("ps_next", curve) > 0
    rest = [p for p in ("return_loss", "ps_next") if p not in taken and (curve is None or (p == "ps_next") == falls)]
    return (rest[0], _UNPROVED) if rest else ("", 0.0)


_UNPROVED = 0.45
"""How probable return loss or a power sum is where nothing but the shape of a curve tells them apart."""


def _level(seen: Sequence[Seen], meaning: Meaning, at: Sequence[int]) -> float:
    """Median of the levels of some rows, in dB; NaN where no column clearly holds them."""
    keys = {id(s) for s in meaning.keys.values()}
    said = [s for s in seen if s.numeric and id(s) not in keys and not s.inner.modifiers & {"margin", "limit"}]
    said = [s for s in said if dimension_of(s.inner.unit or s.profile.unit) == "level" or "value" in s.inner.modifiers]
    if len(said) != 1:
        return float("nan")
    return median_level(said[0].profile.values[[i for i in at if i < len(said[0].profile.values)]])


def median_level(values: Any) -> float:
    """Median of some levels without their signs, in dB; NaN where there are none."""
    finite = np.abs(values[np.isfinite(values)])
    return float(np.median(finite)) if len(finite) else float("nan")


def _shape_of(meaning: Meaning, seen: Sequence[Seen], at: Sequence[int]) -> shape.Shape | None:
    """The shape of the first curve of some rows of a table of points."""
    axis = meaning.keys.get("frequency")
    if meaning.rows == "curves" and at:
        points = sorted((f, s.profile.values[at[0]]) for s in seen if (f := frequency_of(s.source)) is not None)
        return shape.shape(*np.array(points).T) if len(points) > 4 else None
    if meaning.rows != "points" or axis is None:
        return None
    keys = {id(s) for s in meaning.keys.values()}
    values = [s for s in seen if s.numeric and id(s) not in keys and "margin" not in s.inner.modifiers]
    values = [
        s for s in values if dimension_of(s.inner.unit or s.profile.unit) == "level" or "value" in s.inner.modifiers
    ]
    if not values or not at:
        return None
    some = np.array([i for i in at if i < len(axis.profile.values) and i < len(values[0].profile.values)])
    mhz, level = axis.profile.values[some], values[0].profile.values[some]
    return shape.shape(shape.first_run(mhz, mhz), shape.first_run(level, mhz))


def ends_of_titles(titles: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Ends of titles of one quantity that differ by a letter alone. titles: quantity and what is left of its title."""
    by: dict[str, list[str]] = {}
    for quantity, rest in titles:
        if vocabulary.parameter(quantity).ends and rest not in by.setdefault(quantity, []):
            by[quantity].append(rest)
    out: dict[str, str] = {}
    for letters in by.values():
        if len(letters) == 2 and all(len(r) == 1 for r in letters):
            out.update(lettered(letters) or {letters[0]: "local", letters[1]: "remote"})
    return out


def around_titles(around: Surroundings, titles: Sequence[tuple[str, str]]) -> None:
    """Lets letters in titles name ends."""
    for letter, end in ends_of_titles(titles).items():
        around.ends.setdefault(letter.casefold(), end)
