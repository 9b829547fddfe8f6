"""Limits of the user's own: a contract's, a specification's. Labelled as such everywhere.

A file of one:

    id = "harbour-office/permanent-link"              # becomes own/harbour-office/permanent-link
    title = "Harbour office, specification 12, clause 3.2"
    by = "who states it"
    like = "tia-568.2-d/cat6a/permanent-link"         # optional: everything not listed here is as there
    range_mhz = [1, 500]

    [lines.next]
    breakpoints = [[1, 66.0], [100, 43.0], [500, 28.0]]
    between_points = "straight over lg(f)"            # or "straight over f"

    [lines.return_loss]
    pieces = [{ to = 10, formula = "21" }, { to = 500, formula = "26 - 5*lg(f)" }]

    [scalars]
    delay_skew = { value = 40 }
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.limits import editions
from archive.limits.build import build, check_numbers
from archive.limits.file_tables import OwnLimitFile
from archive.limits.limit import Limit
from archive.structs import convert, read_toml

PREFIX = "own/"
_STATES = {"formula", "points", "breakpoints", "value", "il_below", "fext_above", "ps_fext_above"}
_HEAD = {"id", "title", "by", "on", "like", "confidence_at_most"}


def load_own(path: Path | str) -> Limit:
    """A limit from a file of the user's own. Errors: Trouble with the place in the file."""
    where = str(path)
    table = stated_by_user(read_toml(Path(path), code="limit.file"))
    own = convert(table, OwnLimitFile, where, code="limit.declaration")
    limit_id = own_id(own.id, where)
    below: dict[str, Any] = {}
    files: tuple[Path, ...] = (Path(path),)
    if own.like:
        found = editions.declaration(own.like)
        if found is None:
            raise _trouble("no such limit to be like", where, f"'{own.like}'")
        edition, below = found[0], editions.carried(found[1], own.confidence_at_most or "B")
        below["also_named"] = edition.head.also_named
        files += edition.files
    title, by = own.title.strip(), own.by.strip()
    table = {key: value for key, value in table.items() if key not in _HEAD}
    table["terms"] = {**below.get("terms", {}), **table.get("terms", {})}
    table = editions.overlay(below, {"document": title, **table})
    limit = build(limit_id, f"own limit: {title} (stated by {by})", table, where=where, own=True, files=files)
    if not limit.established:
        raise _trouble("a limit without lines", where, expected="lines or scalars")
    return check_numbers(limit, where)


def own_id(text: str, where: str) -> str:
    """The id of a limit of the user's own, with its prefix. Errors: Trouble for one that cannot be used."""
    name = text.strip().lower().removeprefix(PREFIX)
    if not re.fullmatch(r"[a-z0-9][a-z0-9._-]*(/[a-z0-9][a-z0-9._-]*){0,2}", name):
        expected = "up to three words of small letters, digits, points and hyphens, with / between them"
        raise _trouble("this id cannot be used", where, f"'{name}'", expected)
    return PREFIX + name


def stated_by_user(part: Any) -> Any:
    """A copy with a confidence and a source wherever the file states a limit without: who states it stands for it."""
    if isinstance(part, Mapping):
        result = {key: stated_by_user(value) for key, value in part.items()}
        if "tolerance_percent" in result:
            result = {"tolerance_confidence": "A", **result}
        return {"confidence": "A", "source": ["own"], **result} if _STATES & result.keys() else result
    return [stated_by_user(row) for row in part] if isinstance(part, list) else part


def _trouble(what: str, where: str, found: str = "", expected: str = "") -> Trouble:
    return Trouble(what, code="limit.declaration", where=where, found=found, expected=expected)
