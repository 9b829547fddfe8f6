"""Ids that follow from content: equal rows have equal ids, whoever makes them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from archive.tables.arrow import Reals
from archive.tables.definition import tables
from archive.tables.lexical import number, numbers


def axis_id(kind: str, values: Sequence[float] | Reals) -> str:
    """SHA-256 of an axis. kind: "frequencies_mhz" or "distances_km"; values: numbers in MHz or km.

    Ids of the axes that were asked about last are kept: records of one instrument mostly share theirs.
    """
    held = np.asarray(values, dtype=np.float64)
    key = (kind, hashlib.sha256(held.tobytes()).digest())
    if key not in _LATEST:
        text = " ".join(numbers(values).to_pylist())
        if len(_LATEST) >= _MOST:
            del _LATEST[next(iter(_LATEST))]
        _LATEST[key] = hashlib.sha256(f"{kind}:{text}".encode()).hexdigest()
    return _LATEST[key]


_MOST = 256
_LATEST: dict[tuple[str, bytes], str] = {}
"""Ids by kind and digest of the numbers as float64, the oldest first."""


def axis_row(values: Sequence[float] | Reals, kind: str = "frequencies_mhz") -> dict[str, Any]:
    """A row of axes. values: strictly rising, MHz (or km for kind "distances_km")."""
    return {"axis_id": axis_id(kind, values), kind: np.asarray(values, dtype=np.float64).tolist()}


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
