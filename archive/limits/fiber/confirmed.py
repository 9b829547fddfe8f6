"""What a person who owns a standard confirms of an optical limit: kept like confirmations of curves, and laid over it.

A file names the limit, who read which document and when, and by part (coefficient-850, connection, end, splice,
directions) true where the standard has what the library has, or the number that it has instead.
"""

from __future__ import annotations

import datetime
import hashlib
import tomllib
from dataclasses import replace
from pathlib import Path

from msgspec import Struct

from archive import schemas
from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.limits import confirm
from archive.limits.fiber.declared import Allowance, Directions
from archive.limits.fiber.link_limit import OpticalLimit
from archive.structs import Text, convert, read_toml

COEFFICIENT = "coefficient-"


class OpticalConfirmationFile(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One confirmation."""

    limit: Text
    by: Text
    on: datetime.date
    document: Text
    note: str = ""
    values: dict[str, bool | float]


def parts(limit: OpticalLimit) -> dict[str, tuple[float | None, str]]:
    """Everything of a limit that can be confirmed: by part, its number (None: open) and letter."""
    found: dict[str, tuple[float | None, str]] = {
        f"{COEFFICIENT}{nm:g}": (db, letter) for nm, (db, letter, _) in limit.coefficients.items()
    }
    for nm in limit.required_nm:
        found.setdefault(f"{COEFFICIENT}{nm:g}", (None, ""))
    for name, part in (("connection", limit.connection), ("end", limit.end), ("splice", limit.splice)):
        found[name] = (part.db, part.confidence) if part else (None, "")
    directions = limit.directions
    found["directions"] = (float(directions.count), directions.confidence) if directions else (None, "")
    return found


def applied(limit: OpticalLimit) -> OpticalLimit:
    """A limit with the confirmations of this user laid over it. Errors: Trouble in one of them."""
    for path in confirm.stored(limit.id):
        limit = _applied(limit, _read(path), str(path))
    return limit


def keep(limit: OpticalLimit, content: bytes, where: Path) -> Path:
    """Checks a confirmation and keeps it; returns where. Errors: Trouble; nothing is kept then."""
    said = convert(_parsed(content, where), OpticalConfirmationFile, str(where), code="limit.file")
    _applied(limit, said, str(where))
    before = confirm.stored(limit.id)
    if any(hashlib.sha256(p.read_bytes()).digest() == hashlib.sha256(content).digest() for p in before):
        raise Trouble("this confirmation is kept already", code="limit.kept-already", where=str(where))
    place = confirm.folder(limit.id)
    place.mkdir(parents=True, exist_ok=True)
    taken = [int(number) for p in place.iterdir() if (number := p.name.partition(".toml")[0]).isdigit()]
    target = place / f"{max(taken, default=0) + 1}.toml"
    write_bytes(target, content)
    return target


def _parsed(content: bytes, where: Path) -> object:
    try:
        return schemas.toml(content.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Trouble("this file is no TOML", code="limit.file", where=str(where), found=str(error)) from None


def _read(path: Path) -> OpticalConfirmationFile:
    return convert(read_toml(path, code="limit.file"), OpticalConfirmationFile, str(path), code="limit.file")


def _applied(limit: OpticalLimit, said: OpticalConfirmationFile, where: str) -> OpticalLimit:
    known = parts(limit)
    if said.limit != limit.id or (unknown := sorted(set(said.values) - set(known))):
        found = said.limit if said.limit != limit.id else ", ".join(unknown)
        raise Trouble("this confirms another limit, or a part that this one does not have", code="limit.file",
                      where=where, found=found, expected=f"{limit.id}: {', '.join(known)}")  # fmt: skip
    who = f"{said.by}, {said.on.isoformat()}: {said.document}"
    joints = {"connection": limit.connection, "end": limit.end, "splice": limit.splice}
    directions = limit.directions
    coefficients = dict(limit.coefficients)
    for name, value in said.values.items():
        number = known[name][0] if value is True else None if value is False else float(value)
        if number is None:
            raise Trouble("there is nothing here to confirm; give the standard's number", code="limit.file",
                          where=f"{where}, {name}")  # fmt: skip
        if name.startswith(COEFFICIENT):
            coefficients[float(name.removeprefix(COEFFICIENT))] = (number, "A", (who,))
        elif name == "directions":
            directions = Directions(count=int(number), confidence="A", sources=(who,))
        else:
            joints[name] = Allowance(db=number, confidence="A", sources=(who,))
    made = replace(
        limit,
        coefficients=coefficients,
        connection=joints["connection"],
        end=joints["end"],
        splice=joints["splice"],
        directions=directions,
        confirmations=(*limit.confirmations, who),
    )
    whole = made.connection and made.end and made.splice and set(made.required_nm) <= set(coefficients)
    return replace(made, closed="") if whole and limit.closed else made
