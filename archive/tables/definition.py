"""The table definitions of the link record, loaded from schemas/tables.toml, as Arrow schemas."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import pyarrow as pa

from archive import schemas, vocabulary


@dataclass(frozen=True)
class Column:
    """One column: name, kind (text, key, word, real, int, bool, instant, reals, ints, texts), vocabulary of a word."""

    name: str
    kind: str
    vocabulary: str
    unit: str
    nullable: bool
    meaning: str
    origin: str
    example: str

    @property
    def arrow(self) -> pa.DataType:
        """Its Arrow type."""
        return _ARROW[self.kind]

    @property
    def words(self) -> frozenset[str]:
        """Words it may hold; empty where it is free."""
        return vocabulary.words(self.vocabulary) if self.vocabulary else frozenset()


_ARROW: dict[str, pa.DataType] = {
    "text": pa.string(),
    "key": pa.string(),
    "word": pa.string(),
    "real": pa.float64(),
    "int": pa.int64(),
    "bool": pa.bool_(),
    "instant": pa.timestamp("ms", tz="UTC"),
    "reals": pa.list_(pa.float64()),
    "ints": pa.list_(pa.int64()),
    "texts": pa.list_(pa.string()),
}


@dataclass(frozen=True)
class Table:
    """One table: level (shared, record, statement), name of a row, key column, column kept as element content."""

    name: str
    level: str
    row: str
    key: str
    content: str
    meaning: str
    columns: tuple[Column, ...]

    @property
    def schema(self) -> pa.Schema:
        """Its Arrow schema."""
        return pa.schema([pa.field(c.name, c.arrow, nullable=c.nullable) for c in self.columns])

    def column(self, name: str) -> Column:
        """One column by name. Errors: KeyError."""
        return {c.name: c for c in self.columns}[name]


def _column(name: str, cell: list[str]) -> Column:
    kind, unit, null, text, origin, example = cell
    kind, _, words = kind.partition(":")
    return Column(name, kind, words, unit, null == "null", text, origin, example)


@cache
def tables() -> dict[str, Table]:
    """All tables by name, in the order of the definition."""
    return {
        name: Table(
            name,
            t["level"],
            t["row"],
            t.get("key", ""),
            t.get("content", ""),
            t["meaning"],
            tuple(_column(k, v) for k, v in t["columns"].items()),
        )
        for name, t in schemas.load("tables.toml")["tables"].items()
    }


@cache
def schema(name: str) -> pa.Schema:
    """Arrow schema of one table. Errors: KeyError."""
    return tables()[name].schema


@cache
def no_rows(name: str) -> pa.Table:
    """One table without rows. Errors: KeyError."""
    return schema(name).empty_table()


def version() -> int:
    """Version of the link-record schema."""
    return int(schemas.load("tables.toml")["schema"]["version"])


def namespace() -> str:
    """XML namespace of the link-record schema."""
    return str(schemas.load("tables.toml")["schema"]["namespace"])
