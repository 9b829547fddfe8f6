"""Ids that follow from content: equal rows have equal ids, whoever makes them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from archive.tables.arrow import Reals
from archive.tables.definition import tables
from archive.tables.lexical import number, numbers


def axis_id(kind: str, values: Sequence[float] | Reals) -> str:
    """SHA-256 of an axis. kind: "frequencies_mhz" or "distances_km"; values: numbers in MHz or km."""
    text = " ".join(numbers(values).to_pylist())
    return hashlib.sha256(f"{kind}:{text}".encode()).hexdigest()


def axis_row(values: Sequence[float] | Reals, kind: str = "frequencies_mhz") -> dict[str, Any]:
    """A row of axes. values: strictly rising, MHz (or km for kind "distances_km")."""
    return {"axis_id": axis_id(kind, values), kind: [float(v) for v in values]}


def row_id(prefix: str, *values: object) -> str:
    """prefix, a hyphen and 32 hexadecimal digits of the SHA-256 of the values as compact JSON.

    Real numbers are in their lexical form, so that the id does not depend on how Python prints them.
    """
    plain = [number(v) if isinstance(v, float) else v for v in values]
    text = json.dumps(plain, ensure_ascii=False, separators=(",", ":"))
    return f"{prefix}-{hashlib.sha256(text.encode()).hexdigest()[:32]}"


_PREFIX = {"places": "pl", "links": "ln", "instruments": "in", "schedule": "sc"}


def with_id(table: str, row: Mapping[str, Any]) -> dict[str, Any]:
    """The row of places, links, instruments or schedule with its id, made from its other columns.

    A link's id follows from job and label alone, so that its other facts can be corrected.
    """
    definition = tables()[table]
    names = [c.name for c in definition.columns if c.name != definition.key]
    if table == "links":
        names = ["job_id", "label"]
    values = [row.get(n) for n in names]
    return {**row, definition.key: row_id(_PREFIX[table], *values)}


def person_key(salt: str, name: str) -> str:
    """Key of a person: pe- and 32 hexadecimal digits of the SHA-256 of salt, line feed, name."""
    return "pe-" + hashlib.sha256(f"{salt}\n{name}".encode()).hexdigest()[:32]
