"""The declared files that are made from definitions: the open schema, and JSON schemas for editors.

After a change to schemas/tables.toml, schemas/vocabulary.toml or a structure: `muniment schema --write` rebuilds them;
a test compares them with the definitions.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

from archive import schemas
from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.formats import guide, one_file_validator
from archive.formats.open_csv import METADATA, csvw
from archive.formats.open_xml import xsd
from archive.formats.touchstone.port_map_keys import PortMapFile
from archive.structs import json_schema


def made() -> dict[str, Callable[[], str]]:
    """File name in schemas/ and the function that makes its text."""
    return {
        xsd.FILE_NAME: xsd.xsd,
        METADATA: csvw.text,
        guide.NAME: guide.text,
        one_file_validator.DEFINITIONS: one_file_validator.definitions,
        "port-map.schema.json": partial(json_schema, PortMapFile, "Port map of a network-analyser file"),
    }


def write() -> list[Path]:
    """Rebuilds the files in schemas/. The paths of those that changed."""
    changed = []
    for name, make in made().items():
        path = schemas.root() / name
        text = make()
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
            changed.append(path)
    return changed


def copy(names: list[str], folder: Path) -> list[Path]:
    """Copies declared files into a folder, made where it is not there.

    Errors: Trouble where another file of such a name stands there: nothing is written then; OSError.
    """
    texts = {folder / name: _content(name) for name in names}
    for path, text in texts.items():
        if path.exists() and (not path.is_file() or path.read_bytes() != text):
            raise Trouble(
                "another file of this name is there already; nothing was written",
                code="output.other-file",
                where=str(path),
                remedy="name a folder for the files with -o",
            )
    there = folder.exists()
    folder.mkdir(parents=True, exist_ok=True)
    made: list[Path] = []
    try:
        for path, text in texts.items():
            if not path.exists():
                write_bytes(path, text)
                made.append(path)
    except OSError:
        for path in made:
            path.unlink()
        if not there:
            folder.rmdir()
        raise
    return list(texts)


def _content(name: str) -> bytes:
    return one_file_validator.packed() if name == one_file_validator.NAME else (schemas.root() / name).read_bytes()
