"""What goes into an archive so that it can be read with no program of ours: READ-ME-FIRST.txt and the schema."""

from __future__ import annotations

from importlib import resources

from archive import schemas

_SCHEMA = ("tables.toml", "vocabulary.toml", "link-record-1.xsd", "link-record-1-csv.json")


def guide() -> str:
    """Text of READ-ME-FIRST.txt."""
    return (resources.files("archive.store") / "read_me_first.txt").read_text(encoding="utf-8")


def schema_files() -> dict[str, bytes]:
    """The declared tables, words and forms, by name."""
    paths = (schemas.root() / name for name in _SCHEMA)
    return {path.name: path.read_bytes() for path in paths if path.is_file()}
