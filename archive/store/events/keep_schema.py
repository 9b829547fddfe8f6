"""The schema of a later version of the program, kept with what it deposits."""

from __future__ import annotations

from archive.store import files
from archive.store.archive import Archive
from archive.store.events.write import record
from archive.store.guide import schema_files


def keep_schema(archive: Archive) -> None:
    """Adds the schema of this program as an event where the archive does not hold it yet.

    A later version of the program may have columns that the archive's schema does not explain.
    """
    archive.catch_up()
    held = {r[0] for r in archive.db.execute("SELECT sha256 FROM schemas")}
    ours = schema_files()
    if files.sha256(ours["tables.toml"]) in held:
        return
    record(archive, "schema", by=None, texts={"why": "tables of a later version of the program"}, attached=ours)
