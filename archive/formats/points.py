"""Lists of numbers out of text, many at a time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import one_chunk
from archive.tables.markup import MISSING

_AT_ONCE = 2_000_000
"""Characters of text that are turned into numbers at once: stays in cache, and memory stays small."""


class PointLists:
    """Gathers texts of lists, as they come, into one Arrow array of list<double>."""

    def __init__(self) -> None:
        self._pending: list[str] = []
        self._size = 0
        self._done: list[Any] = []
        self.bytes = 0

    def add(self, text: str) -> None:
        """One list: numbers with white space between."""
        self._pending.append(text)
        self._size += len(text)
        if self._size >= _AT_ONCE:
            self._convert()

    def take(self) -> Any:
        """All lists so far, as an Arrow array; the gatherer is empty afterwards."""
        self._convert()
        out = self._done or [pa.array([], type=pa.list_(pa.float64()))]
        self._done, self.bytes = [], 0
        return pa.concat_arrays(out) if len(out) > 1 else out[0]

    def _convert(self) -> None:
        if self._pending:
            self._done.append(lists(self._pending))
            self.bytes += self._done[-1].nbytes
            self._pending, self._size = [], 0


def even(text: str) -> str:
    """The text with one blank between its numbers and none around them."""
    # Plain searches: 20 times as fast as one regular expression that says the same.
    if "  " in text or "\n" in text or "\t" in text or "\r" in text or text[:1] == " " or text[-1:] == " ":
        return " ".join(text.split())
    return text


def count(text: str) -> int:
    """How many numbers an even text holds."""
    return text.count(" ") + 1 if text else 0


def of_column(column: Any) -> Any:
    """An Arrow string array of lists, even or not, as an Arrow array of list<double>; see lists.

    Errors: ValueError where something is not a number.
    """
    try:
        return _plainly(column)
    except pa.ArrowInvalid:  # a blank too many or another white space, a missing point, or no number
        return lists([None if t is None else even(t) for t in column.to_pylist()])


def _plainly(column: Any) -> Any:
    """Even texts without a missing point or list, some at a time; no text goes by way of Python.

    Errors: pyarrow.ArrowInvalid for any other: Arrow takes no white space for a part of a number.
    """
    if column.null_count:
        raise pa.ArrowInvalid("a null list")
    column, done = one_chunk(column), []
    rows = max(1, len(column) * _AT_ONCE // max(1, column.nbytes))
    for start in range(0, len(column), rows):
        split = pc.split_pattern(column.slice(start, rows), " ")
        done.append(pa.ListArray.from_arrays(split.offsets, pc.cast(split.values, pa.float64())))
    return pa.concat_arrays(done) if done else pa.array([], type=pa.list_(pa.float64()))


def lists(texts: Sequence[str | None]) -> Any:
    """Even texts as an Arrow array of list<double>; `-` is a null item, None a null list, the empty text no item.

    Errors: ValueError where something is not a number.
    """
    column = pa.array(texts, type=pa.string())
    split = pc.split_pattern(column, " ")
    items = split.values
    try:
        numbers = pc.cast(items, pa.float64())
    except pa.ArrowInvalid:
        # A missing point, an item of the empty text, or a form such as +1 that Arrow does not take.
        missing = pc.or_(pc.equal(items, MISSING), pc.equal(items, ""))
        items = pc.if_else(missing, None, items)
        try:
            numbers = pc.cast(items, pa.float64())
        except pa.ArrowInvalid:
            numbers = pa.array([None if i is None else float(i) for i in items.to_pylist()], type=pa.float64())
    out = pa.ListArray.from_arrays(split.offsets, numbers)
    if column.null_count:
        out = pc.if_else(pc.is_null(column), None, out)
    return _without_nothing(column, out)


def _without_nothing(column: Any, out: Any) -> Any:
    """The empty text is split into one empty item: make it no item."""
    empty = pc.fill_null(pc.equal(column, ""), False)
    if not pc.any(empty).as_py():
        return out
    return pc.if_else(empty, pa.scalar([], type=pa.list_(pa.float64())), out)
