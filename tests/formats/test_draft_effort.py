"""What drafting takes grows with the number of rows, and not with its square: a file that is no table ends, too."""

from __future__ import annotations

from typing import Any

import pytest

from archive.formats.draft import heading, rectangles
from archive.formats.draft.rows import items


def _looks(rows: list[list[Any]], monkeypatch: pytest.MonkeyPatch) -> int:
    """How often a row is looked at while the tables in some rows are looked for."""
    looked = 0
    filled = rectangles.filled

    def counting(row: list[Any]) -> list[int]:
        nonlocal looked
        looked += 1
        return filled(row)

    with monkeypatch.context() as patch:
        patch.setattr(rectangles, "filled", counting)
        assert all(item.body is None for item in items(rows, False))
    return looked


@pytest.mark.parametrize(
    "row", [["the same", "two words"], ["", "---"], ["a:", "b", "c"]], ids=["words", "lines", "names"]
)
def test_rows_without_headings(row: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """As of a text that is read in an encoding that it does not have: thousands of rows of one width, and no table."""
    some, twice = (_looks([list(row) for _ in range(n)], monkeypatch) for n in (2_000, 4_000))
    assert twice < 3 * some


def test_a_table_below_many_names_and_values_is_found() -> None:
    """The bound leaves room for far more labels than any report has."""
    labels = [[f"Name {n}:", "x", "", ""] for n in range(400)]
    table = [["MHz", "12", "36", "45"], *([f"{f}.5", "40.1", "41.2", "42.3"] for f in range(1, 40))]
    found = [item.body for item in items(labels + table, False) if item.body is not None]
    assert [(b.head, b.stop) for b in found] == [(400, 440)]


def test_a_cell_that_holds_a_whole_file_is_no_heading() -> None:
    assert not heading.read("NEXT 12 (dB) " * 50_000).says
    assert heading.read("NEXT 12 (dB)").says
