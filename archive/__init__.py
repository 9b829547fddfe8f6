"""Muniment: an archive of cabling certification records.

    import archive

    for batch in archive.read("exports.zip"):   # at most 1,000 records each, as Arrow tables
        print(batch["records"].to_pandas())
        batch.write("records.xml")

`read` and `write` are archive.formats.read and .write; `open` is archive.store.open; `Batch` is archive.tables.Batch.
"""

from __future__ import annotations

from typing import Any

_FROM = {
    "Batch": "archive.tables",
    "concat": "archive.tables",
    "create": "archive.store",
    "open": "archive.store",
    "read": "archive.formats",
    "write": "archive.formats",
    "Trouble": "archive.errors",
}

__all__ = list(_FROM)


def __getattr__(name: str) -> Any:
    """Public names, loaded when they are asked for, so that `import archive` costs nothing."""
    import importlib

    if name not in _FROM:
        raise AttributeError(f"module 'archive' has no attribute {name!r}")
    return getattr(importlib.import_module(_FROM[name]), name)
