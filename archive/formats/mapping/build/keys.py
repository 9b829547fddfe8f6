"""What the columns of a row say about it: parameter, pairing, end, direction, wavelength, frequency, kind, origin."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive import vocabulary
from archive.formats.base import numbers, units, words
from archive.formats.mapping import pairs
from archive.formats.mapping.model import Mapping, SourceField, quantity
from archive.formats.mapping.row_frame import Problems, RowFrame, encoded, mapped
from archive.tables.arrow import Bools, Reals


@dataclass
class Keys:
    """Of each row of a frame: words, Arrow text by name (only names that the table has); wavelength (nm), frequency
    (MHz), float64; unit, Arrow text.

    lost: boolean array, rows whose parameter, pairing or end is in words that nobody knows: they are kept as extras.
    """

    lost: Bools
    words: dict[str, pa.Array] = field(default_factory=dict)
    wavelength: Reals | None = None
    frequency: Reals | None = None
    unit: pa.Array | None = None


def keys_of(frame: RowFrame, mapping: Mapping, writing: numbers.Writing, problems: Problems, kind: str = "") -> Keys:
    """The keys of a frame's rows. kind: of the point, where a row has keys of its own for several kinds."""
    keys = Keys(lost=np.zeros(frame.rows, dtype=bool))
    readers: dict[str, Callable[[str], str | None]] = {
        "parameter": lambda w: parameter_of(w, mapping),
        "end": lambda w: end_of(w, mapping),
        "direction": lambda w: direction_of(w, mapping),
        "kind": lambda w: kind_of(w, mapping),
        "origin": lambda w: mapping.origins.get(w.strip()) or origin_of(w),
        "subject": lambda w: w.strip() or None,
    }
    for name, reader in readers.items():
        f = frame.table.find(name, kind)
        if f and f.source in frame.columns:
            _word(keys, frame, f, name, reader, writing)
    _pairing(keys, frame, mapping, writing, kind)
    for name, unit in (("wavelength", "nm"), ("frequency", "MHz")):
        f = frame.table.find(name, kind)
        if f and f.source in frame.columns:
            frame.keyed.add(f.source)
            found = numbers.read(frame.columns[f.source], writing, units.for_unit(f.unit, unit, name), step=False)
            problems.cells(frame, f.source, found.bad, "a number")
            frame.note(f.source, found.changes)
            setattr(keys, name, found.values)
    f = frame.table.find("unit")
    if f and f.source in frame.columns:
        _word(keys, frame, f, "unit", lambda w: u.name if (u := units.find(w)) else None, writing)
        keys.unit = keys.words.pop("unit")
    _by_quantity(keys, frame, mapping, with_unit=keys.unit is None)
    return keys


def _by_quantity(keys: Keys, frame: RowFrame, mapping: Mapping, with_unit: bool) -> None:
    """What the word that names the quantity says beside it: "Length (ft)" = "length ft", "NEXT far" = "next remote",
    "NEXT 12-36 far" = "next remote 1-2/3-6"."""
    f = frame.table.find("parameter")
    if f is None or f.source not in frame.columns or not any(" " in v for v in mapping.parameters.values()):
        return

    def stated(which: str) -> pa.Array:
        words_ = mapping.parameters
        return mapped(frame.columns[f.source], lambda w: getattr(quantity(words_.get(w.strip(), "")), which) or None)

    if with_unit:
        keys.unit = stated("unit")
    for which, named in (("end", ("end",)), ("pairing", ("pairing", "ordered"))):
        found = stated(which)
        if found.null_count < len(found):
            for name in named:
                keys.words[name] = pc.coalesce(keys.words[name], found) if name in keys.words else found


def _word(
    keys: Keys,
    frame: RowFrame,
    f: SourceField,
    name: str,
    reader: Callable[[str], str | None],
    writing: numbers.Writing,
) -> None:
    frame.keyed.add(f.source)
    cells = encoded(frame.columns[f.source])
    own = {k.strip(): v for k, v in f.words.items()}
    found = mapped(cells, lambda w: own.get(w.strip()) or reader(w))
    keys.words[name] = found
    stated = mapped(cells, lambda w: None if w.strip().casefold() in writing.empty or not w.strip() else w)
    keys.lost |= np.asarray(pc.and_(stated.is_valid(), found.is_null()))


