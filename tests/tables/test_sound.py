"""A batch that breaks a rule of the tables is named, with its table, row and record."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings

from archive.tables import Batch, axis_row
from archive.tables.sound import breaches, sound
from tests.strategies import batches

AXIS = axis_row([1.0, 2.0])
RECORD = {"record_id": "a", "evidence": "full-sweep"}
SWEEP = {"record_id": "a", "parameter": "next", "origin": "measured", "axis_id": AXIS["axis_id"], "values": [1.0, None]}


def _rows(**changed: Any) -> dict[str, Any]:
    return {"axes": [AXIS], "records": [RECORD], "sweeps": [SWEEP], **changed}


def test_a_sound_batch_passes() -> None:
    assert list(breaches(Batch.from_rows(_rows()))) == []


@settings(max_examples=15, deadline=None)
@given(batches())
def test_generated_batches_are_sound(batch: Batch) -> None:
    assert sound(batch) is batch


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"records": [{**RECORD, "evidence": "sweep"}]}, "evidence is no word of evidence"),
        ({"records": [RECORD, RECORD]}, "stands before it"),
        ({"records": [{**RECORD, "velocity_percent": math.nan}]}, "velocity_percent is not a finite number"),
        ({"records": [{**RECORD, "record_id": "b"}]}, "names a record that is not there"),
        ({"sweeps": [{**SWEEP, "values": [1.0, math.inf]}]}, "values holds a number that is not finite"),
        ({"sweeps": [{**SWEEP, "values": [1.0]}]}, "1 values for 2 points"),
        ({"sweeps": [{**SWEEP, "axis_id": "x"}]}, "an axis that is not there"),
        ({"sweeps": [{**SWEEP, "above": [2]}]}, "above names a point"),
        ({"sweeps": [{**SWEEP, "below": [None]}]}, "below holds a missing item"),
        ({"axes": [{**AXIS, "frequencies_mhz": [2.0, 1.0]}]}, "does not rise"),
        ({"axes": [{**AXIS, "frequencies_mhz": [1.0, 3.0]}]}, "does not match"),
        ({"axes": [{**AXIS, "frequencies_mhz": None}]}, "no list"),
        ({"axes": [{**AXIS, "frequencies_mhz": [1.0, None]}]}, "missing point"),
    ],
)
def test_breaches_are_told(changed: dict[str, Any], words: str) -> None:
    batch = Batch.from_rows(_rows(**changed))
    assert any(words in b.reason for b in breaches(batch)), [b.reason for b in breaches(batch)]
    with pytest.raises(ValueError, match=r"row [12]"):
        sound(batch)


def test_years_beyond_four_digits_are_told() -> None:
    import pyarrow as pa

    late = pa.scalar(253_402_300_800_000, type=pa.timestamp("ms", tz="UTC"))
    batch = Batch.from_rows({"records": [{**RECORD, "tested_at": late}]})
    assert [b.reason for b in _safe(batch)] == ["tested_at is not within the years 1 to 9999"]


def _safe(batch: Batch) -> list[Any]:
    try:
        return list(breaches(batch))
    except (OverflowError, ValueError) as error:
        pytest.fail(f"a date that Python cannot hold must not raise: {error}")
