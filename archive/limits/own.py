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
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.limits import checks, declared
from archive.limits.build import LIMIT_KEYS, build
from archive.limits.files import filled, read, text_of, working
from archive.limits.limit import Limit

PREFIX = "own/"
_KEYS = (LIMIT_KEYS | {"id", "title", "by", "on"}) - {"same_as", "came_from", "confirmations"}


def load_own(path: Path | str) -> Limit:
    """A limit from a file of the user's own. Errors: Trouble with the place in the file."""
    where = str(path)
    table = dict(checks.known(read(Path(path)), _KEYS, where))
    name = text_of(table, "id", where, 'id = "harbour-office/permanent-link"').lower().removeprefix(PREFIX)
    if not re.fullmatch(r"[a-z0-9][a-z0-9._-]*(/[a-z0-9][a-z0-9._-]*){0,2}", name):
        expected = "up to three words of small letters, digits, points and hyphens, with / between them"
        raise Trouble("this id cannot be used", where=where, found=f"'{name}'", expected=expected)
    title = text_of(table, "title", where, 'title = "Harbour office, specification 12, clause 3.2"')
    by = text_of(table, "by", where, 'by = "who states this limit"')
    checks.shaped(table, where)
    below: dict[str, Any] = {}
    files: tuple[Path, ...] = (Path(path),)
    if "like" in table:
        found = declared.declaration(str(table["like"]))
        if found is None:
            raise Trouble("no such limit to be like", where=where, found=f"'{table['like']}'")
        below = declared.at_most(found[1], "B")
        below["also_named"] = found[0].head.get("also_named", {})
        below.pop("document", None)
        below.pop("same_as", None)
        files += found[0].files
    for key in ("lines", "scalars"):
        rows = table.get(key, {})
        table[key] = {name: filled(checks.mapping(row, f"{where}, {name}"), "own") for name, row in rows.items()}
    if "terms" in table:
        table["terms"] = {**below.get("terms", {}), **checks.mapping(table["terms"], where)}
    table = declared.overlay(below, {k: v for k, v in table.items() if k not in ("id", "title", "by", "on")})
    table.setdefault("document", title)
    label = f"own limit: {title} (stated by {by})"
    return working(build(PREFIX + name, label, table, where=where, own=True, files=files), where)
