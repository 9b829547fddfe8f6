"""Whether the tables of a mapping can be joined to the right links: rows that name none would be filed under any."""

from __future__ import annotations

from archive.errors import Trouble
from archive.formats.mapping.model import SourceFile, SourceTable

_BESIDE = frozenset(("records", "jobs", "places", "instruments", "people", "row", "axes"))
"""What may stand beside rows of several links, and hold for all of them."""


def check(file: SourceFile, where: str) -> None:
    """Where rows of several links stand in one file, each table names the link of its rows. Errors: Trouble."""
    rows = [t for t in file.tables if t.rows not in ("labels", "axes", "cross")]
    tree = file.kind in ("xml", "json")
    if (not file.joins) if tree else bool(file.block or not any(t.keyed for t in rows)):
        return
    for table in rows:
        if not table.keyed and not (tree and table.each.startswith("/")) and table.headings_are != "links":
            raise _nameless(f"{where}, table {table.name}", f"a table of {table.rows} without it", table)
    for table in file.tables if tree else ():
        for f in table.fields if table.rows == "labels" else ():
            if f.to.table not in _BESIDE:
                raise _nameless(f"{where}, table {table.name}", f"{f.to} beside the rows", table)


def check_beside(files: tuple[SourceFile, ...], where: str) -> None:
    """Each file beside the first says which link its rows are of. Errors: Trouble."""
    if any(t.find("file") for t in files[0].tables):
        return
    for file in files[1:]:
        if not any(t.keyed for t in file.tables) and any(t.rows != "axes" for t in file.tables):
            raise _nameless(f"{where}, file {file.name}", "no field for it", file.tables[0])


def _nameless(where: str, found: str, table: SourceTable) -> Trouble:
    return Trouble(
        "rows that name no link, where rows of several links stand",
        code="mapping.no-link-in-rows",
        where=where,
        found=found,
        expected="a field that goes to records.link_label, as the other tables have it",
        remedy=f"name the column of table {table.name} that says the link, or @file where the file's name does",
    )
