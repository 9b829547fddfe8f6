"""The structure of a layout that was found in a sample, before its meaning: labels, tables, where records begin."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any


@dataclass
class Column:
    """One column of a table, or one label. levels: its headings, outermost first; cells: a sample, one per row (of a
    table) or per record (of labels); record: number of the record of each cell, where it is known."""

    source: str
    levels: tuple[str, ...]
    cells: list[Any]
    record: list[int] = field(default_factory=list)
    outer: int = 0
    """How many of the levels are names of elements around the row, not of the cell itself."""
    doubt: str = ""
    """Why its place cannot be sure, whatever its heading says."""
    part: bool = False
    """XML, JSON: its words speak of the numbers beside it in a part of the row, and not of the row."""


@dataclass
class Found:
    """One table: where its name stands, its headings, a sample of its rows.

    record: number of the record (block, sheet, element) of each row. times: in how many records it was found.
    context: words that stand above it (title, sheet, parent elements), outermost first.
    """

    columns: list[Column]
    record: list[int]
    name: str = ""
    title: str = ""
    sheet: str = ""
    context: tuple[str, ...] = ()
    header_rows: int = 1
    units_row: bool = False
    no_headings: bool = False
    widths: tuple[int, ...] = ()
    separator: str = ""
    each: str = ""
    cross: bool = False
    headings_are: str = ""
    times: int = 1
    rows: int = 0
    run: list[int] = field(default_factory=list)
    """Of each row the list it stands in (XML, JSON), where a record holds several lists of rows."""


@dataclass
class Layout:
    """What a sample of a file shows. labels: of the records; shared: of the file."""

    kind: str
    encoding: str = ""
    basis: str = ""
    delimiter: str = ","
    quote: str = '"'
    decimal: str = "."
    thousands: str = ""
    block: str = ""
    groups: list[str] = field(default_factory=list)
    skip: list[str] = field(default_factory=list)
    named: list[tuple[str, str, str]] = field(default_factory=list)
    """Lists of names and values: path from the record, what holds the name, what holds the value."""
    side_by_side: int = 0
    transpose: bool = False
    record: str = ""
    labels: list[Column] = field(default_factory=list)
    shared: list[Column] = field(default_factory=list)
    tables: list[Found] = field(default_factory=list)
    crossed: list[Found] = field(default_factory=list)
    """Small tables whose cells are labels of their own."""
    ignore: dict[str, str] = field(default_factory=dict)
    """Names of cells that carry nothing of their own, with the reason."""
    text: str = ""
    """Words of the sample, for evidence such as T568B."""
    others: list[str] = field(default_factory=list)
    """Other labels, or elements, with which records may begin."""
    notes: list[str] = field(default_factory=list)
    records: int = 1
    """Records in the sample."""


def nameless(source: str) -> bool:
    """Whether a column is known by nothing but the number of its line or row."""
    return re.fullmatch(r"(?:row|line) \d+(?: \(\d+\))?", source) is not None
