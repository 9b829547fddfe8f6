"""What rows of a table look like: which of its columns hold numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence

from archive.formats.base import words
from archive.formats.mapping.model import SourceField, SourceTable
from archive.formats.mapping.rows.text_rows import Cell, Row, filled

_NUMBER = r"\s*[-+<>≤≥]?\s*[.,]?\d"
_BEGINS = re.compile(_NUMBER)
_OF_ROW = frozenset(("value", "limit", "margin", "frequency", "wavelength", "distance", "start", "step", "stop"))
_OF_REPORTED = frozenset(("value", "limit", "margin", "uncertainty", "frequency", "wavelength"))


def begins_with_number(cell: Cell) -> bool:
    """Whether a cell is a number, or a text that begins with one."""
    return isinstance(cell, int | float) or (isinstance(cell, str) and bool(_BEGINS.match(cell)))


NUMBER = re.compile(r"\s*[-+<>]?\s*\d+(?:[.,]\d+)*(?:[eE][-+]?\d+)?\s*")
_NAMED = re.compile(r"[^\W\d_][^:]*:(?:\s.*)?", re.DOTALL)


def lone(cells: Row, width: int, rows: str) -> bool:
    """Whether a row is one cell that is no row of several: a word such as END, a name with its value, or any words
    below rows that are a measurement each. width: columns of the table; rows: what a row of it is."""
    if width < 2 or len(some := filled(cells)) != 1:
        return False
    text = str(some[0])
    if rows in ("points", "readings", "curves"):
        return not NUMBER.fullmatch(text)
    return bool(re.fullmatch(r"\W*[^\W\d_]+\W*", text) if len(cells) == 1 else _NAMED.fullmatch(text.strip()))


class RowShape:
    """Tells the rows of a table from what else may follow it, such as labels, titles and footers.

    heads: names of its columns. delimiter: what its lines are cut at, as text_rows.split has it, "" for fixed places.
    line: a regular expression of lines that are plainly rows, without splitting them; it says less than `fits`, and
    never otherwise. None where there is none.
    """

    def __init__(self, table: SourceTable, heads: Sequence[str], delimiter: str, quote: str) -> None:
        self._width = len(heads)
        fields = [table.by_source.get(name) for name in heads]
        self._numbers = [i for i, f in enumerate(fields) if f is not None and _is_number(f, table.rows)]
        self.line = self._pattern(delimiter, quote) if len(self._numbers) > 1 else None

    def _pattern(self, delimiter: str, quote: str) -> re.Pattern[str] | None:
        """Lines without quotes, colons and equals signs that have a number in each column of numbers."""
        last, more = self._numbers[-1], self._width - 1 - self._numbers[-1]
        if len(delimiter) == 1:
            mark = re.escape(delimiter)
            cell, number = f"[^{mark}{re.escape(quote)}:=]*", f"{_NUMBER}[^{mark}{re.escape(quote)}:=]*"
        elif delimiter in ("blanks", "space"):
            mark, again = (r"(?: {2,}|\t)", r"(?: [^\s:=]+)*") if delimiter == "blanks" else (r" +", "")
            cell, number = rf"[^\s:=]+{again}", rf"[-+<>≤≥]?[.,]?\d[^\s:=]*{again}"
        else:
            return None
        cells = [number if i in self._numbers else cell for i in range(last + 1)]
        return re.compile(f"{mark.join(cells)}(?:{mark}{cell}){{0,{more}}}$")

    def fits(self, cells: Row) -> bool:
        """Whether cells are a row: numbers where the table has numbers, and no more cells than it has columns.

        A name before a value ("Temperature:", 21) has a number too: a row fills most columns, or all of several that
        have numbers.
        """
        some = filled(cells)
        if not self._numbers or not some or filled(cells[self._width :]):
            return False
        there = [c for i in self._numbers if i < len(cells) and (c := cells[i]) is not None and not _is_empty(c)]
        numbers = sum(map(begins_with_number, there))
        named = isinstance(some[0], str) and some[0].rstrip().endswith(":")
        if len(some) > 2 and 2 * len(some) >= self._width:
            return 2 * numbers >= len(there) and (numbers > 0 or not named)
        return numbers == len(there) == len(self._numbers) and (numbers > 1 or not named)


def _is_empty(cell: Cell) -> bool:
    return isinstance(cell, str) and (not cell.strip() or cell.strip().casefold() in words.empties())


def _is_number(f: SourceField, rows: str) -> bool:
    """Whether the cells of a field are single numbers."""
    t = f.to
    if t.table == "sweeps":
        return rows == "points" or bool(t.frequency)
    if t.table == "row":
        return t.name in _OF_ROW and not (rows == "curves" and t.name in ("limit", "margin"))
    return t.table == "readings" or (t.table == "reported" and t.column in _OF_REPORTED)
