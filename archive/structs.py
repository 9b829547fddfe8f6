"""Declared tables (TOML, JSON) as typed structures, with what does not fit told in one line.

One table at a time: msgspec reports the first thing that does not fit and hides the keys of a table of tables, so the
caller walks those and names the key in `where`.
"""

from __future__ import annotations

import re
from typing import TypeVar

import msgspec

from archive.errors import Trouble

Struct = TypeVar("Struct")

_UNKNOWN = re.compile(r"Object contains unknown field `(.+)`")
_MISSING = re.compile(r"Object missing required field `(.+)`")
_TYPE = re.compile(r"Expected `(.+?)`, got `(.+?)`")
_PLACE = re.compile(r"^(.*?)(?: - at `\$?\.?(.*)`)?$", re.DOTALL)
_NAMES = {
    "str": "text",
    "int": "a whole number",
    "float": "a number",
    "bool": "true or false",
    "array": "a list",
    "object": "a table",
    "null": "nothing",
    "datetime": "a date with a time",
    "date": "a date",
}


def convert(table: object, kind: type[Struct], where: str, *, code: str, remedy: str = "") -> Struct:
    """A table of a declared file as a structure of the given kind; nothing is coerced.

    where: the file and the table in it, as a person would look for it. code: of the Trouble.
    Errors: Trouble that names the key, what was found and what was expected.
    """
    try:
        return msgspec.convert(table, kind)
    except msgspec.ValidationError as error:
        raise _trouble(str(error), where, code, remedy) from None


def _trouble(text: str, where: str, code: str, remedy: str) -> Trouble:
    whole = _PLACE.match(text)
    assert whole is not None
    what, key = whole.group(1), whole.group(2) or ""
    place = f"{where}, {key}" if key else where
    if unknown := _UNKNOWN.match(what):
        return Trouble("a key that nothing reads", code=code, where=place, found=unknown.group(1), remedy=remedy)
    if missing := _MISSING.match(what):
        return Trouble("a key is missing", code=code, where=place, expected=missing.group(1), remedy=remedy)
    if wrong := _TYPE.match(what):
        expected, found = (_named(kind) for kind in wrong.groups())
        return Trouble("a value of another kind", code=code, where=place, found=found, expected=expected, remedy=remedy)
    return Trouble(what[:1].lower() + what[1:], code=code, where=place, remedy=remedy)


def _named(kinds: str) -> str:
    return " or ".join(_NAMES.get(kind.strip(), kind.strip()) for kind in kinds.split("|"))
