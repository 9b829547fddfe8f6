"""Exports by mappings: any layout of delimited text, workbooks, XML, JSON or reports that a mapping describes.

A mapping is a TOML file; schemas/mapping.md explains it. A layout is recognised by its content: headings, labels,
elements. `read` uses the mapping it is given, else the one known mapping that fits.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from archive.errors import Trouble
from archive.formats.mapping.description import describe
from archive.formats.mapping.files import read_by
from archive.formats.mapping.match import Match, best, chosen, match, matches
from archive.formats.mapping.model import Mapping
from archive.formats.mapping.together import beside, is_lead
from archive.formats.recognition import Entry, Recognition
from archive.tables import Batch


def recognise(entry: Entry) -> Recognition | None:
    """Whether a file has the layout of a known mapping; None where it has not, or cannot be opened."""
    try:
        found = best(matches(entry))
        if len(found) > 1:
            listed = ", ".join(m.mapping.layout for m in found)
            return Recognition(found[0].score, f"these layouts fit equally: {listed}", "")
        return _recognition(entry, found[0]) if found else None
    except (Trouble, OSError, ValueError):
        return None


def recognise_by(entry: Entry, mapping: Mapping | Path | str) -> Recognition | None:
    """Whether a file has the layout of the mapping that was named, without a look at others.

    mapping: path of a mapping file, or a Mapping. None where the file does not hold its names.
    """
    try:
        found = match(entry, chosen(entry, mapping))
        return _recognition(entry, found) if found is not None else None
    except (Trouble, OSError, ValueError):
        return None


def _recognition(entry: Entry, found: Match) -> Recognition:
    takes: frozenset[Path] = frozenset()
    if not found.mapping.alone and is_lead(entry, found.mapping):
        takes = frozenset(e.path for _, e in beside(entry, found.mapping))
    return Recognition(found.score, found.reason, found.mapping.layout, takes, found.mapping)


def read(entry: Entry, *, mapping: Mapping | Path | str | None = None, draft: bool = True) -> Iterator[Batch]:
    """Batches of a file. mapping: path of a mapping file, or a Mapping; without it the known mapping that fits.

    Errors: Trouble where no mapping fits, where two fit equally, where the mapping names what is not there, or where
    nothing of the file can be read.
    """
    return read_by(entry, chosen(entry, mapping))


__all__ = ["chosen", "describe", "read", "recognise", "recognise_by"]
