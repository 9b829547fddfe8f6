"""Columns of lists of plain numbers, all cells at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.formats.base.numbers import Writing
from archive.formats.mapping.model import SourceField


@dataclass(frozen=True)
class Bulk:
    """The numbers of all cells of a column: cell i is values[offsets[i]:offsets[i + 1]], float64, NaN for a missing
    point. finite: no infinite number is among them; whole: none is missing either."""

    values: Any
    offsets: Any
    finite: bool
    whole: bool

    def of(self, i: int) -> Any:
        """The numbers of one cell."""
        return self.values[self.offsets[i] : self.offsets[i + 1]]

    def curves(self, at: Any, points: int) -> Any:
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


def bulk(cells: Any, f: SourceField, writing: Writing) -> Bulk | None:
    """The numbers of a column of lists, or of text that holds nothing but plain numbers.

    None where a single cell holds anything else (an encoded array, a bound such as >70, a missing point as a word):
    such a column is read cell by cell.
    """
    if f.encoding:
        return None
    if pa.types.is_list(cells.type) and pa.types.is_floating(cells.type.value_type):
        values = cells.values.to_numpy(zero_copy_only=False)
    elif pa.types.is_string(cells.type):
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