def _pairing(keys: Keys, frame: RowFrame, mapping: Mapping, writing: numbers.Writing, kind: str) -> None:
    single = frame.table.find("pairing", kind)
    if single and single.source in frame.columns:
        own = {**mapping.pair_names, **single.words}
        # Whether the order counts hangs on the parameter: both are made, and chosen by who uses them.
        for name, ordered in (("pairing", False), ("ordered", True)):
            _word(
                keys,
                frame,
                single,
                name,
                lambda w, o=ordered: pairing_of(w, mapping, o, own),  # type: ignore[misc]
                writing,
            )
    both = _of_two(keys, frame, mapping, writing)
    if both is None:
        return
    for name, found in (("pairing", mapped(both, _unordered)), ("ordered", both)):
        keys.words[name] = pc.coalesce(found, keys.words[name]) if name in keys.words else found


def _of_two(keys: Keys, frame: RowFrame, mapping: Mapping, writing: numbers.Writing) -> pa.Array | None:
    """The combination of the pairs in two columns, or the pair where a row has only one of them; None where the table
    has no disturbed pair."""
    fields = {n: f for n in ("disturbing", "disturbed") if (f := frame.table.find(n)) and f.source in frame.columns}
    if "disturbed" not in fields:
        return None

    def pair(word: str) -> str | None:
        found = pairs.pairing(word, mapping.pairs, True)
        return None if found and "/" in found and len(fields) == 2 else found

    for name, f in fields.items():
        _word(keys, frame, f, name, pair, writing)
    first, second = (keys.words.pop(n, None) for n in ("disturbing", "disturbed"))
    if first is None:
        return second
    # No pair disturbs itself.
    keys.lost |= np.asarray(pc.fill_null(pc.equal(first, second), False))
    return pc.coalesce(pc.binary_join_element_wise(first, second, "/"), first, second)


def _unordered(combination: str) -> str:
    first, _, second = combination.partition("/")
    return pairs.combine(first, second, False) if second else first


def pairing_of(word: str, mapping: Mapping, ordered: bool, own: dict[str, str]) -> str | None:
    """A pair or combination by the mapping's own names, else by its scheme."""
    found = own.get(word.strip()) or pairs.pairing(word, mapping.pairs, True)
    if found is None or "/" not in found:
        return found
    a, b = found.split("/")
    if ordered and mapping.first_is_disturbed:
        a, b = b, a
    return pairs.combine(a, b, ordered)


def parameter_of(word: str, mapping: Mapping) -> str | None:
    """A parameter by the mapping's own words, or by its id."""
    found = quantity(mapping.parameters.get(word.strip(), "")).parameter
    return found or (word if word in vocabulary.parameters() else None)


def end_of(word: str, mapping: Mapping) -> str | None:
    """An end by the mapping's own words, else by the word list."""
    return mapping.ends.get(word.strip()) or words.meaning(word, "end")


def direction_of(word: str, mapping: Mapping) -> str | None:
    """A direction by the mapping's own words, else by the word list."""
    return mapping.directions.get(word.strip()) or words.meaning(word, "direction")


def kind_of(word: str, mapping: Mapping) -> str | None:
    """A kind of point by the mapping's own words, or by its id."""
    return mapping.kinds.get(word.strip()) or (word if word in vocabulary.words("point_kind") else None)


def origin_of(word: str) -> str | None:
    """What a row gives: measured, limit, margin."""
    ids = {m.id for m in words.meanings(word, "modifier")}
    for meaning, origin in (("limit", "limit"), ("margin", "margin"), ("value", "measured")):
        if meaning in ids:
            return origin
    return word if word in vocabulary.words("origin") else None


def spread(value: str | pa.Array, n: int) -> pa.Array:
    """One word, or a column of words, as Arrow text of n rows."""
    return value if isinstance(value, pa.Array) else pa.repeat(pa.scalar(value or None, pa.string()), n)
