"""Rows of delimited text, the careful way: ragged rows, repeated headings, page furniture, blank lines."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence

from archive.formats.mapping.model import SourceFile

csv.field_size_limit(1 << 26)


def rows_of(text: str, file: SourceFile, first_line: int = 1) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells of each row. A quoted line break stays in its cell."""
    if len(file.delimiter) != 1:
        for i, line in enumerate(text.splitlines(), first_line):
            yield i, split(line, file.delimiter)
        return
    quote = file.quote or None
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=file.delimiter, quotechar=quote, quoting=0 if quote else 3
    )
    before = 0
    for row in reader:
        yield first_line + before, row
        before = reader.line_num


def split(line: str, delimiter: str) -> list[str]:
    """Cells of a line that is cut at runs of blanks ("blanks": two or more; "space": one or more)."""
    if delimiter == "space":
        # Names and values ("Operator: K. Lund") keep their single blanks.
        return re.split(r"\s{2,}|\t", line.strip()) if re.search(r"[^\W\d_]\s*[:=](?:\s|$)", line) else line.split()
    if delimiter == "blanks":
        # "Link ID      : A-101": the blanks before a colon part nothing.
        line = re.sub(r"(?<=[^\W\d_)\]])\s+([:=])\s+", r"\1 ", line.strip())
        return re.split(r"\s{2,}|\t", line)
    return line.split(delimiter)


def blank(row: Sequence[str]) -> bool:
    """True where no cell holds anything."""
    return not any(c.strip() for c in row)


def skipper(file: SourceFile) -> re.Pattern[str] | None:
    """The lines that the mapping ignores by name, as one regular expression over the cells joined by blanks."""
    return re.compile("|".join(f"(?:{p})" for p in file.skip)) if file.skip else None


def joined(row: Sequence[str]) -> str:
    """A row as one line, for `skip`."""
    return " ".join(c.strip() for c in row if c.strip())
