"""Any export in: layouts that a mapping describes, and layouts never seen, drafted and used where the draft is sure.

A mapping is a TOML file; schemas/mapping.md explains it. A layout is recognised by its content: headings, labels,
elements. `read` uses the mapping it is given, else the one known mapping that fits, else a draft.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from archive.errors import Trouble
from archive.formats.base.kinds import is_workbook, kind_of
from archive.formats.mapping.description import describe
from archive.formats.mapping.match import best, content, matches
from archive.formats.mapping.model import Mapping
from archive.formats.recognition import Entry, Recognition
from archive.tables import Batch

UNSEEN = 0.3
"""Score of a file whose layout no mapping knows, but which could be drafted."""


def recognise(entry: Entry) -> Recognition | None:
    """Whether a file has the layout of a known mapping, or could be drafted; None for what is no export at all."""
    from archive.formats.mapping.together import beside, is_lead

    try:
        found = best(matches(entry))
        if len(found) > 1:
            listed = ", ".join(m.mapping.layout for m in found)
            return Recognition(found[0].score, f"these layouts fit equally: {listed}", "")
        if found:
            mapping = found[0].mapping
            takes: frozenset[Any] = frozenset()
            if not mapping.alone and is_lead(entry, mapping):
                takes = frozenset(e.path for _, e in beside(entry, mapping))
            return Recognition(found[0].score, found[0].reason, mapping.layout, takes)
        if not entry.size:
            return None
        if content(entry) is None:
            return _damaged(entry, None) if is_workbook(entry) else None
        return _unseen(entry)
    except Trouble as trouble:
        return _damaged(entry, trouble)
    except (OSError, ValueError):
        return None


def _damaged(entry: Entry, trouble: Trouble | None) -> Recognition | None:
    """A workbook, XML or JSON that cannot be opened is still one: reading it then tells what is wrong with it."""
    try:
        kind = kind_of(entry)
    except (Trouble, OSError, ValueError):
        return None
    why = str(trouble or "a workbook that cannot be opened")
    return Recognition(UNSEEN, why, "") if kind != "text" else None


def recognise_by(entry: Entry, mapping: Any) -> Recognition | None:
    """Whether a file has the layout of the mapping that was named, without a look at others and without a draft.

    mapping: path of a mapping file, or a Mapping. None where the file does not hold its names.
    """
    from archive.formats.mapping.match import match
    from archive.formats.mapping.together import beside, is_lead

    try:
        named = chosen(entry, mapping)
        found = match(entry, named)
        if found is None:
            return None
        takes: frozenset[Any] = frozenset()
        if not named.alone and is_lead(entry, named):
            takes = frozenset(e.path for _, e in beside(entry, named))
        return Recognition(found.score, found.reason, named.layout, takes)
    except (Trouble, OSError, ValueError):
        return None


def _unseen(entry: Entry) -> Recognition | None:
    from archive.formats.draft import group
    from archive.formats.draft.write import layout_name

    if not group.is_export(entry):
        return None
    takes = frozenset(e.path for e in group.others(entry))
    return Recognition(UNSEEN, "no mapping knows this layout; it would be drafted", layout_name(entry.name), takes)


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """Batches of a file. mapping: path of a mapping file; without it the known mapping that fits, else a sure draft.

    Errors: Trouble where no mapping fits and none can be drafted surely, where two fit equally, where the mapping
    names what is not there, or where nothing of the file can be read.
    """
    yield from _by(entry, chosen(entry, mapping, draft))


def chosen(entry: Entry, mapping: Any = None, draft: bool = True) -> Mapping:
    """The mapping by which a file is read. Errors: as read."""
    from archive.formats.mapping.load import load

    if isinstance(mapping, Mapping):
        return mapping
    if mapping is not None:
        return load(mapping)
    found = best(matches(entry))
    if len(found) > 1:
        raise Trouble(
            "two layouts fit equally",
            where=entry.name,
            found=", ".join(f"{m.mapping.layout} ({m.mapping.path})" for m in found),
            remedy="name the right one with --mapping",
        )
    if found:
        return found[0].mapping
    if not draft:
        raise Trouble(
            "no mapping knows this layout",
            where=entry.name,
            remedy="draft one with `muniment mapping draft`, look at it, and name it with --mapping",
        )
    return _drafted(entry)


def _drafted(entry: Entry) -> Mapping:
    """A draft of what is sure. Errors: Trouble where that is too little to read by."""
    from archive.formats.draft import SURE
    from archive.formats.draft.group import drafted

    made = drafted(entry, SURE)
    labels = [f for f in made.fields if f["to"] == "records.link_label"]
    if not labels or len(made.fields) < 2:
        raise Trouble(
            "no mapping knows this layout, and a draft of it is not sure enough to read by",
            where=entry.name,
            found=f"{len(made.fields)} columns placed surely, {len(made.unplaced)} not"
            + ("" if labels else "; no column that surely labels the links"),
            remedy=f"run `muniment mapping draft {entry.name}`, look at it, and name it with --mapping",
        )
    return made.mapping


def _by(entry: Entry, mapping: Mapping) -> Iterator[Batch]:
    from archive.formats.mapping.files import read_several, read_with
    from archive.formats.mapping.together import is_lead

    if mapping.alone:
        yield from read_with(entry, mapping)
    elif is_lead(entry, mapping):
        yield from read_several(entry, mapping)
    else:
        raise Trouble(
            "the file that names the links is not beside it",
            where=entry.name,
            found=f"one file of the layout {mapping.layout}, which has {len(mapping.files)}",
            expected=f"beside it {mapping.files[0].pattern}",
            remedy="hand in the folder or zip that holds all of them",
        )


__all__ = ["UNSEEN", "chosen", "describe", "read", "recognise", "recognise_by"]
