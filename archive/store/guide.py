"""What goes into an archive so that it can be read with no program of ours: READ-ME-FIRST.txt and the schema."""

from __future__ import annotations

from importlib import resources

from archive import schemas
from archive.store import files
from archive.store.archive import Archive

_SCHEMA = ("tables.toml", "vocabulary.toml", "link-record-1.xsd", "link-record-1-csv.json")


def guide() -> str:
    """Text of READ-ME-FIRST.txt."""
    return (resources.files("archive.store") / "read_me_first.txt").read_text(encoding="utf-8")


def schema_files() -> dict[str, bytes]:
    """The declared tables, words and forms, by name."""
    paths = (schemas.root() / name for name in _SCHEMA)
    return {path.name: path.read_bytes() for path in paths if path.is_file()}


def keep_schema(archive: Archive) -> None:
    """Adds the schema of this program as an event where the archive does not hold it yet.

    A later version of the program may have columns that the archive's schema does not explain.
    """
    archive.catch_up()
    held = {r[0] for r in archive.db.execute("SELECT sha256 FROM schemas")}
    ours = schema_files()
    if files.sha256(ours["tables.toml"]) in held:
        return
    from archive.store.events import record

    record(archive, "schema", by=None, texts={"why": "tables of a later version of the program"}, attached=ours)
