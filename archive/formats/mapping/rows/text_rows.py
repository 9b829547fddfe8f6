"""Lines of a text as rows of cells: at a delimiter with quotes, at runs of blanks, or at fixed places."""

from __future__ import annotations

import csv
import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, time, timedelta
from functools import cache
from itertools import accumulate
from typing import NamedTuple, TypeAlias

from archive.formats.base.patterns import BoundedPattern
from archive.formats.mapping import names
from archive.formats.mapping.model import SourceFile

csv.field_size_limit(1 << 26)

Cell: TypeAlias = "str | float | date | time | timedelta | None"
"""A cell of a text (str) or of a sheet."""
Row: TypeAlias = Sequence[Cell]
RawRow: TypeAlias = "str | Row"
"""A line of text that is not yet split, or a row of a sheet."""
Splitter: TypeAlias = Callable[[RawRow], Row]

MOST_LINES = 64
"""Lines over which one quoted cell may go."""


class LogicalLine(NamedTuple):
    """A row of text: its line, or its lines where a quoted cell goes over several; how many they are; and whether a
    quote is opened in it that is never closed."""

    text: str
    lines: int = 1
    torn: bool = False


def logical_lines(lines: Iterable[str], delimiter: str, quote: str) -> Iterator[LogicalLine]:
    """Lines joined where a quoted cell goes over several.

    A quote that no quote closes within MOST_LINES, or that would swallow lines which are rows themselves, costs its
    own line alone.
    """
    if not quote or len(delimiter) != 1:
        yield from (LogicalLine(line) for line in lines)
        return
    source = iter(lines)
    ahead: deque[str] = deque()
    while (line := ahead.popleft() if ahead else next(source, None)) is not None:
        if quote not in line or not _opens(line, delimiter, quote):
            yield LogicalLine(line)
            continue
        held = [line]
        while len(held) < MOST_LINES and (more := ahead.popleft() if ahead else next(source, None)) is not None:
            held.append(more)
            if quote in more and not _opens("\n".join(held), delimiter, quote):
                break
        else:
            more = None
        if more is None or _swallows(held, delimiter, quote):
            ahead.extendleft(reversed(held[1:]))
            yield LogicalLine(line, torn=True)
        else:
            yield LogicalLine("\n".join(held), len(held))


def _swallows(held: list[str], delimiter: str, quote: str) -> bool:
    """Whether a quoted cell over several lines is no cell: text follows its end, or each of the lines is a row."""
    last, end = held[-1], held[-1].find(quote)
    while last.startswith(quote, end + 1):
        end = last.find(quote, end + 2)
    width = last.count(delimiter)
    return last[end + 1 : end + 2] not in ("", delimiter) or (
        width > 1 and all(line.count(delimiter) == width for line in held)
    )


def _opens(text: str, delimiter: str, quote: str) -> bool:
    """Whether a quoted cell is still open at the end of a text. A quote inside a cell that is not quoted is a mark."""
    return _closed(re.escape(delimiter), re.escape(quote)).fullmatch(text) is None


@cache
def _closed(mark: str, quote: str) -> re.Pattern[str]:
    """Cells of which each quoted one is closed."""
    quoted = f"{quote}[^{quote}]*+(?:{quote}{quote}[^{quote}]*+)*+{quote}[^{mark}]*+"
    cell = f"(?:{quoted}|[^{quote}{mark}][^{mark}]*+|)"
    return re.compile(f"{cell}(?:{mark}{cell})*+")


def rows_of(text: str, file: SourceFile, first_line: int = 1) -> Iterator[tuple[int, list[str], bool]]:
    """Line number and cells of each row of a text, and whether a quote in it is never closed."""
    number = first_line
    parts = text.split("\n")
    if parts and not parts[-1]:
        parts.pop()
    for line, count, torn in logical_lines(parts, file.delimiter, file.quote):
        yield number, _cells(line, file.delimiter, "" if torn else file.quote), torn
        number += count


def split(line: str, delimiter: str, quote: str = "") -> list[str]:
    """Cells of a line that is cut at a mark, or at runs of blanks ("blanks": two or more; "space": one or more).

    In a line with a quote that is never closed quotes count for nothing.
    """
    if quote and len(delimiter) == 1 and quote in line and _opens(line, delimiter, quote):
        return line.split(delimiter)
    return _cells(line, delimiter, quote)


