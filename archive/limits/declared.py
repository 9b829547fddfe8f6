"""The declarations of schemas/limits, with what each edition inherits: plain tables, not yet functions.

An edition file lists what it changed; the rest it takes from the edition it inherits. A confidence letter holds for
the edition that its source quotes: carried to another edition it is B at most.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from archive import schemas
from archive.errors import Trouble

FOLDER = "limits"


@dataclass(frozen=True)
class Edition:
    """One edition with everything it inherits. limits: declaration by the part of the id after the edition."""

    id: str
    head: dict[str, Any]
    terms: dict[str, dict[str, Any]]
    limits: dict[str, dict[str, Any]]
    files: tuple[Path, ...] = field(default=())


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
    head, own_terms, own_limits = table["edition"], table.get("terms", {}), table.get("limits", {})
    files: tuple[Path, ...] = (schemas.root() / FOLDER / f"{name}.toml",)
    terms: dict[str, dict[str, Any]] = {}
    limits: dict[str, dict[str, Any]] = {}
    parent_id = head.get("inherits") or head.get("same_as")
    if parent_id:
        parent = edition(parent_id)
        files += parent.files
        terms = dict(parent.terms)
        for key, limit in parent.limits.items():
            if key in head.get("without", ()):
                continue
            carried = at_most(limit, "B")
            carried["lines"] = _renamed(carried["lines"], head.get("renames", {}))
            carried.update({"came_from": f"{parent_id}/{key}"})
            if head.get("same_as"):
                carried["same_as"] = f"{parent_id}/{key}"
            carried.pop("document", None)
            limits[key] = carried
    terms.update(own_terms)
    here = Edition(name, head, terms, limits, files)
    for key in own_limits:
        _own(here, key, own_limits)
    return here


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


def at_most(table: dict[str, Any], letter: str) -> dict[str, Any]:
    """A copy in which no confidence letter is better than the given one."""
    result = copy.deepcopy(table)
    _lower(result, letter)
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


def _own(here: Edition, key: str, own_limits: dict[str, Any]) -> None:
    """Lays an edition's own declaration over what it inherits or is declared to be like."""
    own = own_limits[key]
    below = here.limits.get(key, {"lines": {}, "scalars": {}, "open": {}})
    if "like" in own:
        other = own["like"]
        if other in here.limits:  # inherited, or declared above it in the same file
            below = copy.deepcopy(here.limits[other])
        else:
            found = declaration(other)
            if found is None:
                raise KeyError(f"{here.id}/{key} is like {other}, which does not exist")
            below = at_most(found[1], "B")
            below.pop("document", None)
        if "confidence_at_most" in own:
            below = at_most(below, own["confidence_at_most"])
    result = overlay(below, own)
    if isinstance(own.get("terms"), str):
        result["terms"] = copy.deepcopy(here.terms[own["terms"]])
    here.limits[key] = result


def _lower(part: Any, letter: str) -> None:
    if isinstance(part, dict):
        for key, value in part.items():
            if key in ("confidence", "between") and isinstance(value, str):
                part[key] = max(value, letter)
            else:
                _lower(value, letter)
    elif isinstance(part, list):
        for value in part:
            _lower(value, letter)


def _renamed(lines: dict[str, Any], renames: dict[str, str]) -> dict[str, Any]:
    return {renames.get(name, name): value for name, value in lines.items()}
