"""Layouts never seen: a mapping is drafted, and used where the draft is sure.

Asked only about a file that no other reader knows. A workbook, XML or JSON that cannot be opened is claimed too, so
that reading it says what is wrong with it.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats import mapping as by_mapping
from archive.formats.base.kinds import is_workbook, kind_of
from archive.formats.description import Description
from archive.formats.draft import SURE, group
from archive.formats.draft.write import Draft, layout_name
from archive.formats.mapping.match import content, match
from archive.formats.recognition import Entry, Recognition
from archive.tables import Batch

State = tuple[int, int]
"""Size of a file, and the time of its last change."""

LAST = True
"""Asked after all other readers, where none of them knows the file."""

SCORE = 0.3
"""Score of a file whose layout no mapping knows, but which could be drafted."""


def recognise(entry: Entry) -> Recognition | None:
    """Whether a file could be drafted, or is damaged; None for what is no export at all."""
    try:
        if not entry.size:
            return None
        if content(entry) is None:
            return _damaged(entry, None) if is_workbook(entry) else None
        if _like(entry) is not None:
            return Recognition(SCORE, _WOULD, layout_name(entry.name))
        if not group.is_export(entry):
            return None
        takes = frozenset(e.path for e in group.others(entry))
        return Recognition(SCORE, _WOULD, layout_name(entry.name), takes)
    except Trouble as trouble:
        return _damaged(entry, trouble)
    except (OSError, ValueError):
        return None


_WOULD = "no mapping knows this layout; it would be drafted"


def _like(entry: Entry) -> Draft | None:
    """The draft of the first file beside an entry that is named alike but for its numbers, where it finds in the entry
    all that it names: files of one layout are drafted once."""
    first = group.first_alike(entry)
    if first is None or first == entry.path:
        return None
    return _that_fits(entry.path, entry.name, group.state_of(entry.path), first, group.state_of(first))


@lru_cache(maxsize=1024)
def _that_fits(path: Path, name: str, state: State, first: Path, state_of_first: State) -> Draft | None:
    """As _like; a survey asks it of each file when it recognises it, and when it describes it."""
    del state
    entry = Entry(path, name)
    try:
        made = _made(first, group.name_beside(entry, first), state_of_first)
        if isinstance(made, Trouble):
            return None
        found = match(entry, made.mapping) if made.mapping.alone else None
    except (Trouble, OSError, ValueError):
        return None
    return made if found is not None and found.found == found.asked else None


def _damaged(entry: Entry, trouble: Trouble | None) -> Recognition | None:
    """A workbook, XML or JSON that cannot be opened is still one."""
    try:
        kind = kind_of(entry)
    except (Trouble, OSError, ValueError):
        return None
    why = str(trouble or "a workbook that cannot be opened")
    return Recognition(SCORE, why, "") if kind != "text" else None


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """Batches of a file by its draft; by the mapping, where one is named.

    Errors: Trouble where no draft is wanted, it is not sure enough, or nothing of the file can be read.
    """
    return by_mapping.read(entry, mapping=draft_of(entry).mapping if mapping is None and draft else mapping)


def describe(entry: Entry, *, mapping: Any = None) -> Description:
    """As formats.mapping.describe, by a draft; one that is not sure enough to read by comes along as text.

    Errors: Trouble where nothing of the file can be read.
    """
    if mapping is None:
        try:
            mapping = draft_of(entry).mapping
        except Trouble:
            drafted = group.drafted(entry)
            why = "no mapping knows this layout, and its draft is not sure enough to read by"
            return Description(
                entry.name,
                drafted.layout,
                draft=drafted.text,
                set_aside=[why],
                unmapped=list(drafted.unplaced),
            )
    return by_mapping.describe(entry, mapping=mapping)


def draft_of(entry: Entry) -> Draft:
    """A draft of what is sure: that of a file of the same layout beside it, where there is one.

    Errors: Trouble where that is too little to read by.
    """
    made = _like(entry) or _made(entry.path, entry.name, group.state_of(entry.path))
    if isinstance(made, Trouble):
        raise made.with_traceback(None)
    return made


@lru_cache(maxsize=64)
def _made(path: Path, name: str, state: State) -> Draft | Trouble:
    """The draft of a file, or why it is not to be read by; found out once, whoever asks."""
    del state
    try:
        return _believed(Entry(path, name))
    except Trouble as trouble:
        return trouble


def _believed(entry: Entry) -> Draft:
    made = group.drafted(entry, SURE)
    labels = [f for f in made.fields if f["to"] == "records.link_label"]
    if not labels or len(made.fields) < 2:
        raise Trouble(
            "no mapping knows this layout, and a draft of it is not sure enough to read by",
            code="layout.unknown",
            where=entry.name,
            found=f"{len(made.fields)} columns placed surely, {len(made.unplaced)} not"
            + ("" if labels else "; no column that surely labels the links"),
            remedy=f"run `muniment mapping draft {entry.name}`, look at it, and name it with --mapping",
        )
    if made.against:
        raise Trouble(
            "no mapping knows this layout, and what a draft of it reads contradicts it",
            code="layout.unknown",
            where=entry.name,
            found=made.against,
            remedy=f"run `muniment mapping draft {entry.name}`, look at it, and name it with --mapping",
        )
    return made
