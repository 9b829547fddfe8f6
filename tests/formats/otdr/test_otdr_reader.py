"""Trace files as records: quirks of makers, damage, both formats, and what is kept of everything."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from archive import formats
from archive.demo.backbone.trace_bytes import WrittenEvent, trace_file
from archive.errors import Trouble
from archive.formats.otdr.checksum import crc16, state
from archive.tables import Batch
from tests.formats.otdr.otdr_making import EVENTS, content, written


def read(path: Path) -> Batch:
    (batch,) = formats.read(path)
    return batch


def rules(batch: Batch) -> set[str]:
    return set(batch["findings"]["rule"].to_pylist())


def test_a_trace_is_one_record_with_events_curve_and_readings(tmp_path: Path) -> None:
    batch = read(written(tmp_path / "a.sor", content(operator="R. Ostrander")))
    (record,) = batch["records"].to_pylist()
    assert (record["medium"], record["evidence"], record["link_label"]) == ("fiber", "optical-trace", "BB-1/1")
    assert record["cable_found"] == "G.652" and record["cable_type"] == "unknown/9"
    assert batch["people"]["name"].to_pylist() == ["R. Ostrander"]
    kinds = [e["kind"] for e in batch["trace_events"].to_pylist()]
    assert kinds == ["launch", "reflective", "non-reflective", "non-reflective", "end"]
    found = {r["quantity"]: r["value"] for r in batch["readings"].to_pylist()}
    assert found == {
        "trace_loss": 1.24,
        "optical_return_loss": 31.0,
        "length": pytest.approx(2200, abs=0.02),
    }
    (source,) = batch["sources"].to_pylist()
    assert source["cells_read"] == source["cells_mapped"] + source["cells_extra"] + source["cells_ignored"]
    assert batch["instruments"]["serial"].to_pylist() == ["07-4471"]
    assert not rules(batch)


def test_both_sides_of_a_fiber_have_the_same_ends_and_opposite_directions(tmp_path: Path) -> None:
    one = read(written(tmp_path / "a.sor", content()))
    other = read(written(tmp_path / "b.sor", content(location_a="FD-2", location_b="MDF")))
    for column in ("local_place_id", "remote_place_id"):
        assert one["records"][column].to_pylist() == other["records"][column].to_pylist()
    assert {b["sweeps"]["direction"][0].as_py() for b in (one, other)} == {"local-remote", "remote-local"}
    unnamed = read(written(tmp_path / "c.sor", content(location_b="0")))
    assert unnamed["sweeps"]["direction"].to_pylist() == [None]


def test_a_reflectance_above_zero_is_read_below_it_and_that_is_said(tmp_path: Path) -> None:
    events = (EVENTS[0], WrittenEvent(0.4, 0.3, 47.285, "1F9999"), EVENTS[-1])
    batch = read(written(tmp_path / "a.sor", content(events=events)))
    assert batch["trace_events"]["reflectance_db"].to_pylist()[1] == -47.285
    assert "trace-number-converted" in rules(batch)


def test_a_wavelength_in_whole_nm_is_read_as_such(tmp_path: Path) -> None:
    batch = read(written(tmp_path / "a.sor", content(nm=131.0)))
    assert batch["sweeps"]["wavelength_nm"].to_pylist() == [1310.0]
    assert "trace-number-converted" in rules(batch)


def test_no_events_where_the_block_is_missing(tmp_path: Path) -> None:
    batch = read(written(tmp_path / "a.sor", content(events=None)))
    assert batch["trace_events"].num_rows == 0 and rules(batch) == {"trace-without-events"}
    assert batch["sweeps"].num_rows == 1


def test_a_bend_insensitive_fiber_shifts_no_field(tmp_path: Path) -> None:
    """11.8 of the reference: a general parser misreads the block where the fiber type is 657."""
    batch = read(written(tmp_path / "a.sor", content(fiber_type=657, nm=1550.0)))
    assert batch["records"]["cable_found"].to_pylist() == ["G.657"]
    assert batch["sweeps"]["wavelength_nm"].to_pylist() == [1550.0]
    assert not rules(batch)


def test_format_1_is_marked(tmp_path: Path) -> None:
    batch = read(written(tmp_path / "a.sor", content(form=1)))
    assert rules(batch) == {"trace-of-first-format"}
    assert batch["trace_events"].num_rows == len(EVENTS)
    assert batch["trace_events"]["distance_km"].to_pylist()[-1] == pytest.approx(2.2, abs=1e-5)


def test_a_block_of_the_makers_own_is_named_and_kept_in_the_file(tmp_path: Path) -> None:
    batch = read(written(tmp_path / "a.sor", content(own_blocks=[("OwnTrace", b"x" * 40)])))
    assert rules(batch) == {"trace-blocks-not-read"}
    assert "block OwnTrace" in batch["extras"]["name"].to_pylist()


def test_a_file_without_names_takes_the_name_of_the_file_and_says_so(tmp_path: Path) -> None:
    batch = read(written(tmp_path / "riser-7.sor", content(cable_id="0", fiber_id="")))
    assert batch["records"]["link_label"].to_pylist() == ["riser-7"]
    assert rules(batch) == {"trace-label-from-file-name"}


def test_a_truncated_file_loses_the_blocks_behind_alone(tmp_path: Path) -> None:
    whole = trace_file(content())
    path = tmp_path / "a.sor"
    path.write_bytes(whole[:-3000])
    batch = read(path)
    assert batch["sweeps"].num_rows == 0 and batch["trace_events"].num_rows == len(EVENTS)
    assert batch["records"]["evidence"].to_pylist() == ["worst-points"]
    assert "trace-block-damaged" in rules(batch)


def test_damage_anywhere_in_the_head_is_a_finding_or_one_line_of_trouble(tmp_path: Path) -> None:
    """200 heads with one byte changed: never a traceback, and never an event where none is."""
    import random

    draw, whole = random.Random(7), bytearray(trace_file(content()))
    outcomes: list[Any] = []
    for number in range(200):
        data = bytearray(whole)
        data[draw.randrange(400)] = draw.randrange(256)
        path = tmp_path / f"d{number}.sor"
        path.write_bytes(data)
        try:
            outcomes += list(formats.read(path, draft=False))
        except Trouble as trouble:
            assert "\n" not in str(trouble)
            outcomes.append(trouble)
    assert len(outcomes) >= 200
    assert any(isinstance(o, Batch) and len(o) for o in outcomes)


def test_the_checksum_is_recorded_and_decides_nothing() -> None:
    """CRC-16 of polynomial 0x1021 from 0xFFFF over 123456789 is 0x29B1 (3.3 of the reference)."""
    assert crc16(b"123456789") == 0x29B1
    data = b"123456789"
    assert [state(data, stored, 9) for stored in (0x29B1, 1, 0, None)] == ["match", "mismatch", "absent", "absent"]


def test_averaging_time_is_kept_as_found_and_not_taken_for_seconds(tmp_path: Path) -> None:
    """3.4 of the reference: makers store 30, 300 or 3000 for 30 s, and no file says which."""
    batch = read(written(tmp_path / "a.sor", content()))
    found = {r["name"]: r["value"] for r in batch["extras"].to_pylist()}
    assert found["averaging_found"] == "150" and "averaging_s" not in found