def _cells(line: str, delimiter: str, quote: str) -> list[str]:
    if len(delimiter) == 1 and quote and quote in line:
        return next(csv.reader([line], delimiter=delimiter, quotechar=quote), [])
    if delimiter == "space":
        # Names and values ("Operator: K. Lund") keep their single blanks.
        return re.split(r"\s{2,}|\t", line.strip()) if re.search(r"[^\W\d_]\s*[:=](?:\s|$)", line) else line.split()
    if delimiter == "blanks":
        # "Link ID      : A-101": the blanks before a colon separate nothing.
        line = re.sub(r"(?<=[\w)\].])\s+([:=])\s+", r"\1 ", line.strip())
        # "Link ID   ..... A-101": nor do those before dots that lead to a value.
        line = re.sub(r"^([^\W\d_][^:=]*?)\s+(\.{3,})\s+", r"\1 \2 ", line)
        return re.split(r"\s{2,}|\t", line)
    return line.split(delimiter)


def lines_of(row: RawRow) -> int:
    """How many lines a row takes: several where a quoted cell goes over them."""
    return 1 + row.count("\n") if isinstance(row, str) else 1


def numbered(rows: Sequence[RawRow], first: int) -> Sequence[int]:
    """The number of the line with which each row begins. first: that of the first row."""
    if not any(isinstance(r, str) and "\n" in r for r in rows):
        return range(first, first + len(rows))
    return [first, *accumulate(map(lines_of, rows), initial=first)][1:-1]


def mark_of(file: SourceFile) -> str:
    """What the lines of a file are cut at, as `split` has it."""
    return "blanks" if file.kind == "report" and file.delimiter == "," else file.delimiter


def splitter(file: SourceFile) -> Splitter:
    """How a raw row of a file becomes cells; a row of a sheet is them already."""
    mark = mark_of(file)

    def cut(row: RawRow) -> Row:
        return split(row, mark, file.quote) if isinstance(row, str) else row

    return cut


Span = tuple[int, int]
"""Where a cell of an aligned text begins and ends (characters, from 0)."""

_CELLS = re.compile(r"\S+(?: \S+)*")


def spans(line: str) -> list[Span]:
    """Where the cells of a line of aligned text stand."""
    return [m.span() for m in _CELLS.finditer(line.expandtabs())]


def placed(line: str, columns: Sequence[Span]) -> list[str] | None:
    """The cells of a line of aligned text, each below the heading that it stands under or is nearest to; None where two
    would share one, or change places."""
    out, last = [""] * len(columns), -1
    for match in _CELLS.finditer(line.expandtabs()):
        a, b = match.span()
        at = max(range(len(columns)), key=lambda i: min(b, columns[i][1]) - max(a, columns[i][0]))
        if at <= last:
            return None
        out[at], last = match.group(), at
    return out


def fixed(line: str, widths: Sequence[int]) -> list[str]:
    """Cells of a fixed-width line; widths: where its columns begin."""
    stops = [*widths[1:], None]
    return [line[a:b].strip() for a, b in zip(widths, stops, strict=True)]


def filled(row: Row) -> list[Cell]:
    """The cells that hold anything."""
    return [c for c in row if c is not None and (not isinstance(c, str) or c.strip())]


def blank(row: Row) -> bool:
    """Whether no cell holds anything, or the row is a line drawn from one side to the other."""
    some = drawn = False
    for c in row:
        if c is None or (isinstance(c, str) and not c.strip()):
            continue
        if not isinstance(c, str) or not _DRAWN.fullmatch(c):
            return False
        some, drawn = True, drawn or bool(_LINE.search(c))
    return drawn or not some


def drawn(row: Row) -> bool:
    """Whether a row is a line drawn from one side to the other."""
    return bool(filled(row)) and blank(row)


DRAWN = "[-=_~*+|#\u2500-\u257f]"
"""A character of lines and boxes."""

_DRAWN = re.compile(rf"\s*{DRAWN}(?:{DRAWN}|\s)*+")
_LINE = re.compile(rf"{DRAWN}{{3}}")


def joined(row: Row) -> str:
    """A row as one line."""
    return " ".join(names.tidy(c) for c in filled(row))


def skipper(file: SourceFile) -> BoundedPattern | None:
    """The lines that the mapping ignores by name, as one regular expression over the cells joined by blanks."""
    return BoundedPattern(*file.skip) if file.skip else None
