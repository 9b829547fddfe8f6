"""The numbers of cells that hold many: texts of numbers, encoded arrays, lists; one cell or a whole column at once."""

from __future__ import annotations

import base64
import binascii
import re
import zlib
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.base import numbers, units
from archive.formats.mapping.model import SourceField
from archive.tables.arrow import Ints, Reals

Signs: TypeAlias = npt.NDArray[np.int8]
"""Bounds of numbers: 1 for "more than", -1 for "less than", 0 for none."""

_TYPES = {"float32": "f4", "float64": "f8", "int16": "i2", "int32": "i4"}
MOST_BYTES = 1 << 26
"""Bytes that one encoded array may unpack to."""


def numbers_in(cell: str, f: SourceField, writing: numbers.Writing) -> tuple[Reals, Signs]:
    """The numbers of a cell (float64, NaN for a point that is missing) and their bounds (int8).

    f.encoding: words joined by hyphens: base64 or hex, zlib, the type (float32, float64, int16, int32; int16/100 for
    whole numbers that count hundredths), le or be; or "pairs": frequency and value in turn. Errors: ValueError with
    what was found.
    """
    if f.encoding and f.encoding != "pairs":
        return _unbounded(decoded(cell, f.encoding))
    text = cell.strip()
    if mark := _between_thousands(f, writing):
        text = re.sub(rf"(?<=\d){mark}(?=\d\d\d(?!\d))", "", text)
    if f.encoding == "pairs":
        text = re.sub(r"(?<=\d),(?=\d)", ".", text) if writing.decimal == "," else text
        return _unbounded(np.array(re.findall(r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?", text), dtype=np.float64))
    text = text.replace(",", ".") if writing.decimal == "," else text
    parts = text.split(f.separator) if f.separator.strip() else None
    if parts is None and re.fullmatch(r"[\d\s.eE+-]*", text):
        return _unbounded(np.array(text.split(), dtype=np.float64))
    parts = text.split() if parts is None else parts
    if parts and not parts[-1].strip():
        parts.pop()
    values, bound = np.full(len(parts), np.nan), np.zeros(len(parts), dtype=np.int8)
    for i, part in enumerate(parts):
        if part.strip().casefold() in writing.empty or not part.strip():
            continue
        one = numbers.cell_number(part) or numbers.cell_number(without_marks(part, writing))
        if one is None:
            raise ValueError(f"{part.strip()[:40]!r} as number {i + 1} of {len(parts)}")
        values[i], bound[i] = one[0], one[1]
    return values, bound


def without_marks(cell: str, writing: numbers.Writing) -> str:
    """A number without the marks of the layout beside it."""
    return str(writing.without_marks(pa.array([cell]))[0].as_py())


def _between_thousands(f: SourceField, writing: numbers.Writing) -> str:
    """A pattern of what stands between thousands in a list of numbers; "" where nothing does, or where blanks part the
    numbers themselves."""
    return writing.between_thousands if f.separator.strip() else writing.within_lists


def _unbounded(values: Reals) -> tuple[Reals, Signs]:
    return values, np.zeros(len(values), dtype=np.int8)


def decoded(cell: str, encoding: str) -> Reals:
    """Numbers of an encoded array (float64). Errors: ValueError."""
    stated = encoding.replace("-", " ").split()
    try:
        compact = "".join(cell.split())
        data = bytes.fromhex(compact) if "hex" in stated else base64.b64decode(compact, validate=True)
        if "zlib" in stated:
            machine = zlib.decompressobj()
            data = machine.decompress(data, MOST_BYTES)
            if machine.unconsumed_tail:
                raise ValueError(f"an array that unpacks to more than {MOST_BYTES} bytes")
    except (binascii.Error, ValueError, zlib.error) as error:
        raise ValueError(f"no {encoding}: {error}") from None
    names = [w.partition("/") for w in stated]
    kind = next((_TYPES[w] for w, _, _ in names if w in _TYPES), "f8")
    order = ">" if "be" in stated else "<"
    if len(data) % int(kind[1]):
        raise ValueError(f"{len(data)} bytes, no whole number of {kind}")
    values = np.frombuffer(data, dtype=order + kind).astype(np.float64)
    if kind == "f4":
        # A float32 that stands for a short decimal becomes that decimal.
        values = np.array([float(f"{v:.7g}") for v in values.tolist()])
    scale = next((float(n) for w, _, n in names if w in _TYPES and n), 1.0)
    return values / scale if scale != 1 else values


def encoding_fault(encoding: str) -> str:
    """What is wrong with the words of an encoding, "" where nothing is."""
    if encoding == "pairs":
        return ""
    stated = encoding.replace("-", " ").split()
    kinds = [w.partition("/")[0] for w in stated if w.partition("/")[0] in _TYPES]
    texts = [w for w in stated if w in ("base64", "hex")]
    known = {"base64", "hex", "zlib", "le", "be"}
    odd = [w for w in stated if w not in known and w.partition("/")[0] not in _TYPES]
    scale = [w for w in stated if "/" in w and not re.fullmatch(r"\w+/\d+(?:\.\d+)?", w)]
    if odd or scale:
        return f"{(odd or scale)[0]!r} in {encoding!r}"
    return "" if len(texts) == 1 and len(kinds) == 1 else f"{encoding!r}: one of base64 and hex, and one type"


@dataclass(frozen=True)
class Bulk:
    """The numbers of all cells of a column: cell i is values[offsets[i]:offsets[i + 1]], float64, NaN for a missing
    point. finite: no infinite number is among them; whole: none is missing either."""

    values: Reals
    offsets: Ints
    finite: bool
    whole: bool

    def of(self, i: int) -> Reals:
        """The numbers of one cell."""
        return self.values[self.offsets[i] : self.offsets[i + 1]]

    def curves(self, at: Ints, points: int) -> Reals | None:
        """The numbers of some cells one after the other, or None where one of them has not so many points."""
        if not self.finite or (np.diff(self.offsets)[at] != points).any():
            return None
        first, last = int(self.offsets[at[0]]), int(self.offsets[at[-1] + 1])
        if last - first == len(at) * points and at[-1] - at[0] == len(at) - 1:
            return self.values[first:last]
        begin, end, cells = int(self.offsets[0]), int(self.offsets[-1]), len(self.offsets) - 1
        if end - begin == cells * points and (np.diff(self.offsets) == points).all():
            return self.values[begin:end].reshape(cells, points)[at].reshape(-1)
        return np.concatenate([self.of(i) for i in at.tolist()])


def bulk(cells: pa.Array, f: SourceField, writing: numbers.Writing) -> Bulk | None:
    """The numbers of a column of lists, or of text that holds nothing but plain numbers.

    None where a single cell holds anything else (an encoded array, a bound such as >70, a missing point as a word):
    such a column is read cell by cell.
    """
    if f.encoding:
        return None
    if pa.types.is_list(cells.type) and pa.types.is_floating(cells.type.value_type):
        values = cells.values.to_numpy(zero_copy_only=False)
    elif pa.types.is_string(cells.type):
        mark = _between_thousands(f, writing)
        if mark and pc.any(pc.match_substring_regex(cells, rf"\d{mark}\d\d\d"), min_count=0).as_py():
            return None
        text = pc.replace_substring(cells, ",", ".") if writing.decimal == "," else cells
        mark = f.separator if f.separator.strip() else ""
        cells = pc.split_pattern(text, mark) if mark else pc.ascii_split_whitespace(pc.ascii_trim_whitespace(text))
        try:
            values = pc.cast(cells.values, pa.float64()).to_numpy(zero_copy_only=False)
        except pa.ArrowInvalid:
            return None
        if not np.isfinite(values).all():
            # "nan" and "inf" are words, not numbers.
            return None
    else:
        return None
    offsets = cells.offsets.to_numpy()
    used = values[offsets[0] : offsets[-1]]
    return Bulk(values, offsets, not bool(np.isinf(used).any()), not bool(np.isnan(used).any()))


def axis_values(cell: str | float | list[float], f: SourceField, writing: numbers.Writing) -> Reals:
    """Frequencies in MHz of a cell that holds a whole axis. Errors: ValueError."""
    values = numbers_in(cell, f, writing)[0] if isinstance(cell, str) else np.atleast_1d(np.array(cell, np.float64))
    mhz: Reals = units.for_unit(f.unit, "MHz", "frequency").ours(values)
    return mhz
