"""From a declaration to a limit."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from archive import vocabulary
from archive.errors import Trouble
from archive.limits import checks
from archive.limits.limit import Alternative, Limit, Scalar
from archive.limits.pieces import ROLES, Lines

SCALAR_KEYS = frozenset({"value", "confidence", "source", "role", "at_mhz", "tolerance_percent", "greater_of", "per"})
SCALAR_KEYS |= {"clause", "note", "confirmed"}
LIMIT_KEYS = frozenset({"document", "clause", "note", "terms", "range_mhz", "connections", "pairs", "lines", "scalars"})
LIMIT_KEYS |= {"open", "like", "confidence_at_most", "without", "configuration", "also_named", "same_as", "came_from"}
LIMIT_KEYS |= {"confirmations"}
PERS = ("pair", "combination", "ordered", "conductor", "link", "pairset")


def build(
    limit_id: str, title: str, table: Mapping[str, Any], *, where: str, own: bool = False, files: tuple[Path, ...] = ()
) -> Limit:
    """A limit from its declaration.

    where: the file, for messages. Errors: Trouble for anything in the declaration that cannot be understood.
    """
    checks.known(table, LIMIT_KEYS, where)
    checks.shaped(table, where)
    lines = Lines(table, where).all()
    scalars = {name: _scalar(name, part, f"{where}, {name}") for name, part in table.get("scalars", {}).items()}
    if not lines and not scalars and own:
        raise Trouble("a limit without lines", where=where, expected="lines or scalars")
    parts = [*limit_id.split("/"), "", ""]
    connections = table.get("connections")
    return Limit(
        id=limit_id,
        edition=parts[0],
        title=title,
        document=str(table.get("document", title)),
        designation=parts[1],
        configuration=str(table.get("configuration", parts[2])),
        connections=None if connections is None else int(connections),
        lines=lines,
        scalars=scalars,
        established=bool(lines or scalars),
        own=own,
        same_as=str(table.get("same_as", "")),
        clause=str(table.get("clause", "")),
        note=str(table.get("note", "")),
        names={other: here for here, other in table.get("also_named", {}).items() if here in lines},
        open=dict(table.get("open", {})),
        pairs=tuple(checks.one_of(pair, vocabulary.PAIRS, "pair", where) for pair in table.get("pairs", ())),
        confirmations=tuple(table.get("confirmations", ())),
        files=files,
    )


def _scalar(name: str, part: Any, where: str) -> Scalar:
    checks.known(part, SCALAR_KEYS, where)
    checks.one_of(name, tuple(vocabulary.parameters()), "parameter", where)
    term = vocabulary.parameter(name)
    return Scalar(
        parameter=name,
        value=checks.number(part.get("value"), "value", where),
        unit=term.unit,
        sense=term.sense,
        confidence=checks.letter(part.get("confidence"), where),
        sources=checks.sources(part, where),
        role=checks.one_of(part.get("role", "required"), ROLES, "role", where),
        at_mhz=checks.number(part["at_mhz"], "at_mhz", where) if "at_mhz" in part else None,
        tolerance_percent=checks.number(part.get("tolerance_percent", 0.0), "tolerance_percent", where),
        greater_of=_alternative(part.get("greater_of"), f"{where}, greater_of"),
        per=checks.one_of(part.get("per", term.per), PERS, "per", where),
        clause=str(part.get("clause", "")),
        note=str(part.get("note", "")),
        confirmed=str(part.get("confirmed", "")),
    )


def _alternative(part: Any, where: str) -> Alternative | None:
    if part is None:
        return None
    checks.known(part, frozenset(["quantity", "value", "confidence", "source"]), where)
    quantity = checks.one_of(part.get("quantity"), tuple(vocabulary.parameters()), "parameter", where)
    value = checks.number(part.get("value"), "value", where)
    return Alternative(quantity, value, checks.letter(part.get("confidence"), where), checks.sources(part, where))
