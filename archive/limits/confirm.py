"""Confirmations: a person who owns a standard confirms lines of the library, replaces or supplies them.

A file of one:

    limit = "tia-568.2-d/cat6a/permanent-link"
    by = "who read the standard"
    on = 2026-11-20
    document = "ANSI/TIA-568.2-D (2018), and the numbers of its tables"
    confirms = ["insertion_loss", "return_loss"]      # these are in the standard as the library has them

    [lines.ps_next]                                   # this one is not: as the standard has it
    pieces = [{ to = 300, formula = "..." }, { to = 500, formula = "..." }]

Confirmations are kept in the user's data folder, numbered; a later one lies over an earlier one.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import platformdirs

from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.limits import editions
from archive.limits.build import build, check_numbers
from archive.limits.editions import Declaration
from archive.limits.file_tables import ConfirmationFile
from archive.limits.own import stated_by_user
from archive.structs import convert, read_toml


def folder(limit_id: str) -> Path:
    """Where the confirmations of a limit are kept."""
    return Path(platformdirs.user_data_path("muniment", appauthor=False)) / "limits" / limit_id


def stored(limit_id: str) -> tuple[Path, ...]:
    """The confirmations of a limit, oldest first."""
    found = [p for p in folder(limit_id).glob("*.toml") if p.stem.isdigit()]
    return tuple(sorted(found, key=lambda p: int(p.stem)))


def applied(limit_id: str, table: Declaration, paths: tuple[Path, ...]) -> Declaration:
    """A limit's declaration with confirmations laid over it, in their order. Errors: Trouble in one of them."""
    for path in paths:
        table = _applied(limit_id, table, read_toml(path, code="limit.file"), str(path))
    return table


def confirm(limit_id: str, path: Path) -> Path:
    """Checks a confirmation and keeps it; returns where. Errors: Trouble; nothing is kept then."""
    return keep(limit_id, read_toml(path, code="limit.file"), path.read_bytes(), str(path))


def keep(limit_id: str, confirmation: Declaration, content: bytes, where: str) -> Path:
    """The same for a confirmation at hand. content: the bytes to keep. where: for messages."""
    found = editions.declaration(limit_id)
    if found is None:
        raise _trouble("no such limit", found=f"'{limit_id}'", remedy="see `muniment limits list`")
    before = stored(limit_id)
    table = _applied(limit_id, applied(limit_id, found[1], before), confirmation, where)
    check_numbers(build(limit_id, "", table, where=where), where)
    if any(hashlib.sha256(p.read_bytes()).digest() == hashlib.sha256(content).digest() for p in before):
        raise Trouble("this confirmation is kept already", code="limit.kept-already", where=where)
    place = folder(limit_id)
    place.mkdir(parents=True, exist_ok=True)
    taken = [int(number) for p in place.iterdir() if (number := p.name.partition(".toml")[0]).isdigit()]
    target = place / f"{max(taken, default=0) + 1}.toml"
    write_bytes(target, content)
    return target


def withdraw(limit_id: str) -> tuple[Path, ...]:
    """Takes back every confirmation of a limit; the files stay, under another name. Returns them."""
    return tuple(path.rename(path.with_name(f"{path.name}.withdrawn")) for path in stored(limit_id))


def _applied(limit_id: str, table: Declaration, confirmation: Declaration, where: str) -> Declaration:
    stated = stated_by_user(confirmation)
    file = convert(stated, ConfirmationFile, where, code="limit.declaration")
    if file.limit.strip() != limit_id:
        raise _trouble("this file confirms another limit", where, f"'{file.limit.strip()}'", f"'{limit_id}'")
    by = f"by {file.by.strip()} on {file.on} from {file.document.strip()}"
    table = _confirmed(table, file.confirms, by, where)
    new = {part: {name: {**row, "confirmed": by} for name, row in stated.get(part, {}).items()} for part in _PARTS}
    for part in _PARTS:
        for name, row in new[part].items():
            _keep(row, table.get(part, {}).get(name, {}))
    supplied = sorted({*file.lines, *file.scalars})
    done = [
        f"{', '.join(names)} {what}" for names, what in ((file.confirms, "confirmed"), (supplied, "supplied")) if names
    ]
    if not done:
        raise _trouble("this file confirms nothing", where, expected="confirms, lines or scalars")
    extra = {key: stated[key] for key in ("range_mhz", "connections") if key in stated}
    terms = {**table.get("terms", {}), **stated.get("terms", {})}
    confirmations = [*table.get("confirmations", []), f"{' and '.join(done)} {by}"]
    return editions.overlay(table, {**new, **extra, "terms": terms, "confirmations": confirmations})


_PARTS = ("lines", "scalars")


def _keep(row: Declaration, former: Declaration) -> None:
    """What a supplied line does not state stays: whether a pass needs it, and which points are informational."""
    for key in ("role", "informational"):
        if key in former:
            row.setdefault(key, former[key])


_BOUNDS = ("cap", "floor", "informational")


def _confirmed(table: Declaration, names: list[str], by: str, where: str) -> Declaration:
    """A copy in which what was confirmed has the confidence A and the name of the person.

    names: parameters, or parts of them: next.formula, next.cap, length.number.
    """
    known = {name: 0 for part in _PARTS for row in table.get(part, {}) for name in _names(row, table[part][row], part)}
    for name in names:
        if name not in known:
            raise _trouble("there is nothing to confirm", where, f"'{name}'", ", ".join(known) or "lines")
    changed = {
        part: {name: _surely(name, row, part, names, by) for name, row in table.get(part, {}).items()}
        for part in _PARTS
    }
    return {**table, **changed}


def _names(parameter: str, row: Declaration, part: str) -> list[str]:
    """What can be confirmed of a line or a number: the whole, and its parts."""
    inner = ["formula", *(key for key in _BOUNDS if key in row)] if part == "lines" else ["number"]
    return [parameter, *(f"{parameter}.{key}" for key in inner)]


def _surely(parameter: str, row: Declaration, part: str, names: list[str], by: str) -> Declaration:
    """A line or a number, with the confidence A in the parts that are named."""
    sure = editions.with_confidences(row, lambda *_: "A")
    if parameter in names:
        return {**sure, "confirmed": by}
    if not any(name in names for name in _names(parameter, row, part)):
        return row
    body = f"{parameter}.{'formula' if part == 'lines' else 'number'}" in names
    chosen = {key: f"{parameter}.{key}" in names if key in _BOUNDS else body for key in row}
    return {**{key: sure[key] if chosen[key] else value for key, value in row.items()}, "confirmed": by}


def _trouble(what: str, where: str = "", found: str = "", expected: str = "", remedy: str = "") -> Trouble:
    return Trouble(what, code="limit.confirmation", where=where, found=found, expected=expected, remedy=remedy)
