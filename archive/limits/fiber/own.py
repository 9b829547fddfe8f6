"""Optical limits of the user's own: a contract's loss per part, or its loss budgets. Labelled as such everywhere.

A file of one, by formula:

    id = "harbour-office/backbone"                    # becomes own/harbour-office/backbone
    title = "Harbour office, specification 14, clause 4.1"
    by = "who states it"
    like = "iso-11801-1/os2/link"                     # optional: what is not listed here is as there
    fiber = "os2"                                     # as in like, where there is one
    coefficients = { 1310 = 0.36, 1550 = 0.25 }       # dB/km by nm; these wavelengths must be measured
    connection = 0.5                                  # dB of a mated pair
    end = 0.5                                         # of an end connection in the result; as connection, if left out
    splice = 0.1
    directions = 2

or as budgets, of what a whole channel may lose and how long it may be:

    id = "harbour-office/ring"
    title = "Harbour office, ring of 2024"
    by = "who states it"
    fibers = 2                                        # how many it takes
    budget = [{ fiber = "os2", nm = 1310, most_db = 3.0, most_m = 2000 }]
"""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from msgspec import Struct

from archive.errors import Trouble
from archive.limits.fiber.application import OpticalApplication
from archive.limits.fiber.declared import Allowance, ApplicationTable, Confidence, Directions, applications_file
from archive.limits.fiber.library import get, limit_ids
from archive.limits.fiber.link_limit import OpticalLimit, nominal
from archive.limits.own import own_id
from archive.structs import Positive, Text, convert, read_toml

_SOURCE = ("own",)
_LABEL = "own limit: "
_OPTICAL = {"coefficients", "budget", "fiber"}


class BudgetRow(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What a channel over a class of fiber may lose at a wavelength, dB at nm, and how long it may be, m."""

    fiber: Text
    nm: Positive
    most_db: Positive
    most_m: Positive


class OwnOpticalFile(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """An optical limit of a user's own."""

    id: Text
    title: Text
    by: Text
    on: datetime.date | None = None
    like: str = ""
    fiber: str = ""
    coefficients: dict[str, Positive] = {}
    connection: Positive | None = None
    end: Positive | None = None
    splice: Positive | None = None
    directions: int | None = None
    fibers: int = 2
    budget: list[BudgetRow] = []


def is_optical(path: Path | str) -> bool:
    """Whether a limit file of a user's own is of an optical link: by its keys, or by the limit that it is like."""
    try:
        table: dict[str, Any] = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False  # whoever reads it says what is wrong
    return bool(_OPTICAL & table.keys()) or table.get("like") in limit_ids()


def load_own(path: Path | str) -> OpticalLimit | OpticalApplication:
    """A limit or a budget from a file of the user's own. Errors: Trouble with the place in the file."""
    where = str(path)
    own = convert(read_toml(Path(path), code="limit.file"), OwnOpticalFile, where, code="limit.declaration")
    limit_id = own_id(own.id, where)
    title = f"{_LABEL}{own.title.strip()} (stated by {own.by.strip()})"
    if own.budget:
        return OpticalApplication(limit_id, _budget(own, where), title)
    return _link(own, limit_id, title, where)


def _link(own: OwnOpticalFile, limit_id: str, title: str, where: str) -> OpticalLimit:
    below = get(own.like.strip().lower()) if own.like else None
    if below is not None and not isinstance(below, OpticalLimit):
        raise _trouble("an application has no parts to be like", where, f"'{own.like}'", "the id of a link's limit")
    fiber = own.fiber or (below.fiber if below else "")
    if fiber not in _classes():
        raise _trouble("no such class of fibre", where, f"'{fiber}'", "om1 to om5, os1, os1a, os2 or indoor-outdoor")
    coefficients = dict(below.coefficients) if below else {}
    for typed, db_km in own.coefficients.items():
        nm = nominal(float(typed), fiber) if typed.replace(".", "", 1).isdigit() else None
        if nm is None:
            raise _trouble("no wavelength of this fibre", f"{where}, coefficients", f"'{typed}'", "nm, such as 1310")
        coefficients[nm] = (db_km, "A", _SOURCE)
    letter: Confidence = "A"

    def allowance(stated: float | None, given: Allowance | None) -> Allowance | None:
        return given if stated is None else Allowance(db=stated, confidence=letter, sources=_SOURCE)

    connection = allowance(own.connection, below.connection if below else None)
    parts = {"connection": connection, "splice": allowance(own.splice, below.splice if below else None)}
    if left := [name for name, part in parts.items() if part is None] + ([] if coefficients else ["coefficients"]):
        raise _trouble("a limit without parts", where, f"no {', '.join(left)}", "these, or a limit to be like")
    directions = below.directions if below else None
    if own.directions is not None:
        if own.directions not in (1, 2):
            raise _trouble("this many directions cannot be measured", where, str(own.directions), "1 or 2")
        directions = Directions(count=own.directions, confidence=letter, sources=_SOURCE)
    # an end connection that nobody states is one like the others; where connections are stated, by what is stated
    end = own.end if own.end is not None else own.connection
    asked = tuple(coefficients) if own.coefficients else below.required_nm if below else ()
    return OpticalLimit(
        id=limit_id,
        edition="own",
        title=title,
        document=title,
        clause="",
        fiber=fiber,
        configuration="link",
        coefficients=coefficients,
        connection=parts["connection"],
        end=allowance(end, below.end if below else connection),
        splice=parts["splice"],
        required_nm=tuple(nm for nm in asked if not own.coefficients or coefficients[nm][2] == _SOURCE),
        directions=directions,
    )


def _classes() -> set[str]:
    """Classes of fiber that the library speaks of."""
    tables = applications_file().applications.values()
    return {i.split("/")[1] for i in limit_ids()} | {name for table in tables for row in table.rows for name in row[0]}


def _budget(own: OwnOpticalFile, where: str) -> ApplicationTable:
    if own.coefficients or own.like or own.fiber:
        raise _trouble("budgets and parts in one file", where, "", "either budget, or coefficients and their parts")
    if unknown := sorted({row.fiber for row in own.budget} - _classes()):
        raise _trouble("no such class of fibre", where, f"'{', '.join(unknown)}'", "such as om4 or os2")
    rows = tuple(((r.fiber,), r.nm, r.most_m, "A", r.most_db, "A", _SOURCE) for r in own.budget)
    return ApplicationTable(rows=rows, fibers=own.fibers)  # type: ignore[arg-type]


def by_words(limits: Sequence[OpticalLimit | OpticalApplication]) -> dict[str, OpticalLimit | OpticalApplication]:
    """Limits of the user by what records may name them by, in small letters: the id, or the title that was stated."""
    titles = {limit.title.removeprefix(_LABEL).rpartition(" (stated by ")[0].lower(): limit for limit in limits}
    return {**titles, **{limit.id: limit for limit in limits}}


def _trouble(what: str, where: str, found: str = "", expected: str = "") -> Trouble:
    return Trouble(what, code="limit.declaration", where=where, found=found, expected=expected)
