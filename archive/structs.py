"""Declared tables (TOML, JSON) as typed structures, with what does not fit told in one line.

msgspec reports the first thing that does not fit and hides the keys of a table of tables; here they are named.
"""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from pathlib import Path
from typing import Annotated, Any, TypeVar

import msgspec

from archive import schemas
from archive.errors import Trouble

Struct = TypeVar("Struct")
Step = str | int

_LARGEST = 1e12
Number = Annotated[float, msgspec.Meta(ge=-_LARGEST, le=_LARGEST)]
"""A finite number: TOML has nan and inf, and msgspec lets them pass as plain floats."""
Positive = Annotated[float, msgspec.Meta(gt=0, le=_LARGEST)]
"""A finite number above 0."""
Text = Annotated[str, msgspec.Meta(pattern=r"\S")]
"""A text that is not blank."""

_UNKNOWN = re.compile(r"Object contains unknown field `(.+)`")
_MISSING = re.compile(r"Object missing required field `(.+)`")
_TYPE = re.compile(r"Expected `(.+?)`, got `(.+?)`")
_BOUND = re.compile(r"Expected `.+` ([<>]=?) (.+)")
_WORD = re.compile(r"Invalid enum value (.+)")
_BLANK = r"Expected `str` matching regex '\\S'"
_PLACE = re.compile(r"^(.*?)(?: - at `\$(.*)`)?$", re.DOTALL)
_STEP = re.compile(r"\.([^.\[\]]+)|\[(\d+|\.\.\.)\]")
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
    """A table of a declared file as a structure of the given kind; nothing is coerced, but a date may be in quotes.

    where: the file and the table in it, as a person would look for it. code: of the Trouble.
    Errors: Trouble that names the key, what was found and what was expected.
    """
    try:
        return msgspec.convert(table, kind)
    except msgspec.ValidationError as error:
        whole = _PLACE.match(str(error))
        assert whole is not None
        steps = _steps(whole.group(2) or "", table, kind, str(error))
        place = ", ".join(filter(None, (where, _dotted(steps))))
        what, found, expected = _plain(whole.group(1), table, kind, steps)
    raise Trouble(what, code=code, where=place, found=found, expected=expected, remedy=remedy)


def _plain(text: str, table: object, kind: object, steps: list[Step]) -> tuple[str, str, str]:
    """What msgspec reports: what is wrong, what was found, what was expected."""
    if unknown := _UNKNOWN.match(text):
        keys = [key for part in _parts(kind, steps) for key in part.get("properties", ())]
        near = difflib.get_close_matches(unknown.group(1), keys, n=1)
        return "a key that nothing reads", unknown.group(1), near[0] if near else _some_of(keys)
    if missing := _MISSING.match(text):
        return "a key is missing", "", missing.group(1)
    if wrong := _TYPE.match(text):
        expected, found = (_named(kinds) for kinds in wrong.groups())
        return "a value of another kind", found, expected
    if bound := _BOUND.match(text):
        words = {">=": "at least", "<=": "at most", ">": "more than", "<": "less than"}
        finite = abs(float(bound.group(2))) == _LARGEST
        expected = "a finite number" if finite else f"{words[bound.group(1)]} {bound.group(2)}"
        return "a value out of range", f"{_at(table, steps)}", expected
    if word := _WORD.match(text):
        return "no such word", word.group(1), ", ".join(_words(kind, steps))
    if text == "Invalid RFC3339 encoded date":
        return "this is not a date", f"'{_at(table, steps)}'", "a date such as 2026-11-20"
    if text == _BLANK:
        return "a text is missing", "nothing", "text"
    return text[:1].lower() + text[1:], "", ""


_MOST_KEYS = 12
"""More keys than this are not listed to a person."""


def _some_of(keys: list[str]) -> str:
    """The keys that are read, as far as a line holds them."""
    return "one of " + ", ".join(keys) if 1 < len(keys) <= _MOST_KEYS else ", ".join(keys[:1] * (len(keys) == 1))


