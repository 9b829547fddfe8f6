"""What a mapping says: how one layout becomes the tables. load.py reads it from TOML."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from archive import vocabulary
from archive.formats.mapping.target import Target

OPEN = Target("row", "value")
"""A target with every qualifier left open."""

LANGUAGE = 1
"""Version of the language that mapping files are written in."""

KINDS = ("delimited", "report", "workbook", "xml", "json")
MARKS = ("marginal", "pass", "fail", "note")
"""What a mark beside a number may say; a note is kept with the cell alone."""
ROWS = ("links", "readings", "points", "curves", "labels", "axes", "cross")


@dataclass(frozen=True)
class SourceField:
    """One column, label, element or key of the source, and where its cells go.

    source: its name as the layout writes it. unit: as the source gives it ("" is the table's own). format: pattern of a
    date (dates.py). split: pattern with {site} {building} {floor} {space} {panel} {port} that cuts an identifier.
    separator, encoding, unit: of a list of numbers in one cell. words: the source's words to ours. negative: losses are
    written below zero. optional: the file need not have it.
    """

    source: str
    to: Target
    unit: str = ""
    format: str = ""
    split: str = ""
    separator: str = ""
    encoding: str = ""
    words: dict[str, str] = field(default_factory=dict, hash=False)
    negative: bool | None = None
    optional: bool = False
    once: bool = False
    confidence: float | None = None
    reason: str = ""
    cell: str = ""
    """Of a part of a cell: the name of the cell. The source is then that name with the part in braces."""
    part: str = ""
    pattern: tuple[str, ...] = ()
    """Patterns by which the cell is taken apart; the first that it fits counts."""

    @property
    def stands_in(self) -> str:
        """The name of the cell that it is, or is a part of."""
        return self.cell or self.source


@dataclass(frozen=True)
class SourceTable:
    """One table of a layout.

    rows: what one row is: links (a record), readings (a measurement), points (a frequency), curves (a whole curve),
    labels (name and value cells), axes (a shared axis), cross (a small table whose rows and columns both have names:
    its cells are labels named "row | column"; columns says its headings). given: what holds for every row (parameter,
    end, origin ...).
    """

    name: str
    rows: str
    fields: tuple[SourceField, ...]
    ignore: tuple[str, ...] = ()
    given: Target = OPEN
    sheet: str = ""
    title: str = ""
    header_rows: int = 1
    units_row: bool = False
    columns: tuple[str, ...] = ()
    """Names of columns in their order, for a table without headings."""
    widths: tuple[int, ...] = ()
    """Where the columns of a fixed-width table begin (characters, from 0)."""
    each: str = ""
    """Path of the element or list whose members are the rows (XML, JSON), from the record."""
    headings_are: str = ""
    """frequencies: the headings of the other columns are frequencies, in frequency_unit; links: they are labels of
    links, and the cells below them values of each."""
    frequency_unit: str = "MHz"

    @property
    def keyed(self) -> bool:
        """Whether each of its rows names its link: in a cell of its own, or above it in its record."""
        return any(
            f.to.table == "records" and f.to.name in ("link_label", "sequence") and not f.stands_in.startswith("/")
            for f in self.fields
        )

    @cached_property
    def by_source(self) -> dict[str, SourceField]:
        """Fields by the name of their source."""
        return {f.source: f for f in self.fields}

    @cached_property
    def cells(self) -> dict[str, SourceField]:
        """Fields by the name of the cell that they stand in; the first of those that share one."""
        out: dict[str, SourceField] = {}
        for f in self.fields:
            out.setdefault(f.stands_in, f)
        return out

    @cached_property
    def parted(self) -> dict[str, tuple[SourceField, ...]]:
        """The parts of cells that hold several values, by the name of the cell."""
        names = dict.fromkeys(f.cell for f in self.fields if f.cell)
        return {n: tuple(f for f in self.fields if f.cell == n) for n in names}

    def find(self, name: str, kind: str = "") -> SourceField | None:
        """The field that goes to row.name, where there is one; of several the one of that kind of point."""
        found = [f for f in self.fields if f.to.table == "row" and f.to.name == name]
        same = [f for f in found if f.to.kind == kind]
        return next(iter(same or [f for f in found if not f.to.kind]), None)


@dataclass(frozen=True)
class SourceFile:
    """One file of a layout (most have one)."""

    name: str
    kind: str
    tables: tuple[SourceTable, ...]
    pattern: str = ""
    """Name of the file inside a folder or zip, with * and ?; {link} stands for the label or file name of a record."""
    encoding: str = ""
    delimiter: str = ","
    quote: str = '"'
    record: str = ""
    """XML, JSON: path of the element or list whose members are the records."""
    block: str = ""
    """Delimited, report, workbook: the label (or regular expression between /.../) that begins a record. "file" and
    "sheet": each file or sheet is one record."""
    skip: tuple[str, ...] = ()
    """Regular expressions of lines (rows joined by blanks) that are ignored by name."""
    ignore: tuple[str, ...] = ()
    """Labels, or leaves of XML and JSON, that are ignored by name."""
    groups: tuple[str, ...] = ()
    """Rows of one cell that head a group of labels: the labels below are named "group | label"."""
    named: tuple[tuple[str, str, str], ...] = ()
    """XML, JSON: lists of names and values: path from the record, what holds the name, what holds the value."""
    side_by_side: int = 0
    """Columns of one of several blocks that stand beside each other."""
    transpose: bool = False
    """Rows and columns are exchanged: each record is a column."""

    @property
    def joins(self) -> bool:
        """XML, JSON: whether rows name their link and records do not, so that rows of one label are one record."""
        beside = [t for t in self.tables if t.rows == "labels"]
        within = [t for t in self.tables if t.each and not t.each.startswith("/") and t.rows != "labels"]
        return any(t.keyed for t in within) and not any(t.keyed for t in beside)


@dataclass(frozen=True)
class Mapping:
    """One layout. cells: how values are written everywhere in it."""

    layout: str
    files: tuple[SourceFile, ...]
    title: str = ""
    version: str = "1"
    decimal: str = "."
    thousands: str = ""
    empty: tuple[str, ...] = ()
    marks: dict[str, str] = field(default_factory=dict, hash=False)
    """Marks beside numbers, such as the one of 6.1*, and what each says: MARKS."""
    date: str = ""
    zone: str = ""
    pairs: str = "contacts"
    pair_names: dict[str, str] = field(default_factory=dict, hash=False)
    ends: dict[str, str] = field(default_factory=dict, hash=False)
    verdicts: dict[str, str] = field(default_factory=dict, hash=False)
    parameters: dict[str, str] = field(default_factory=dict, hash=False)
    directions: dict[str, str] = field(default_factory=dict, hash=False)
    kinds: dict[str, str] = field(default_factory=dict, hash=False)
    origins: dict[str, str] = field(default_factory=dict, hash=False)
    negative: bool = False
    """Losses and isolations are written as negative dB."""
    first_is_disturbed: bool = False
    """Of an ordered combination the source writes the disturbed pair first."""
    require: tuple[str, ...] = ()
    """Headings or labels by which the layout is recognised beside its fields."""
    drafted: bool = False
    digest: str = ""
    """SHA-256 of the mapping file, or of the text a draft would be written as."""
    path: str = ""
    text: bytes = field(default=b"", repr=False, compare=False)
    """The mapping file, or what a draft would be written as."""

    @property
    def alone(self) -> bool:
        """True where one file holds all."""
        return len(self.files) == 1


class Quantity(NamedTuple):
    """What a word for a quantity stands for: "" for what it does not say."""

    parameter: str = ""
    unit: str = ""
    end: str = ""
    pairing: str = ""


def quantity(meaning: str) -> Quantity:
    """The meaning of a word for a quantity as mappings write it: "next", "length ft", "next remote 1-2/3-6"."""
    name, *more = meaning.split() or [""]
    ends = [w for w in more if w in vocabulary.ENDS]
    pairs = [w for w in more if w in _PAIRINGS]
    unit = " ".join(w for w in more if w not in (*ends, *pairs))
    return Quantity(name, unit, ends[0] if ends else "", pairs[0] if pairs else "")


_PAIRINGS = frozenset((*vocabulary.PAIRS, *vocabulary.ORDERED))
