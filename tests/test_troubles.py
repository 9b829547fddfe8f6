"""Every kind of trouble has a stable code, listed in schemas/troubles/ by room, and none is listed idly."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import pytest

from archive import schemas

HOUSE = Path(__file__).resolve().parent.parent / "archive"
LISTED = {
    file.stem: tomllib.loads(file.read_text("utf-8")) for file in sorted((schemas.root() / "troubles").glob("*.toml"))
}


def _room(file: Path) -> str:
    """The room of a module; the mappings of formats have a list of their own."""
    parts = file.relative_to(HOUSE).parts
    if parts[:2] == ("formats", "mapping"):
        return "mapping"
    return parts[0] if len(parts) > 1 else "foot"


def _codes(room: str) -> list[tuple[str, str | None]]:
    """(place, code) of each Trouble, and of whatever else is given a code; None where a Trouble has none."""
    found: list[tuple[str, str | None]] = []
    for file in sorted(HOUSE.rglob("*.py")):
        if _room(file) != room:
            continue
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            given = next((k.value for k in node.keywords if k.arg == "code"), None)
            place = f"{file.relative_to(HOUSE)}:{node.lineno}"
            if isinstance(given, ast.Constant) and isinstance(given.value, str):
                found.append((place, given.value))
            elif given is None and isinstance(node.func, ast.Name) and node.func.id == "Trouble":
                found.append((place, None))
    return found


@pytest.mark.parametrize("room", sorted(LISTED))
def test_each_trouble_has_a_code_that_is_listed(room: str) -> None:
    given = _codes(room)
    assert given, "a room with a list raises something"
    assert [place for place, code in given if code is None] == []
    assert {code for _, code in given} == set(LISTED[room])


def test_a_code_stands_once_and_has_a_meaning() -> None:
    codes = [code for listed in LISTED.values() for code in listed]
    assert len(codes) == len(set(codes))
    assert all(entry["meaning"] for listed in LISTED.values() for entry in listed.values())
