"""What does not fit a declared table is told with its place, what was found and what was expected."""

from __future__ import annotations

import datetime
import math
from typing import Literal

import msgspec
import pytest

from archive.errors import Trouble
from archive.structs import Number, Positive, Text, convert


class _Shelf(msgspec.Struct, forbid_unknown_fields=True):
    name: str
    width: float
    slots: list[int] = []


class _Box(msgspec.Struct, forbid_unknown_fields=True):
    weight: Number
    height: Positive = 1.0
    colour: Literal["red", "blue"] = "red"
    label: Text = "x"
    on: datetime.date | None = None


class _Room(msgspec.Struct, forbid_unknown_fields=True):
    shelves: dict[str, dict[str, _Box | list[_Box]]]


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
        ({"name": "a", "width": 1, "wide": 2}, "f.toml: a key that nothing reads; found wide; expected width"),
        (
            {"name": "a", "width": 1, "zzz": 2},
            "f.toml: a key that nothing reads; found zzz; expected one of name, width, slots",
        ),
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


@pytest.mark.parametrize(
    ("box", "line"),
    [
        ({"weight": "1"}, ".weight: a value of another kind; found text; expected a number"),
        ({"weight": math.nan}, ".weight: a value out of range; found nan; expected a finite number"),
        ({"weight": math.inf}, ".weight: a value out of range; found inf; expected a finite number"),
        ({"weight": 1, "height": 0}, ".height: a value out of range; found 0; expected more than 0.0"),
        ({"weight": 1, "colour": "green"}, ".colour: no such word; found 'green'; expected blue, red"),
        ({"weight": 1, "label": " "}, ".label: a text is missing; found nothing; expected text"),
        ({}, ": a key is missing; expected weight"),
        (3, ": a value of another kind; found a whole number; expected a table or a list"),
    ],
)
def test_the_key_of_a_table_of_tables_is_named(box: object, line: str) -> None:
    """msgspec says `shelves[...][...]` for these; neighbours that fit, and others that do not, stand beside."""
    good = {"weight": 1}
    table = {"shelves": {"first": {"a": good}, "a/b": {"left": good, "right": box}}}
    with pytest.raises(Trouble) as raised:
        convert(table, _Room, "f.toml", code="x")
    assert str(raised.value) == f'f.toml, shelves."a/b".right{line}'


def test_a_list_within_tables_of_tables() -> None:
    with pytest.raises(Trouble) as raised:
        convert({"shelves": {"a": {"b": [{"weight": 1}, {"weight": 1, "colour": "green"}]}}}, _Room, "f", code="x")
    assert str(raised.value) == "f, shelves.a.b[1].colour: no such word; found 'green'; expected blue, red"


def test_a_date_may_be_in_quotes_and_is_a_date_then() -> None:
    day = datetime.date(2026, 11, 20)
    for written in (day, "2026-11-20"):
        assert convert({"weight": 1, "on": written}, _Box, "f.toml", code="x").on == day
    for wrong in ("last week", "20.11.2026", datetime.datetime(2026, 11, 20, 9)):
        with pytest.raises(
            Trouble, match=r"^f\.toml, on: (this is not a date|a value of another kind); found .* expected a date"
        ):
            convert({"weight": 1, "on": wrong}, _Box, "f.toml", code="x")
