"""The ways for whole columns and runs of rows give what the ways for single cells and rows give."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

import archive.formats
from archive.formats.base import numbers
from archive.formats.base.words import empties
from archive.formats.mapping import record_rows, together
from archive.formats.mapping.build.cell_arrays import bulk, numbers_in
from archive.formats.mapping.build.table_parts import _taken
from archive.formats.mapping.load import loads
from archive.formats.mapping.model import Mapping, SourceField
from archive.formats.mapping.rows.cutter import Cutter
from archive.formats.mapping.target import parse
from archive.tables.canonical import record_digests
from tests.endurance import exports

_TOKENS = st.one_of(
    st.decimals(-200, 200, places=1).map(str),
    st.sampled_from(["-", "", ">70", "nan", "inf", "1e5", "+3", "4.", ".5", "1 dB", "x", "1e999", "\u0663", "1_0"]),
)


@given(st.lists(st.lists(_TOKENS, max_size=6), max_size=5), st.sampled_from(["", ";", " "]), st.booleans())
def test_a_column_of_lists_reads_as_its_cells_do(cells: list[list[str]], separator: str, comma: bool) -> None:
    writing = numbers.writing("," if comma else ".", "", empties())
    field = SourceField("x", parse("sweeps.next[local,1-2/3-6]"), separator=separator)
    texts = [(separator or " ").join(c).replace(".", "," if comma else ".") for c in cells]
    found = bulk(pa.array(texts, type=pa.string()), field, writing)
    if found is None:
        return
    for i, text in enumerate(texts):
        values, bound = numbers_in(text, field, writing)
        assert np.array_equal(found.of(i), values, equal_nan=True), text
        assert not bound.any()


def test_plain_numbers_are_read_as_a_column() -> None:
    """The way for columns is taken where it can be, and not for bounds or words."""
    field, writing = SourceField("x", parse("sweeps.next[local,1-2/3-6]")), numbers.writing(".", "", empties())
    assert bulk(pa.array(["1.5 2.5", " 3  4 "]), field, writing) is not None
    for cell in ("1.5 >70", "1.5 - 2", "nan 1", "1e999 1"):
        assert bulk(pa.array([cell]), field, writing) is None, cell


@given(
    st.lists(st.lists(st.one_of(st.none(), st.integers(0, 9)), min_size=2, max_size=3), min_size=1, max_size=6),
    st.randoms(),
)
def test_rows_of_curves_are_moved_as_arrow_moves_them(curves: list[list[int | None]], chance: Any) -> None:
    parts = [
        pa.table({"name": [f"c{i}"], "values": pa.array([c], pa.list_(pa.float64()))}) for i, c in enumerate(curves)
    ]
    table = pa.concat_tables(parts)
    order = list(range(len(curves)))
    chance.shuffle(order)
    some = np.array(order[: max(1, len(order) - 1)], dtype=np.int64)
    assert _taken(table, some).to_pylist() == table.take(pa.array(some)).to_pylist()


_CELLS = st.one_of(
    st.none(),
    st.sampled_from(["Link", "MHz", "Curves", "Site:", "Total", "A-1", " ", "", "Link ", "12", "Note: x", "link"]),
    st.sampled_from([12.0, 36.0, 1.5, 0.0, 1.0, True, False, 12]),
)
_MAPPING = """
[mapping]
layout = "tried"
language = 1
[[file]]
name = "1"
kind = "workbook"
skip = ['^Total\\b']
[[file.table]]
name = "labels"
rows = "labels"
fields = [ { from = "Note", to = "records.comment" } ]
[[file.table]]
name = "points"
rows = "points"
title = "Curves"
fields = [
  { from = "Link", to = "records.link_label" },
  { from = "MHz", to = "row.frequency" },
  { from = "12", to = "sweeps.insertion_loss[1-2]" },
  { from = "36", to = "sweeps.insertion_loss[3-6]" },
]
"""


@given(st.lists(st.lists(_CELLS, min_size=4, max_size=4), max_size=14), st.booleans(), st.booleans())
def test_runs_of_rows_are_cut_as_single_rows_are(rows: list[list[Any]], skip: bool, title: bool) -> None:
    text = _MAPPING if skip else _MAPPING.replace("skip", "#")
    mapping = loads((text if title else text.replace("title", "#")).encode())
    listed = [["Link", "MHz", "12", "36"], ["A-1", 1.0, 2.0, 2.5], *rows, ["A-1", 1.5, 2.0, 2.5]]
    assert _cut(mapping, listed, quick=True) == _cut(mapping, listed, quick=False)


def _cut(mapping: Mapping, rows: list[list[Any]], quick: bool) -> Any:
    cutter = Cutter(mapping.files[0], lambda row: row, "Sheet", "row")
    if not quick:
        cutter._plainly = lambda cells: False  # type: ignore[method-assign]
        cutter._quick = False
    found = cutter.cut(rows, 1)
    return found.labels, [(s.table.name, s.names, s.rows, s.at) for s in found.sections], found.ignored


@pytest.mark.parametrize("make", [exports.one_file, exports.two_files])
def test_what_is_streamed_is_what_is_held(make: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Large files are not held in memory, but read along; the records are the same."""
    path, mapping, _ = make(tmp_path, 17)
    held = [d for batch in archive.formats.read(path, mapping=mapping) for d in record_digests(batch)]
    monkeypatch.setattr(record_rows, "MOST_HELD", 1 << 20)
    monkeypatch.setattr(together, "MOST_HELD", 1 << 20)
    streamed = [d for batch in archive.formats.read(path, mapping=mapping) for d in record_digests(batch)]
    assert len(held) >= 2 * exports.LINKS
    assert sorted(held) == sorted(streamed)
