"""Link record CSV: one CSV file per table, described by W3C CSV on the Web metadata, as a folder or a zip."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from archive.formats.recognition import Entry, Recognition
from archive.tables import Batch, version

METADATA = f"link-record-{version()}-csv.json"
"""Name of the metadata file; in the zip or folder it stands beside the tables."""


def recognise(entry: Entry) -> Recognition | None:
    """The metadata file of link record CSV, by its name and its content; it takes the tables beside it."""
    name = entry.path.name
    if not (name.startswith("link-record-") and name.endswith("-csv.json")):
        return None
    try:
        document = json.loads(entry.path.read_bytes())
        urls = [str(t["url"]) for t in document["tables"]]
    except (ValueError, KeyError, TypeError):
        return None
    takes = frozenset(entry.path.parent / url for url in urls if "/" not in url and (entry.path.parent / url).is_file())
    return Recognition(1.0, f"metadata file {name} with {len(takes)} tables beside it", "link-record-csv", takes)


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """Batches of the tables beside the metadata file; see reader.read."""
    from archive.formats.open_csv.reader import read as merged

    return merged(entry)
