"""The keys of a port map: which there are, of which kind, and what each may hold."""

from __future__ import annotations

import datetime
import difflib
import math
from collections.abc import Mapping
from typing import Any

from archive import vocabulary
from archive.errors import Trouble

_TEXTS = (
    "link",
    "job",
    "tested_by",
    "organisation",
    "zone",
    "limit",
    "cable",
    "cable_type",
    "sequence",
    "comment",
)
_REALS = {"length_m": (0.0, 1e5), "velocity_percent": (0.0, 100.0), "reference_ohm": (0.0, 1e6)}
_TABLES: dict[str, tuple[str, ...]] = {
    "instrument": (
        "maker",
        "model",
        "serial",
        "unit",
        "software",
        "calibrated_on",
        "calibration_due",
        "accuracy_level",
        "adapter",
    ),
    "local": ("site", "building", "floor", "space", "panel", "port"),
    "remote": ("site", "building", "floor", "space", "panel", "port"),
}
_OTHERS = ("tested", "configuration", "connections", "ignore_ports", "pairs", "ends", "instrument", "notes")
KEYS = (*_TEXTS, *_REALS, *_OTHERS)
"""Every key that a map may have."""


def checked(facts: Mapping[str, Any], where: str) -> dict[str, Any]:
    """The facts of a map, each of the kind it must be; what is not said is left out.

    Errors: Trouble for an unknown key or a value that cannot be.
    """
    out: dict[str, Any] = {}
    for key, value in facts.items():
        if key not in KEYS:
            near = difflib.get_close_matches(key, KEYS, n=1)
            raise Trouble(
                "the port map has a key that is not known",
                where=where,
                found=key,
                expected=near[0] if near else "a key of schemas/port-map.md",
                remedy="put facts that have no key of their own under [notes]",
            )
        out[key] = _value(key, value, where)
    return out


def _value(key: str, value: Any, where: str) -> Any:
    here = f"{where} {key}"
    if key in _TEXTS:
        return _text(value, here)
    if key in _REALS:
        low, high = _REALS[key]
        real = type(value) in (int, float)
        if not real or not math.isfinite(value) or not low < value <= high:
            raise Trouble("a number that cannot be", where=here, found=repr(value), expected=f"above 0, to {high:g}")
        return float(value)
    if key == "tested":
        if isinstance(value, str | datetime.date | datetime.datetime):
            return value
        raise Trouble("no date", where=here, found=repr(value), expected="for example 2019-06-05T16:55:11")
    if key == "configuration":
        words = vocabulary.words("configuration")
        if value not in words:
            raise Trouble("not a configuration", where=here, found=repr(value), expected=", ".join(sorted(words)))
        return value
    if key == "connections":
        if type(value) is not int or not 0 <= value <= 100:
            raise Trouble("not a number of connections", where=here, found=repr(value), expected="0 to 100")
        return value
    if key == "ignore_ports":
        if not isinstance(value, list) or not all(type(p) is int for p in value):
            raise Trouble("not a list of ports", where=here, found=repr(value), expected="for example [5, 6]")
        return value
    if not isinstance(value, dict):
        raise Trouble("this must be a table", where=here, found=repr(value), expected=f"[{key}]")
    if key == "ends":
        return {end: _table(end, _named(end, value[end], ("local", "remote"), here), here) for end in value}
    if key == "instrument":
        return _table("instrument", value, here)
    return value


def _named(name: str, value: Any, names: tuple[str, ...], where: str) -> Mapping[str, Any]:
    if name not in names or not isinstance(value, dict):
        raise Trouble("not an end", where=where, found=name, expected="[ends.local] and [ends.remote]")
    return value


def _table(name: str, value: Mapping[str, Any], where: str) -> dict[str, str]:
    unknown = [key for key in value if key not in _TABLES[name]]
    if unknown:
        raise Trouble("not a key here", where=where, found=unknown[0], expected=", ".join(_TABLES[name]))
    return {key: _text(cell, f"{where}.{key}") for key, cell in value.items()}


def _text(value: Any, where: str) -> str:
    """A text; a date or a whole number that TOML gives as such is taken in its plain form."""
    if isinstance(value, str):
        return value
    if isinstance(value, datetime.date) or type(value) is int:
        return str(value)
    raise Trouble("this must be a text", where=where, found=repr(value), expected='for example "A117"')
