"""Drafts a mapping for a layout never seen: structure, words, and physics as evidence."""

from __future__ import annotations

from archive.formats.draft.hypotheses import SURE
from archive.formats.draft.interpret import place
from archive.formats.draft.structure import structure
from archive.formats.draft.write import Draft, layout_name, written
from archive.formats.recognition import Entry


def draft(entry: Entry, least: float = 0.0) -> Draft:
    """The draft for one file. least: fields that are less sure are left out.

    Errors: Trouble where the file is no text, workbook, XML or JSON, or is damaged.
    """
    layout = structure(entry)
    return written([(layout, place(layout), "")], layout_name(entry.name), least)


__all__ = ["SURE", "Draft", "draft"]
