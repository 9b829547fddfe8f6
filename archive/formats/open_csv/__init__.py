"""Link record CSV: one CSV file per table, described by W3C CSV on the Web metadata, as a folder or a zip."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from archive.formats.open_csv.read_csv import read as merged
from archive.formats.recognition import Entry, Recognition
from archive.tables import Batch, tables, version

METADATA = f"link-record-{version()}-csv.json"
"""Name of the metadata file; in the zip or folder it stands beside the tables."""


_NAMED = re.compile(r"link-record-[0-9]+-csv\.json")


def recognise(entry: Entry) -> Recognition | None:
    """The metadata file of link record CSV, by its name; it takes the tables beside it."""
    name = entry.path.name
    if not _NAMED.fullmatch(name):
        return None
    takes = frozenset(p for t in tables() if (p := entry.path.parent / f"{t}.csv").is_file())
    return Recognition(1.0, f"metadata file {name} with {len(takes)} tables beside it", "link-record-csv", takes)


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """Batches of the tables beside the metadata file; see read_csv.read."""
    return merged(entry)
