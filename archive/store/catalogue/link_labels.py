"""Labels of links for finding while somebody types: one row per link and label, folded, with an index of its trigrams.

Each link stands here by one of its records: the current one, or else the latest. Former labels are rows too. A label
that begins with what was typed is found by a range of the folded labels, one that holds it by trigrams; neither walks
all labels, so that a key costs the same in a large archive.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from typing import NamedTuple

from archive.store.records import COUNTED

GRAM = 3
"""Fewer letters than these have no trigram: they are found at the beginning of a label alone."""

STATEMENTS = (
    "CREATE TABLE link_labels(id INTEGER PRIMARY KEY, row INTEGER, folded TEXT, label TEXT, former INTEGER)",
    "CREATE INDEX link_labels_folded ON link_labels(folded, label)",
    "CREATE INDEX link_labels_row ON link_labels(row)",
    "CREATE VIRTUAL TABLE label_grams USING fts5(folded, content='link_labels', content_rowid='id', "
    "tokenize='trigram', detail=none, columnsize=0)",
    "CREATE VIRTUAL TABLE letter_grams USING fts5(label, content='link_labels', content_rowid='id', "
    "tokenize='trigram', detail=none, columnsize=0)",
)
"""label_grams: of folded labels; letter_grams: of labels letter by letter, for what was typed as it stands there."""

_GRAMS = (("label_grams", "folded"), ("letter_grams", "label"))

_LAST = "\U0010ffff"
_NEWEST = "max((unit IS row) || ' ' || coalesce(tested_local, tested_at, '') || printf(' %012d', row))"


class HeldLabel(NamedTuple):
    """A label of a link. row: of the record that shows the link; former: 1 where it is a former label."""

    row: int
    folded: str
    label: str
    former: int


def fill(db: sqlite3.Connection) -> None:
    """Writes the rows of all links of temp.touched again; inside the transaction of the caller.

    `fold` has to be known to the connection.
    """
    gone = "SELECT id FROM link_labels WHERE row IN (SELECT row FROM temp.touched)"
    for table, column in _GRAMS:
        db.execute(
            f"INSERT INTO {table}({table}, rowid, {column}) "
            f"SELECT 'delete', id, {column} FROM link_labels WHERE id IN ({gone})"
        )
    db.execute("DELETE FROM link_labels WHERE row IN (SELECT row FROM temp.touched)")
    before = int(db.execute("SELECT coalesce(max(id), 0) FROM link_labels").fetchone()[0])
    db.execute("DROP TABLE IF EXISTS temp.faces")
    db.execute(
        f"CREATE TEMP TABLE faces AS SELECT row, link, folded, link_label, {_NEWEST} AS newest FROM records "
        f"WHERE row IN (SELECT row FROM temp.touched) AND link_label IS NOT NULL AND {COUNTED} GROUP BY link"
    )
    db.execute(
        "INSERT INTO link_labels(row, folded, label, former) "
        "SELECT row, folded, link_label, 0 FROM temp.faces ORDER BY folded, link_label"
    )
    if db.execute("SELECT 1 FROM amendments WHERE field = 'link_label' LIMIT 1").fetchone():
        db.execute(
            "INSERT INTO link_labels(row, folded, label, former) SELECT DISTINCT f.row, fold(a.old), a.old, 1 "
            "FROM amendments a JOIN temp.touched t ON t.row = a.row JOIN records r ON r.row = a.row "
            "JOIN temp.faces f ON f.link = r.link "
            "WHERE a.field = 'link_label' AND a.old IS NOT NULL AND a.old != r.link_label"
        )
    for table, column in _GRAMS:
        db.execute(f"INSERT INTO {table}(rowid, {column}) SELECT id, {column} FROM link_labels WHERE id > ?", (before,))
    db.execute("DROP TABLE temp.faces")


def count(db: sqlite3.Connection) -> int:
    """About how many labels there are; exact until labels are corrected."""
    return int(db.execute("SELECT coalesce(max(id), 0) FROM link_labels").fetchone()[0])


def same(db: sqlite3.Connection, folded: str) -> Iterator[HeldLabel]:
    """Labels that fold to the same, present ones first."""
    return _rows(db, "folded = ? ORDER BY former, label", folded)


def beginning(db: sqlite3.Connection, folded: str) -> Iterator[HeldLabel]:
    """Labels whose folded form begins so, in its order."""
    return _rows(db, "folded >= ? AND folded < ? ORDER BY folded, label", folded, folded + _LAST)


def holding(db: sqlite3.Connection, folded: str) -> Iterator[HeldLabel]:
    """Labels whose folded form holds this: by trigrams where it has one, else by a walk over all labels."""
    if len(folded) < GRAM:
        return _rows(db, "instr(folded, ?) ORDER BY folded, label", folded)
    return _by_grams(db, "label_grams", "instr(l.folded, ?)", grams(folded), folded)


def literally(db: sqlite3.Connection, typed: str) -> Iterator[HeldLabel]:
    """Labels that hold just these letters, GRAM or more, whatever their case."""
    return _by_grams(db, "letter_grams", "instr(lower(l.label), lower(?))", grams(typed), typed)


def _by_grams(db: sqlite3.Connection, table: str, fits: str, *values: str) -> Iterator[HeldLabel]:
    """Labels that an index of trigrams names, one after another, so that the first come at once."""
    found = db.execute(
        f"SELECT l.row, l.folded, l.label, l.former FROM {table} g CROSS JOIN link_labels l ON l.id = g.rowid "
        f"WHERE {table} MATCH ? AND {fits} ORDER BY g.rowid",
        values,
    )
    return (HeldLabel(*r) for r in found)


def grams(text: str) -> str:
    """The question to an index of trigrams for labels that may hold this; of GRAM letters or more."""
    each = (text[at : at + GRAM].replace('"', '""') for at in range(len(text) - GRAM + 1))
    return " ".join(f'"{gram}"' for gram in each)


def _rows(db: sqlite3.Connection, where: str, *values: str) -> Iterator[HeldLabel]:
    found = db.execute(f"SELECT row, folded, label, former FROM link_labels WHERE {where}", values)
    return (HeldLabel(*r) for r in found)
