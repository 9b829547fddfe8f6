"""Lines: ranges, breakpoints, caps and floors, letters."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive import limits, schemas, vocabulary
from archive.limits import Line

ALL = [limits.get(i) for i in limits.ids()]
LINES = [(limit.id, line) for limit in ALL for line in limit.lines.values()]
WITH_LINES = [limit for limit in ALL if limit.lines]
each_limit = pytest.mark.parametrize("limit", WITH_LINES, ids=[limit.id for limit in WITH_LINES])
RISING = {"insertion_loss"}

# Pieces meet to rounding, 0.1 dB. S12 notes that those of 1000BASE-T1 do not quite, and joins them itself.
STEPS = {"ieee-802.3/1000base-t1-a": 0.15}


@each_limit
def test_lines_are_whole(limit: limits.Limit) -> None:
    """A number all along the range, nothing outside, both ends in it; unit and sense of the vocabulary."""
    for line in limit.lines.values():
        low, high = line.range_mhz
        term = vocabulary.parameter(line.parameter)
        assert (line.unit, line.sense) == (term.unit, term.sense)
        grid = np.array([p.low for p in line.segments]) if _is_points(line) else line.grid()
        assert np.all(np.isfinite(line.at(grid))), line.parameter
        assert np.all(np.isin(line.confidence_at(grid), ["A", "B", "C"]))
        assert np.isfinite(line.at([low, high])).all()
        outside = [low * (1 - 1e-9), high * (1 + 1e-9), 0.0, -1.0, np.nan, np.inf]
        assert np.isnan(line.at(outside)).all() and not line.confidence_at(outside).any()


@each_limit
def test_pieces_meet(limit: limits.Limit) -> None:
    """At a breakpoint both branches meet to rounding, and no piece leaves a gap."""
    for line in limit.lines.values():
        for below, above in itertools.pairwise(() if _is_points(line) else line.segments):
            assert below.high == above.low
            edge = np.array([below.high])
            assert abs(below.value(edge) - above.value(edge)).item() <= STEPS.get(limit.id, 0.1), line.parameter


@each_limit
def test_requirements_do_not_grow_where_physics_forbids(limit: limits.Limit) -> None:
    """Loss grows with frequency, crosstalk gets worse; return loss may rise at its lower end."""
    for line in limit.lines.values():
        if line.parameter != "return_loss" and not _is_points(line):
            steps = np.diff(line.at(line.grid()))
            assert np.all(steps >= -0.1 if line.parameter in RISING else steps <= 0.1), line.parameter


def _is_points(line: Line) -> bool:
    return all(p.low == p.high for p in line.segments)


def test_shape_is_kept_and_input_untouched() -> None:
    line = limits.get("tia-568.2-d/cat6a/channel").lines["next"]
    f = np.array([[1, 100, 330], [499, 500, 501]])
    before = f.copy()
    assert line.at(f).shape == f.shape and line.at(7).shape == ()
    assert np.array_equal(f, before) and line.at(f).dtype == np.float64
    assert line.at([]).shape == (0,)


def test_at_a_breakpoint_the_upper_piece_rules() -> None:
    line = limits.get("tia-568.2-d/cat6a/channel").lines["next"]
    assert line.at(330).item() == 31.0
    assert line.at(np.nextafter(330, 0)).item() == pytest.approx(31.028, abs=1e-3)


def test_steps_hold_up_to_and_including_their_frequency() -> None:
    """TSB-67 at 10 MHz still has 0.1 dB a connection, just above 0.2 dB (S1 fixes the printed frequencies)."""
    line = limits.get("tsb-67/cat5/channel").lines["insertion_loss"]
    apart = line.at(np.nextafter(10, 11)) - line.at(10)
    assert apart.item() == pytest.approx(4 * 0.1, abs=1e-6)
    assert line.confidence_at([10, 10.5, 31.25]).tolist() == ["A", "B", "A"]


@given(st.floats(min_value=1, max_value=500))
def test_bounds_only_ever_ease(f: float) -> None:
    for limit_id in ("iso-11801/class-ea/channel", "tia-568-b/cat6a/permanent-link"):
        for line in limits.get(limit_id).lines.values():
            eased, plain = line.at(f), line.unbounded(f)
            if not np.isnan(plain) and not any(p.parts for p in line.segments):
                assert eased >= plain if line.sense == "max" else eased <= plain
                assert bool(line.bound_confidence_at(f).item()) == (eased != plain)


def test_letters_of_a_line_made_of_others_are_the_worst_of_them() -> None:
    limit = limits.get("iso-11801/class-e/permanent-link-3")
    f = np.geomspace(1, 250, 50)
    made = limit.lines["acr_n"]
    parts = [limit.lines[name].confidence_at(f) for name in ("next", "insertion_loss")]
    assert made.confidence_at(f).tolist() == [max(a, b) for a, b in zip(*parts, strict=True)]
    assert np.allclose(made.at(f), limit.lines["next"].at(f) - limit.lines["insertion_loss"].at(f))


def test_every_source_is_known_and_every_a_was_read() -> None:
    known = schemas.load("sources.toml")
    for limit_id, line in LINES:
        assert set(line.sources) <= known.keys(), (limit_id, line.parameter)
        for piece in line.segments:
            assert piece.sources, (limit_id, line.parameter)
            if piece.confidence == "A":
                assert not {"M1", "M2"} & set(piece.sources), (limit_id, line.parameter)
    for limit in ALL:
        assert set(limit.sources) <= known.keys()


def test_two_and_three_connections_differ_where_the_standard_counts_them() -> None:
    """Insertion loss by one connection, 0.02 sqrt f: 0.4 dB at 500 MHz; NEXT has one connection in both."""
    two, three = (limits.get(f"iso-11801-1/class-ea/permanent-link-{n}") for n in (2, 3))
    f = np.geomspace(10, 500, 30)
    apart = three.lines["insertion_loss"].at(f) - two.lines["insertion_loss"].at(f)
    assert apart == pytest.approx(0.02 * np.sqrt(f))
    low = f[f < 300]
    assert np.array_equal(three.lines["next"].at(low), two.lines["next"].at(low))
    assert (two.connections, three.connections) == (2, 3)
