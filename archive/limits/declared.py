"""The declarations of schemas/limits, with what each edition inherits: plain tables, not yet functions.

An edition file lists what it changed; the rest it takes from the edition it inherits. A confidence letter holds for
the edition that its source quotes: carried to another edition it is B at most.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from archive import schemas
from archive.errors import Trouble

FOLDER = "limits"


@dataclass(frozen=True)
class Edition:
    """One edition with everything it inherits.

    limits: declaration by the part of the id after the edition. for_every: what holds for every limit of a
    configuration. files: its file and those of the editions it rests on.
    """

    id: str
    head: dict[str, Any]
    terms: dict[str, dict[str, Any]]
    limits: dict[str, dict[str, Any]]
    for_every: dict[str, Any]
    files: tuple[Path, ...]


@cache
def edition_ids() -> tuple[str, ...]:
    """All editions, in the order of schemas/limits/library.toml."""
    return tuple(schemas.load(f"{FOLDER}/library.toml")["editions"])


@cache
def edition(name: str) -> Edition:
    """One edition. Errors: Trouble where there is none of that name."""
    if name not in edition_ids():
        raise Trouble("no such edition", found=f"'{name}'", expected=", ".join(edition_ids()))
    table = schemas.load(f"{FOLDER}/{name}.toml")
    head = table["edition"]
    here = Edition(name, head, {}, {}, table.get("for_every", {}), (schemas.root() / FOLDER / f"{name}.toml",))
    parent_id = head.get("inherits") or head.get("same_as")
    if parent_id:
        here = _inherit(here, edition(parent_id), parent_id)
    here.terms.update(table.get("terms", {}))
    for key, own in table.get("limits", {}).items():
        here.limits[key] = _own(here, key, own)
    return here


def _inherit(here: Edition, parent: Edition, parent_id: str) -> Edition:
    """Everything of the parent, with letters of B at most, save where a source quotes this edition too."""
    head = here.head
    here.terms.update(parent.terms)
    for key, limit in parent.limits.items():
        if key in head.get("without", ()):
            continue
        carried = at_most(limit, "B", frozenset(head.get("quoted_by", ())))
        carried["lines"] = {head.get("renames", {}).get(k, k): line for k, line in carried.get("lines", {}).items()}
        carried["came_from"] = f"{parent_id}/{key}"
        if "same_as" in head:
            carried["same_as"] = f"{parent_id}/{key}"
        carried.pop("document", None)
        if carried["lines"] or carried.get("scalars"):
            carried = overlay(carried, here.for_every.get(key.rpartition("/")[2], {}))
        here.limits[key] = carried
    return Edition(here.id, head, here.terms, here.limits, here.for_every, here.files + parent.files)


def declaration(limit_id: str) -> tuple[Edition, dict[str, Any]] | None:
    """The edition of a limit and its declaration; None where there is no such limit."""
    name, _, key = limit_id.partition("/")
    if name not in edition_ids():
        return None
    found = edition(name).limits.get(key)
    return (edition(name), found) if found is not None else None


def limit_ids() -> Iterator[str]:
    """Every limit id, edition by edition."""
    for name in edition_ids():
        for key in edition(name).limits:
            yield f"{name}/{key}"


def at_most(table: dict[str, Any], letter: str, quoted_by: frozenset[str] = frozenset()) -> dict[str, Any]:
    """A copy in which no confidence letter is better than the given one.

    quoted_by: sources that quote the new edition too; a letter that rests on these alone stays.
    """
    result = copy.deepcopy(table)
    _lower(result, letter, quoted_by)
    return result


def overlay(below: dict[str, Any], above: dict[str, Any]) -> dict[str, Any]:
    """A declaration with another laid over it: lines and scalars one by one, everything else as a whole."""
    result = copy.deepcopy(below)
    for key, value in above.items():
        if key in ("lines", "scalars", "open"):
            result[key] = {**result.get(key, {}), **copy.deepcopy(value)}
        elif key not in ("like", "confidence_at_most", "without"):
            result[key] = copy.deepcopy(value)
    for name in above.get("without", ()):
        for part in ("lines", "scalars", "open"):
            result.get(part, {}).pop(name, None)
    for name in (*result.get("lines", {}), *result.get("scalars", {})):
        result.get("open", {}).pop(name, None)
    return result


def _own(here: Edition, key: str, own: dict[str, Any]) -> dict[str, Any]:
    """An edition's own declaration, laid over what it inherits, what holds for every limit of its configuration, or
    the limit that it is declared to be like."""
    below = here.limits.get(key, {})
    if "like" in own:
        below = _other(here, own["like"])
        if "confidence_at_most" in own:
            below = at_most(below, own["confidence_at_most"])
    elif not below and ("lines" in own or "scalars" in own):
        below = here.for_every.get(key.rpartition("/")[2], {})
    result = overlay(below, own)
    if isinstance(own.get("terms"), str):
        result["terms"] = copy.deepcopy(here.terms[own["terms"]])
    return result


def _other(here: Edition, key: str) -> dict[str, Any]:
    """Another limit's declaration: of the same edition, or carried from another one."""
    if key in here.limits:
        return here.limits[key]
    found = declaration(key)
    if found is None:
        raise Trouble("a limit is like another that does not exist", where=f"edition {here.id}", found=f"'{key}'")
    carried = at_most(found[1], "B")
    carried.pop("document", None)
    carried["came_from"] = key
    return carried


def _lower(part: Any, letter: str, quoted_by: frozenset[str]) -> None:
    if isinstance(part, dict):
        quoted = bool(part.get("source")) and quoted_by.issuperset(part["source"])
        for key, value in part.items():
            if key in ("confidence", "confidence_between") and isinstance(value, str):
                part[key] = value if quoted else max(value, letter)
            else:
                _lower(value, letter, quoted_by)
    elif isinstance(part, list):
        for value in part:
            _lower(value, letter, quoted_by)
