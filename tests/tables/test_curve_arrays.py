"""The arrays of a batch's curves say what its tables say, cell by cell."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.tables import Batch, CurveArrays, axis_row, concat, cut
from archive.tables.arrow import coded, joined, one_chunk, reals, rows_of
from archive.tables.curves import windows
from tests.strategies import batches

MHZ = axis_row([1.0, 2.0, 4.0])
KM = axis_row([0.5, 1.5], "distances_km")


def _batch(*sweeps: dict[str, Any], records: tuple[str, ...] = ("a", "b")) -> Batch:
    """Invented sweeps; what one leaves out is that of a measured insertion loss of record a."""
    usual = {"record_id": "a", "parameter": "insertion_loss", "origin": "measured", "axis_id": MHZ["axis_id"]}
    return Batch.from_rows(
        {
            "axes": [MHZ, KM],
            "records": [{"record_id": r, "evidence": "full-sweep"} for r in records],
            "sweeps": [{**usual, **sweep} for sweep in sweeps],
        }
    )


def _same(array: Any, listed: list[float | None]) -> bool:
    return len(array) == len(listed) and all(
        math.isnan(a) if v is None or math.isnan(v) else a == v for a, v in zip(array.tolist(), listed, strict=True)
    )


@settings(max_examples=40, deadline=None)
@given(batches())
def test_arrays_say_what_the_tables_say(batch: Batch) -> None:
    curves, rows = batch.curves, batch["sweeps"].to_pylist()
    ids = batch["records"].column("record_id").to_pylist()
    axes = {r["axis_id"]: (i, r) for i, r in enumerate(batch["axes"].to_pylist())}
    assert curves.count == len(rows) == len(curves.start)
    assert curves.records == len(ids)
    for i, row in enumerate(rows):
        assert _same(curves.values(i), row["values"])
        assert curves.record[i] == (ids.index(row["record_id"]) if row["record_id"] in ids else -1)
        for column in ("parameter", "end", "pairing", "origin", "direction", "disturber"):
            assert curves.words(column)[i] == (row[column] or "")
            assert curves.mask(column, "next", "local", "")[i] == (row[column] in ("next", "local", ""))
        assert _same(curves.step[[i]], [row["step"]])
        place, axis = axes.get(row["axis_id"], (-1, {}))
        assert curves.axis[i] == place
        if place >= 0:
            assert curves.axes[place].tolist() == (axis["frequencies_mhz"] or axis["distances_km"] or [])
            assert curves.axes_mhz[place].tolist() == (axis["frequencies_mhz"] or [])
        bounds = {*(row["above"] or []), *(row["below"] or [])}
        assert curves.bounded[i] == bool(bounds)
        assert curves.doubtful[i] == (bool(bounds) or None in row["values"])
        exact = [None if k in bounds else v for k, v in enumerate(row["values"])]
        assert _same(curves.exact[curves.start[i] :][: curves.length[i]], exact)
        assert not curves.has_nan[i]
    fits = [r["record_id"] in ids and 0 < len(r["values"]) == len(curves.axes[axes[r["axis_id"]][0]]) for r in rows]
    assert curves.fits.tolist() == fits


@settings(max_examples=20, deadline=None)
@given(batches())
def test_a_batch_that_is_a_slice_of_another_has_the_same_arrays(batch: Batch) -> None:
    half = cut(batch, len(batch) // 2, len(batch))
    fresh = Batch({name: pa.Table.from_pylist(t.to_pylist(), t.schema) for name, t in half.items()})
    for name in ("start", "length", "flat", "record", "axis", "fits", "doubtful", "exact"):
        assert np.array_equal(
            getattr(half.curves, name), getattr(fresh.curves, name), equal_nan=name in ("flat", "exact")
        )
    assert half.curves.words("pairing").tolist() == fresh.curves.words("pairing").tolist()


def test_a_batch_of_several_chunks_has_the_arrays_of_one() -> None:
    one, two = _batch({"values": [1, None, 3]}, records=("a",)), _batch({"record_id": "b", "values": [4, 5, 6]})
    joined = concat([one, two.select(["b"])])
    assert joined["sweeps"].column("values").num_chunks == 2
    assert _same(joined.curves.flat, [1, None, 3, 4, 5, 6])
    assert joined.curves.record.tolist() == [0, 1]


def test_a_batch_without_curves_has_empty_arrays() -> None:
    for batch in (Batch({}), _batch()):
        curves = batch.curves
        assert curves.count == len(curves.flat) == len(curves.record) == len(curves.fits_mhz) == 0
        assert len(curves.doubtful) == len(curves.has_nan) == len(curves.words("end")) == len(curves.step) == 0
        assert curves.matrix(curves.of("next"), 3).shape == (0, 3)
        assert list(curves.blocks(curves.of("next"))) == []
        assert curves.above is None


def test_a_curve_fits_its_axis_alone() -> None:
    batch = _batch(
        {"values": [1, 2, 3]},
        {"values": [1, 2]},
        {"values": [1, 2, 3], "record_id": "lost"},
        {"values": [1, 2, 3], "axis_id": "lost"},
        {"values": [1, 2], "axis_id": KM["axis_id"]},
        {"values": []},
    )
    assert batch.curves.fits.tolist() == [True, False, False, False, True, False]
    assert batch.curves.fits_mhz.tolist() == [True, False, False, False, False, False]
    assert batch.curves.of("insertion_loss").tolist() == [0]
    assert [b.rows.tolist() for b in batch.curves.blocks(np.arange(6))] == [[0, 2]]


def test_bounds_count_for_the_points_that_they_name() -> None:
    batch = _batch({"values": [70, 60, 50], "above": [0], "below": []}, {"values": [1, 2, 3], "below": [2, 7, -1]})
    curves = batch.curves
    assert curves.above is not None
    assert curves.below is not None
    assert np.flatnonzero(curves.above).tolist() == [0]
    assert np.flatnonzero(curves.below).tolist() == [5]
    assert _same(curves.exact, [None, 60, 50, 1, 2, None])
    assert curves.bounded.tolist() == curves.doubtful.tolist() == [True, True]


def test_nan_is_told_from_a_missing_point() -> None:
    curves = _batch({"values": [1, None, 3]}, {"values": [1, math.nan, 3]}, {"values": [1, 2, 3]}).curves
    assert curves.has_nan.tolist() == [False, True, False]
    assert curves.doubtful.tolist() == [True, True, False]


def test_blocks_share_an_axis_and_are_no_longer_than_asked() -> None:
    batch = _batch(*({"values": [k, k, k]} for k in range(5)))
    blocks = list(batch.curves.blocks(np.array([0, 1, 3, 4]), most=6))
    assert [b.rows.tolist() for b in blocks] == [[0, 1], [3, 4]]
    assert blocks[1].values.tolist() == [[3, 3, 3], [4, 4, 4]]
    assert blocks[1].mhz.tolist() == MHZ["frequencies_mhz"]


def test_arrays_go_with_a_batch_whose_curves_stay() -> None:
    batch = _batch({"values": [1, 2, 3]})
    assert isinstance(batch.curves, CurveArrays)
    assert batch.curves is batch.curves
    assert batch.replace(findings=batch["findings"]).curves is batch.curves
    assert batch.replace(records=batch["records"]).curves is batch.curves
    assert batch.replace(records=batch["records"].slice(0, 1)).curves is not batch.curves
    assert batch.replace(sweeps=batch["sweeps"].slice(0, 0)).curves.count == 0


def test_grading_and_checks_share_the_arrays(monkeypatch: pytest.MonkeyPatch) -> None:
    laid_out: list[Batch] = []
    usual = CurveArrays.__init__
    monkeypatch.setattr(CurveArrays, "__init__", lambda self, batch: (laid_out.append(batch), usual(self, batch))[1])
    batch = _batch({"values": [1, 2, 3], "pairing": "1-2"}, records=("a",))
    graded = batch.grade(against="tia-568.2-d/cat6a/permanent-link")
    assert graded["grades"].num_rows
    assert graded.check().num_rows
    assert laid_out == [batch]


@given(st.lists(st.integers(0, 40), min_size=1, max_size=12), st.integers(1, 3), st.integers(0, 8))
def test_windows_are_the_runs_that_start_there(starts: list[int], wide: int, points: int) -> None:
    flat = np.arange(50.0)
    begin = np.array(starts[: len(starts) // wide * wide] or [0] * wide).reshape(-1, wide)
    for given_ in (begin, begin.ravel(), begin[:, :0], np.sort(begin.ravel())):
        made = windows(flat, given_, points)
        assert made.shape == (*given_.shape, points)
        assert np.array_equal(made, given_[..., None] + np.arange(points))


@pytest.mark.parametrize("shape", [(4,), (4, 3), (1, 3), (4, 1), (1,)])
def test_windows_in_even_steps_are_views(shape: tuple[int, ...]) -> None:
    flat = np.arange(100.0)
    begin = 5 + np.arange(np.prod(shape)).reshape(shape) * 4
    made = windows(flat, begin, 4)
    assert np.shares_memory(made, flat)
    assert not made.flags.writeable
    assert np.array_equal(made, begin[..., None] + np.arange(4))


@pytest.mark.parametrize("begin", [[0, 7], [-1, 2], [0, 3, 7]])
def test_a_window_beyond_the_array_is_refused(begin: list[int]) -> None:
    with pytest.raises(IndexError):
        windows(np.arange(10.0), np.array(begin), 4)


def test_columns_as_one_chunk_codes_rows_and_numbers() -> None:
    column = pa.chunked_array([["b", None], ["a", "b"]])
    assert one_chunk(column).to_pylist() == ["b", None, "a", "b"]
    assert one_chunk(pa.chunked_array([], type=pa.string())).to_pylist() == []
    assert one_chunk(column.slice(2)).to_pylist() == ["a", "b"]
    words, codes = coded(column)
    assert (words, codes.tolist()) == (["b", "a"], [0, -1, 1, 0])
    assert rows_of(column, pa.chunked_array([["a"], ["b", None, "b"]])).tolist() == [1, -1, 0, 1]
    assert rows_of(column, pa.array([], pa.string()), absent=9).tolist() == [9, 9, 9, 9]
    ids, more = pa.chunked_array([["a"], ["b"]]), pa.chunked_array([[1, 2]])
    assert joined(column, ids, more).to_pylist() == [2, None, 1, 2]
    assert joined(column, ids.slice(0, 0), more.slice(0, 0)).to_pylist() == [None] * 4
    assert _same(reals(pa.chunked_array([[1], [None]], type=pa.int64())), [1, None])
