"""What does not fit a declared table is told with its place, what was found and what was expected."""

from __future__ import annotations

import msgspec
import pytest

from archive.errors import Trouble
from archive.structs import convert


class _Shelf(msgspec.Struct, forbid_unknown_fields=True):
    name: str
    width: float
    slots: list[int] = []


def test_a_table_that_fits() -> None:
    assert convert({"name": "a", "width": 2, "slots": [1]}, _Shelf, "f.toml", code="x") == _Shelf("a", 2.0, [1])


@pytest.mark.parametrize(
    ("table", "line"),
    [
        ({"name": "a", "width": "2"}, "f.toml, width: a value of another kind; found text; expected a number"),
        (
            {"name": "a", "width": True},
            "f.toml, width: a value of another kind; found true or false; expected a number",
        ),
        ({"name": "a"}, "f.toml: a key is missing; expected width"),
        ({"name": "a", "width": 1, "wide": 2}, "f.toml: a key that nothing reads; found wide"),
        (
            {"name": "a", "width": 1, "slots": [1, "2"]},
            "f.toml, slots[1]: a value of another kind; found text; expected a whole number",
        ),
    ],
)
def test_what_does_not_fit(table: object, line: str) -> None:
    with pytest.raises(Trouble) as raised:
        convert(table, _Shelf, "f.toml", code="x")
    assert str(raised.value) == line
    assert raised.value.code == "x"