def _named(kinds: str) -> str:
    return " or ".join(_NAMES.get(kind.strip(), kind.strip()) for kind in kinds.split("|"))


def _steps(path: str, table: object, kind: object, text: str) -> list[Step]:
    """The way to what does not fit, with the hidden key of a table of tables: the one that fails by itself."""
    steps: list[Step] = []
    for name, place in _STEP.findall(path):
        if place == "...":
            entries = _at(table, steps)
            steps.append(next(key for key in entries if _fails(_only(table, steps, key), kind, text)))
        else:
            steps.append(int(place) if place else name)
    return steps


def _at(table: Any, steps: list[Step]) -> Any:
    for step in steps:
        table = table[step]
    return table


def _only(table: Any, steps: list[Step], key: Step) -> Any:
    """A copy in which the table at the end of some steps has one key alone."""
    if not steps:
        return {key: table[key]}
    copy = table.copy()
    copy[steps[0]] = _only(table[steps[0]], steps[1:], key)
    return copy


def _fails(table: object, kind: object, text: str) -> bool:
    try:
        msgspec.convert(table, kind)
    except msgspec.ValidationError as error:
        return str(error) == text
    return False


def _dotted(steps: list[Step]) -> str:
    """Steps as TOML writes them: lines.next.pieces[1], limits."cat6/channel".note."""
    parts = [f"[{s}]" if isinstance(s, int) else f".{s}" if re.fullmatch(r"[\w-]+", s) else f'."{s}"' for s in steps]
    return "".join(parts).removeprefix(".")


def _words(kind: object, steps: list[Step]) -> list[str]:
    """The words that fit where some steps lead."""
    return [str(word) for part in _parts(kind, steps) for word in part.get("enum", ())]


def _parts(kind: object, steps: list[Step]) -> list[dict[str, Any]]:
    """What the JSON schema of a kind says of the place where some steps lead; several where it allows several."""
    whole = msgspec.json.schema(kind)
    ways = [whole]
    for step in steps:
        ways = [way for each in ways for way in _into(_alternatives(each, whole), step)]
    return [way for each in ways for way in _alternatives(each, whole)]


def _alternatives(part: dict[str, Any], whole: dict[str, Any]) -> list[dict[str, Any]]:
    if "$ref" in part:
        part = whole["$defs"][part["$ref"].rpartition("/")[2]]
    return [way for each in part["anyOf"] for way in _alternatives(each, whole)] if "anyOf" in part else [part]


def _into(parts: list[dict[str, Any]], step: Step) -> list[dict[str, Any]]:
    """What schemas say of one key, or of one place of a list."""
    if isinstance(step, int):
        return [part["items"] for part in parts if "items" in part]
    found = [part.get("properties", {}).get(step, part.get("additionalProperties")) for part in parts]
    return [part for part in found if isinstance(part, dict)]


def read_toml(path: Path, *, code: str) -> dict[str, Any]:
    """A TOML file of a user's. code: of the Trouble. Errors: Trouble where it is no file, no UTF-8 text or no TOML."""
    where, found = str(path), ""
    try:
        return schemas.toml(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        what = "there is no such file"
    except IsADirectoryError:
        what = "this is a folder, not a file"
    except UnicodeDecodeError as error:
        what, found = "this file is not UTF-8 text", f"byte {error.start}"
    except tomllib.TOMLDecodeError as error:
        what, found = "this is not TOML", str(error)
    raise Trouble(what, code=code, where=where, found=found)


def json_schema(kind: type, title: str) -> str:
    """The JSON Schema 2020-12 of a declared file, for editors, as text."""
    whole = msgspec.json.schema(kind)
    return (
        json.dumps({"$schema": "https://json-schema.org/draft/2020-12/schema", "title": title, **whole}, indent=1)
        + "\n"
    )
