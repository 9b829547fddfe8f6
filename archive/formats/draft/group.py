"""Files that belong together: identities in one, curves in others beside it, joined by a key."""

from __future__ import annotations

from archive.formats.draft.write import Draft
from archive.formats.recognition import Entry


def others(entry: Entry) -> list[Entry]:
    """The files beside an entry that are read together with it, where it is the one that holds the identities."""
    del entry
    return []


def drafted(entry: Entry, least: float = 0.0) -> Draft:
    """The draft of a file, together with the files that belong to it."""
    from archive.formats.draft import draft

    return draft(entry, least)
