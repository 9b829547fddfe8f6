"""A Touchstone file and its port map as a batch of one record."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats.recognition import Entry
from archive.formats.touchstone import port_map as maps
from archive.formats.touchstone.network import Network, SetAside
from archive.formats.touchstone.parse import parse
from archive.formats.touchstone.record import LAYOUT, record_rows
from archive.tables import Batch
from archive.version import __version__

MOST_BYTES = 1 << 30
"""Larger files are refused: no sweep of cabling comes near."""


def load(entry: Entry) -> Network:
    """The network in a file. Errors: Trouble where it is not as the specification says, or too large; SetAside where it
    is sound and of no use."""
    if entry.size > MOST_BYTES:
        raise Trouble(
            "this file is too large for a sweep of cabling",
            code="touchstone.too-large",
            where=entry.name,
            found=f"{entry.size} bytes",
            expected=f"at most {MOST_BYTES}",
            remedy="check that the file is what its name says",
        )
    return parse(entry.path.read_bytes(), entry.name)


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """One batch of one record, or of a row of set_aside where there is no port map, or what the file holds is no use.

    mapping: path of a port map; a mapping of another kind is none of ours. By default the map beside the file.
    draft has no effect: a port map is never guessed.
    Errors: Trouble where the file or its port map is not as it must be.
    """
    try:
        network = load(entry)
    except SetAside as aside:
        source = entry.source(layout=LAYOUT, reader=f"muniment {__version__} {LAYOUT}")
        yield Batch.from_rows({"sources": [source], "set_aside": [entry.set_aside(aside.reason, **aside.columns)]})
        return
    path = maps.given(mapping) or maps.find(entry)
    source = entry.source(layout=LAYOUT, reader=f"muniment {__version__} {LAYOUT}", encoding=network.encoding)
    if path is None:
        stem = Path(entry.name).stem
        row = entry.set_aside(
            "no port map says which ports are at which pair",
            found=f"{network.ports} ports, {network.points} frequencies",
            expected=f"{stem}.toml or {maps.FOLDER_MAPS[0]} beside the file",
            remedy=f"`muniment survey FILE --draft > {stem}.toml` drafts the map: complete it, put it beside the file",
        )
        yield Batch.from_rows({"sources": [source], "set_aside": [row]})
        return
    port_map = maps.read_map(path, Path(entry.name).name, network.ports)
    source["mapping_sha256"] = port_map.sha256
    try:
        yield Batch.from_rows(record_rows(entry, network, port_map, source))
    except SetAside as aside:
        row = entry.set_aside(aside.reason, link_label=port_map.link, **aside.columns)
        yield Batch.from_rows({"sources": [source], "set_aside": [row]})
