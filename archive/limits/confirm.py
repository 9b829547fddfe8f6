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
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.limits import checks, declared
from archive.limits.build import build
from archive.limits.files import filled, read, text_of, working

_KEYS = frozenset({"limit", "by", "on", "document", "confirms", "lines", "scalars", "terms", "range_mhz", "note"})
_KEYS |= {"connections"}


def folder(limit_id: str) -> Path:
    """Where the confirmations of a limit are kept."""
    import platformdirs

    return Path(platformdirs.user_data_path("muniment", appauthor=False)) / "limits" / limit_id


def stored(limit_id: str) -> tuple[Path, ...]:
    """The confirmations of a limit, oldest first."""
    found = [p for p in folder(limit_id).glob("*.toml") if p.stem.isdigit()]
    return tuple(sorted(found, key=lambda p: int(p.stem)))


def applied(limit_id: str, table: dict[str, Any], paths: tuple[Path, ...]) -> dict[str, Any]:
    """A limit's declaration with confirmations laid over it, in their order. Errors: Trouble in one of them."""
    for path in paths:
        table = _applied(limit_id, table, read(path), str(path))
    return table


def confirm(limit_id: str, path: Path) -> Path:
    """Checks a confirmation and keeps it; returns where. Errors: Trouble; nothing is kept then."""
    found = declared.declaration(limit_id)
    if found is None:
        raise Trouble("no such limit", found=f"'{limit_id}'", remedy="See `muniment limits list`.")
    before = stored(limit_id)
    table = applied(limit_id, found[1], before)
    trial = build(limit_id, "", _applied(limit_id, table, read(path), str(path)), where=str(path))
    working(trial, str(path))
    content = path.read_bytes()
    if any(hashlib.sha256(p.read_bytes()).digest() == hashlib.sha256(content).digest() for p in before):
        raise Trouble("this confirmation is kept already", where=str(path))
    place = folder(limit_id)
    place.mkdir(parents=True, exist_ok=True)
    taken = [int(m.group(1)) for p in place.iterdir() if (m := re.match(r"(\d+)\.toml", p.name))]
    target = place / f"{max(taken, default=0) + 1}.toml"
    write_bytes(target, content)
    return target


def withdraw(limit_id: str) -> tuple[Path, ...]:
    """Takes back every confirmation of a limit; the files stay, under another name. Returns them."""
    return tuple(path.rename(path.with_name(f"{path.name}.withdrawn")) for path in stored(limit_id))


def _applied(limit_id: str, table: dict[str, Any], confirmation: dict[str, Any], where: str) -> dict[str, Any]:
    checks.known(confirmation, _KEYS, where)
    named = text_of(confirmation, "limit", where, f'limit = "{limit_id}"')
    if named != limit_id:
        raise Trouble("this file confirms another limit", where=where, found=f"'{named}'", expected=f"'{limit_id}'")
    by = text_of(confirmation, "by", where, 'by = "who read the standard"')
    on = text_of(confirmation, "on", where, "on = 2026-11-20")
    document = text_of(confirmation, "document", where, 'document = "the standard with its edition, and the tables"')
    if not re.fullmatch(r"\d{4}-\d\d-\d\d", on):
        raise Trouble("on is not a date", where=where, found=f"'{on}'", expected="on = 2026-11-20")
    said = f"by {by} on {on} from {document}"
    checks.shaped(confirmation, where)
    table = declared.at_most(table, "A")
    confirmed = _mark(table, confirmation, said, where)
    new: dict[str, Any] = {}
    for part in ("lines", "scalars"):
        rows = confirmation.get(part, {})
        new[part] = {
            name: {**filled(checks.mapping(row, f"{where}, {name}"), "own"), "confirmed": said}
            for name, row in rows.items()
        }
        for name, row in new[part].items():
            _keep(row, table.get(part, {}).get(name, {}))
    supplied = sorted({*new["lines"], *new["scalars"]})
    if not confirmed and not supplied:
        raise Trouble("this file confirms nothing", where=where, expected="confirms, lines or scalars")
    terms = {**table.get("terms", {}), **confirmation.get("terms", {})}
    extra: dict[str, Any] = {k: confirmation[k] for k in ("range_mhz", "connections") if k in confirmation}
    what = [f"{', '.join(confirmed)} confirmed"] if confirmed else []
    what += [f"{', '.join(supplied)} supplied"] if supplied else []
    told = f"{' and '.join(what)} {said}"
    return declared.overlay(
        table, {**new, **extra, "terms": terms, "confirmations": [*table.get("confirmations", []), told]}
    )


def _keep(row: dict[str, Any], former: Mapping[str, Any]) -> None:
    """What a supplied line does not state stays: whether a pass needs it, and which points are informational."""
    for key in ("role", "informational"):
        if key in former:
            row.setdefault(key, former[key])


def _mark(table: dict[str, Any], confirmation: Mapping[str, Any], said: str, where: str) -> list[str]:
    """Gives the confirmed parts the letter A and the name of the person. Returns their names."""
    names = checks.words(confirmation.get("confirms", []), "confirms", where)
    for name in names:
        parts = [table[part][name] for part in ("lines", "scalars") if name in table.get(part, {})]
        if not parts:
            known = ", ".join({**table.get("lines", {}), **table.get("scalars", {})})
            raise Trouble("there is nothing to confirm", where=where, found=f"'{name}'", expected=known or "lines")
        for part in parts:
            _raise_to_a(part)
            part["confirmed"] = said
    return names


def _raise_to_a(part: Any) -> None:
    if isinstance(part, dict):
        for key, value in part.items():
            if key in ("confidence", "confidence_between"):
                part[key] = "A"
            else:
                _raise_to_a(value)
    elif isinstance(part, list):
        for value in part:
            _raise_to_a(value)
