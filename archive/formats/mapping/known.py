"""The mappings that are known: those that come with the program, and the user's own."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from archive import schemas
from archive.errors import Trouble
from archive.formats.base import words
from archive.formats.mapping.load import load
from archive.formats.mapping.model import Mapping


@dataclass(frozen=True)
class Known:
    """One mapping file: where it is, where it came from (shipped, own), the mapping or why it cannot be used."""

    path: Path
    origin: str
    mapping: Mapping | None
    trouble: str = ""


def folders() -> list[tuple[Path, str]]:
    """Folders of mappings, the user's own first."""
    return [(words.user_folder() / "mappings", "own"), (schemas.root() / "mappings", "shipped")]


@cache
def known() -> tuple[Known, ...]:
    """Every mapping file of the folders. One of the user's own hides a shipped one of the same layout."""
    out: list[Known] = []
    for folder, origin in folders():
        for path in sorted(folder.glob("*.toml")) if folder.is_dir() else []:
            try:
                found = Known(path, origin, load(path))
            except Trouble as trouble:
                found = Known(path, origin, None, str(trouble))
            layouts = {k.mapping.layout for k in out if k.mapping is not None}
            if found.mapping is None or found.mapping.layout not in layouts:
                out.append(found)
    return tuple(out)
