"""Our reader against the independent parser otdrparser (BSD), point by point and event by event: on synthesised files
always, on the seven real traces where ../shared has them (they are never shipped)."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import otdrparser
import pytest

from archive import formats
from archive.tables import Batch
from tests.formats.otdr.otdr_making import REAL, content, written

LIGHT = 299_792_458.0


def judged(path: Path) -> dict[str, Any]:
    """What the other parser makes of a file, by block."""
    return {block["name"]: block for block in otdrparser.parse(io.BytesIO(path.read_bytes()))}


def ours(path: Path) -> Batch:
    (batch,) = formats.read(path)
    return batch


def compare(path: Path) -> None:
    batch, other = ours(path), judged(path)
    points = np.array(other["DataPts"]["data_points"])
    km = np.array(batch["axes"]["distances_km"].to_pylist()[0])
    assert len(km) == len(points) > 1000
    values = np.array(batch["sweeps"]["values"].to_pylist()[0])
    assert np.abs(values - points[:, 1]).max() < 1e-9
    assert np.allclose(km, points[:, 0] / 1000, rtol=1e-6, atol=1e-9)  # theirs are in m
    events = batch["trace_events"].to_pylist()
    theirs = other["KeyEvents"]["events"] if "KeyEvents" in other else []
    assert len(events) == len(theirs)
    for mine, e in zip(events, theirs, strict=True):
        assert mine["number"] == e["event_number"]
        assert mine["loss_db"] == pytest.approx(e["splice_loss"], abs=1e-9)
        assert mine["slope_db_km"] == pytest.approx(e["slope"], abs=1e-9)
        assert (mine["reflectance_db"] or 0.0) == pytest.approx(-abs(e["reflection_loss"]), abs=1e-9)
        assert mine["distance_km"] == pytest.approx(e["distance_of_travel"] / 1000, rel=1e-6, abs=1e-8)


@pytest.mark.parametrize("number", range(1, 8))
def test_every_event_and_every_point_of_the_real_traces(number: int) -> None:
    path = REAL / f"otdr{number}.sor"
    if not path.is_file():
        pytest.skip("the real traces are not ours to ship: ../shared/data/otdr-traces is not there")
    compare(path)


def test_every_event_and_every_point_of_a_synthesised_trace(tmp_path: Path) -> None:
    compare(written(tmp_path / "one.sor", content()))


def test_no_event_is_made_up_for_the_real_trace_that_has_none() -> None:
    path = REAL / "otdr7.sor"
    if not path.is_file():
        pytest.skip("the real traces are not ours to ship: ../shared/data/otdr-traces is not there")
    batch = ours(path)
    assert batch["trace_events"].num_rows == 0 and batch["sweeps"].num_rows == 1
    assert "trace-without-events" in batch["findings"]["rule"].to_pylist()
    assert batch["readings"].num_rows == 0


@pytest.mark.parametrize(("index", "ns_per_km"), [(1.482, 4943.4), (1.477, 4926.7), (1.467, 4893.4), (1.468, 4896.7)])
def test_distances_are_one_way_times_over_the_group_index(index: float, ns_per_km: float, tmp_path: Path) -> None:
    """1.7 of the reference: delays by group index (O25, O26); 3.2: 25 ns at index 1.4711 are 5.0947 m."""
    assert index / LIGHT * 1e12 == pytest.approx(ns_per_km, abs=0.05)
    batch = ours(written(tmp_path / "i.sor", content(index=index)))
    assert batch["records"]["group_index"].to_pylist() == [index]
    assert pytest.approx(5.0947, abs=1e-4) == 25e-9 * LIGHT / 1.4711


def test_the_quick_form_of_the_benchmark_reads_as_many_as_its_peer() -> None:
    from tests.benchmarks import traces

    rows = traces.run((), quick=True)
    assert len(rows) == 3 and all(row["agree"] for row in rows)
