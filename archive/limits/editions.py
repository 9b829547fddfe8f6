"""The declarations of schemas/limits, with what each edition inherits: plain tables, not yet functions.

An edition file lists what it changed; the rest it takes from the edition it inherits. A confidence letter holds for
the edition that its source quotes: carried to another edition it is B at most.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from archive import schemas
from archive.errors import Trouble
from archive.limits.file_tables import EditionFile, EditionHead
from archive.structs import convert

FOLDER = "limits"
Declaration = dict[str, Any]


@dataclass(frozen=True)
class Edition:
    """One edition with everything it inherits.

    limits: declaration by the part of the id after the edition. for_every: what holds for every limit of a
    configuration. files: its file and those of the editions it rests on.
    """

    head: EditionHead
    terms: dict[str, Declaration]
    limits: dict[str, Declaration]
    for_every: dict[str, Declaration]
    files: tuple[Path, ...]


@cache
def edition_ids() -> tuple[str, ...]:
    """All editions, in the order of schemas/limits/library.toml."""
    return tuple(schemas.load(f"{FOLDER}/library.toml")["editions"])


@cache
def edition(name: str) -> Edition:
    """One edition. Errors: Trouble where there is none of that name."""
    if name not in edition_ids():
        raise Trouble("no such edition", code="limit.unknown", found=f"'{name}'", expected=", ".join(edition_ids()))
    path = schemas.root() / FOLDER / f"{name}.toml"
    table = schemas.load(f"{FOLDER}/{name}.toml")
    head = convert(table, EditionFile, path.name, code="limit.declaration").edition
    parent = edition(head.inherits or head.same_as) if head.inherits or head.same_as else None
    here = Edition(
        head,
        {**(parent.terms if parent else {}), **table.get("terms", {})},
        {},
        table.get("for_every", {}),
        (path, *(parent.files if parent else ())),
    )
    if parent:
        here.limits.update({key: _inherited(here, parent, key) for key in parent.limits if key not in head.without})
    for key, own in table.get("limits", {}).items():
        here.limits[key] = _own(here, key, own)
    return here


def _inherited(here: Edition, parent: Edition, key: str) -> Declaration:
    """A limit of the parent's, with a confidence of B at most, save where a source quotes this edition too."""
    head = here.head
    taken = carried(parent.limits[key], "B", head.quoted_by)
    taken["lines"] = {head.renames.get(name, name): line for name, line in taken.get("lines", {}).items()}
    if head.same_as:
        taken["same_as"] = f"{parent.head.id}/{key}"
    return overlay(taken, _for_every(here, key)) if taken["lines"] or taken.get("scalars") else taken


def _for_every(here: Edition, key: str) -> Declaration:
    """What holds for every limit of the configuration of one."""
    return here.for_every.get(key.rpartition("/")[2], {})


def declaration(limit_id: str) -> tuple[Edition, Declaration] | None:
    """The edition of a limit and its declaration; None where there is no such limit."""
    name, _, key = limit_id.partition("/")
    if name not in edition_ids() or key not in edition(name).limits:
        return None
    return edition(name), edition(name).limits[key]


def limit_ids() -> Iterator[str]:
    """Every limit id, edition by edition."""
    for name in edition_ids():
        yield from (f"{name}/{key}" for key in edition(name).limits)


def carried(table: Declaration, most: str, quoted_by: frozenset[str] = frozenset()) -> Declaration:
    """A declaration carried to another limit: no confidence is better than `most`, and it is another document.

    quoted_by: sources that quote the new edition too; a confidence that rests on these alone stays.
    """

    def lowered(confidence: str, sources: frozenset[str]) -> str:
        return confidence if sources and sources <= quoted_by else max(confidence, most)

    result: Declaration = with_confidences(table, lowered)
    return {key: value for key, value in result.items() if key not in ("document", "same_as")}


_CONFIDENCES = ("confidence", "confidence_between", "tolerance_confidence")


def with_confidences(part: Any, change: Callable[[str, frozenset[str]], str]) -> Any:
    """A deep copy in which `change` has replaced each confidence. change: (confidence, sources of the same table)."""
    if isinstance(part, dict):
        sources = frozenset(part.get("source", ()))
        return {
            key: change(value, sources)
            if key in _CONFIDENCES and isinstance(value, str)
            else with_confidences(value, change)
            for key, value in part.items()
        }
    return [with_confidences(value, change) for value in part] if isinstance(part, list) else part


def overlay(below: Declaration, above: Declaration) -> Declaration:
    """A declaration with another laid over it: lines and scalars one by one, everything else as a whole.

    Neither is changed; the result shares their parts.
    """
    result = {**below}
    for key, value in above.items():
        if key in ("lines", "scalars", "open"):
            result[key] = {**result.get(key, {}), **value}
        elif key not in ("like", "confidence_at_most", "without", "read"):
            result[key] = value
    for part in ("lines", "scalars", "open"):
        gone = {*above.get("without", ()), *(_stated(result) if part == "open" else ())}
        result[part] = {name: value for name, value in result.get(part, {}).items() if name not in gone}
    return result


def _stated(table: Declaration) -> set[str]:
    return {*table.get("lines", {}), *table.get("scalars", {})}


def _own(here: Edition, key: str, own: Declaration) -> Declaration:
    """An edition's own declaration, laid over what it inherits, what holds for every limit of its configuration, or
    the limit that it is declared to be like."""
    below = here.limits.get(key, {})
    if "like" in own:
        below = _like(here, own["like"], own.get("confidence_at_most", "A"))
    elif not below and _stated(own):
        below = _for_every(here, key)
    result = overlay(below, own)
    if isinstance(own.get("terms"), str):
        result["terms"] = here.terms[own["terms"]]
    for source, names in own.get("read", {}).items():
        for name in names:
            _mark_read(result, source, name)
    return result


def _mark_read(table: Declaration, source: str, name: str) -> None:
    """A line, or its cap or floor (next.cap), was read in a source as it stands: A, by that source."""
    parameter, _, bound = name.partition(".")
    line = table["lines"][parameter]
    if bound:
        table["lines"][parameter] = {**line, bound: _restated(line[bound], source)}
    else:
        apart = {key: line[key] for key in ("cap", "floor", "informational") if key in line}
        table["lines"][parameter] = _restated(line, source) | apart


def _restated(part: Any, source: str) -> Any:
    if isinstance(part, dict):
        stated = {"confidence": "A", "source": [source]} if "confidence" in part else {}
        return {key: _restated(value, source) for key, value in part.items()} | stated
    return [_restated(value, source) for value in part] if isinstance(part, list) else part


def _like(here: Edition, key: str, most: str) -> Declaration:
    """Another limit's declaration: of the same edition, or carried from another one."""
    if key in here.limits:
        document = {k: v for k, v in here.limits[key].items() if k in ("document", "same_as")}
        return carried(here.limits[key], most) | document
    found = declaration(key)
    if found is None:
        where = f"edition {here.head.id}"
        raise Trouble(
            "a limit is like another that does not exist", code="limit.declaration", where=where, found=f"'{key}'"
        )
    return carried(found[1], max(most, "B"))
