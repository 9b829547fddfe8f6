"""Property: whatever a writer can say in Touchstone, this reader reads back."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.formats.touchstone.parse import parse
from tests.formats.touchstone_files import text

parts = st.floats(-3, 3, allow_nan=False).filter(lambda v: v == 0 or abs(v) > 1e-9)


@st.composite
def sweeps(draw: st.DrawFn) -> dict[str, Any]:
    """A sweep over 1 to 6 ports and a way to write it."""
    ports = draw(st.integers(1, 6))
    points = draw(st.integers(1, 5))
    version = draw(st.sampled_from(["1", "2.0"]))
    numbers = draw(st.lists(parts, min_size=2 * points * ports**2, max_size=2 * points * ports**2))
    s = np.array(numbers[::2]).reshape(points, ports, ports) + 1j * np.array(numbers[1::2]).reshape(
        points, ports, ports
    )
    layout = "full"
    if version == "2.0":
        layout = draw(st.sampled_from(["12_21", "21_12"] if ports == 2 else ["full", "lower", "upper"]))
    if layout in ("lower", "upper"):
        s = s + s.transpose(0, 2, 1)
    steps = draw(st.lists(st.integers(1, 10**9), min_size=points, max_size=points))
    return {
        "s": s,
        "hz": np.cumsum(steps),
        "version": version,
        "layout": layout,
        "number_format": draw(st.sampled_from(["RI", "MA", "DB"])),
        "unit": draw(st.sampled_from(["Hz", "kHz", "MHz", "GHz"])),
        "wrap": draw(st.integers(1, 5)) if ports > 2 else 4,
        "comments": draw(st.booleans()),
        "reference": draw(st.sampled_from([(50.0,), (75.5,)])),
    }


@settings(max_examples=150, deadline=None)
@given(sweeps())
def test_written_and_read_is_the_same(sweep: dict[str, Any]) -> None:
    s, f_mhz = sweep["s"], sweep["hz"] / 1e6
    if sweep["number_format"] == "DB":
        s = np.where(s == 0, 1e-6, s)
    written = text(s, f_mhz, **{k: v for k, v in sweep.items() if k not in ("s", "hz")})
    found = parse(written.encode(), f"a.s{s.shape[-1]}p")
    if sweep["number_format"] == "RI":
        assert np.array_equal(found.s, s)
    else:
        np.testing.assert_allclose(found.s, s, rtol=1e-12, atol=1e-14)
    assert found.frequencies_mhz.tolist() == f_mhz.tolist(), "whole hertz come out as the nearest double of MHz"
    assert set(found.reference_ohm.tolist()) == set(sweep["reference"])
    assert found.numbers == len(found.body.split())
