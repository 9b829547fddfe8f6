"""Whether a file is an optical trace file: by its first bytes, and by its ending where those are damaged."""

from __future__ import annotations

from archive.formats.otdr.block_map import is_map
from archive.formats.recognition import Entry, Recognition

LAYOUT = "optical-trace"
SUFFIX = ".sor"
_HEAD = 64


def recognise(entry: Entry) -> Recognition | None:
    """Claims files that begin with a map of blocks; with a low score those whose ending alone says so."""
    if is_map(entry.head[:_HEAD]):
        return Recognition(0.97, "it begins with the map of blocks of a trace file", LAYOUT)
    if entry.suffix == SUFFIX:
        return Recognition(0.6, "its ending is that of a trace file, but it does not begin with a map", LAYOUT)
    return None
