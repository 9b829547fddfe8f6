"""Copied curves: what counts as one, what does not, and how it is named."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from archive.tables import Batch
from archive.validation.copies import Copies, Sketches
from archive.validation.copies.compare import Evidence, compare
from archive.validation.copies.detector import find_in
from archive.validation.copies.index import bits_for, equal_curves
from archive.validation.copies.residual import SLOTS, SWAPPED, residuals, smooth_basis
from tests.validation import examples, good

HOUR = {"label": "2-TR2-A118", "seconds": 3600}


def _find(*steps: dict[str, Any]) -> Copies:
    batch = examples.batch({"do": list(steps)})
    return find_in(lambda: [batch])


def _curve(**step: Any) -> dict[str, Any]:
    return {"table": "sweeps", "where": {"record_id": "r2"}, **step}


@pytest.mark.parametrize(
    ("step", "kind"),
    [
        (None, "exact"),
        ({"curve": "round", "step": 1.0}, "rounded"),
        ({"curve": "scale", "by": 1.0, "add": -0.6}, "shifted"),
        ({"curve": "scale", "by": 0.95}, "scaled"),
        ({"curve": "noise", "db": 0.3}, "near"),
    ],
)
def test_kinds_of_copies(step: dict[str, Any] | None, kind: str) -> None:
    """Each of the five ways of changing a copy is found and named, in all twenty curves."""
    steps = [{"record": HOUR}, *([_curve(**step)] if step else [])]
    (pair,) = _find(*steps).pairs
    assert (pair.kind, pair.curves, pair.of) == (kind, 20, 20)
    assert {pair.label_a, pair.label_b} == {"2-TR2-A117", "2-TR2-A118"}
    assert pair.parameters == ("next", "return_loss")
    assert pair.score > 0.99


def test_two_links_are_no_copies() -> None:
    found = _find({"record": {**HOUR, "seed": 2}})
    assert found.pairs == ()
    assert found.compared == 2


def test_insertion_loss_alone_is_no_evidence() -> None:
    """Equal insertion loss and equal FEXT under two links, all else of its own: nothing is said."""
    same = [
        _curve(where={"record_id": "r2", "parameter": p}, curve="of-record", id="r1")
        for p in ("insertion_loss", "fext")
    ]
    assert _find({"record": {**HOUR, "seed": 2}}, *same).pairs == ()


@pytest.mark.parametrize(
    "second",
    [
        {"label": "2-TR2-A117", "seconds": 3600},  # a retest without any noise
        {"label": "2-tr2-a117", "seconds": 3600},  # the same link, written otherwise
        {"label": "2-TR2-A118", "seconds": 0},  # one test under two labels
        {"label": "2-TR2-A117", "seconds": 0},  # a rendition
    ],
)
def test_one_link_and_one_test_are_no_copies(second: dict[str, Any]) -> None:
    assert _find({"record": second}).pairs == ()


def test_the_same_time_of_another_unit_is_another_test() -> None:
    second = {"label": "2-TR2-A118", "seconds": 0, "set": {"local_instrument_id": "in-other"}}
    other = {"instrument_id": "in-other", "serial": "40-00999"}
    assert len(_find({"table": "instruments", "add": other}, {"record": second}).pairs) == 1


def test_the_same_label_in_another_job_is_another_link() -> None:
    second = {"label": "2-TR2-A117", "seconds": 3600, "set": {"job_id": "QUAY-2025"}}
    (pair,) = _find({"record": second}).pairs
    assert {pair.job_a, pair.job_b} == {"HARBOUR-2025", "QUAY-2025"}


def test_without_a_time_of_day_nothing_is_taken_for_one_test() -> None:
    """Dates alone cannot show that two records are one test: the pair is told, and a person looks."""
    second = {**HOUR, "set": {"tested_local": "2025-03-04"}}
    assert len(_find({"table": "records", "set": {"tested_local": "2025-03-04"}}, {"record": second}).pairs) == 1


def _with_ends_exchanged() -> Batch:
    """The good record and another that is the first with its ends exchanged and a little noise."""
    rows = examples.rows({"do": [{"record": HOUR}]})
    rng = np.random.default_rng(3)
    for row in rows["sweeps"]:
        if row["record_id"] == "r2" and row["end"]:
            row["end"] = {"local": "remote", "remote": "local"}[row["end"]]
            row["values"] = np.round(np.array(row["values"]) + rng.normal(0, 0.1, len(row["values"])), 1).tolist()
    return Batch.from_rows(rows)


def test_a_link_tested_from_its_other_end() -> None:
    batch = _with_ends_exchanged()
    (pair,) = find_in(lambda: [batch]).pairs
    assert pair.swapped
    assert (pair.curves, pair.kind) == (20, "near")


def test_a_copy_of_one_parameter_at_one_end() -> None:
    """NEXT of the local end copied with noise, all else of its own: told as a part."""
    only = {"record_id": "r2", "parameter": "next", "end": "local"}
    steps = [
        _curve(where=only, curve="of-record", id="r1"),
        _curve(where=only, curve="noise", db=0.1),
    ]
    (pair,) = _find({"record": {**HOUR, "seed": 2}}, *steps).pairs
    assert (pair.parameters, pair.curves, pair.of) == (("next",), 6, 20)


def test_a_copy_cut_to_a_lower_range() -> None:
    """Category 6A curves cut to 250 MHz and thinned: compared over what both have."""
    cut = _curve(curve="cut", **{"from": 1.0, "to": 250.0})
    (pair,) = _find({"record": HOUR}, cut).pairs
    assert pair.curves == 20
    assert pair.score > 0.99


def test_flat_and_short_curves_are_no_evidence() -> None:
    """Curves without structure, or of a few points, agree between any two links and say nothing."""
    flat = {"table": "sweeps", "curve": "scale", "by": 0.0, "add": 40.0}
    assert _find({"record": {**HOUR, "seed": 2}}, flat).pairs == ()
    few = {"table": "sweeps", "curve": "every", "nth": 79}
    assert _find({"record": HOUR}, few).pairs == ()


@pytest.mark.parametrize("nth", [4, 10, 20])
def test_coarse_sweeps_are_compared_too(nth: int) -> None:
    """Exports of 257, 103 and 52 points: an exact copy and one with noise are found, two links are not."""
    thin = {"table": "sweeps", "curve": "every", "nth": nth}
    assert [p.kind for p in _find({"record": HOUR}, thin).pairs] == ["exact"]
    assert [p.kind for p in _find({"record": HOUR}, thin, _curve(curve="noise", db=0.2)).pairs] == ["near"]
    assert _find({"record": {**HOUR, "seed": 2}}, thin).pairs == ()


def test_missing_points_do_not_hide_a_copy() -> None:
    blank = _curve(curve="blank", **{"from": 100.0, "to": 110.0})
    (pair,) = _find({"record": HOUR}, blank).pairs
    assert pair.curves == 20


def test_many_equal_records_are_told_as_a_star() -> None:
    """A hundred records with one curve set do not give 4,950 pairs."""
    records = [{"record": {"label": f"2-TR2-C{n:03d}", "seconds": 600 * n}} for n in range(1, 25)]
    batch = examples.batch({"do": records})
    sketches = Sketches()
    sketches.add(batch)
    a, b, count = equal_curves(sketches)
    assert len(a) == 24
    assert set(a) == {0}
    assert sorted(b) == list(range(1, 25))
    assert set(count) == {20}


def test_residuals_are_what_a_smooth_fit_leaves() -> None:
    """Shift and slow drift vanish; the fit is a projection (numpy's least squares says the same)."""
    mhz, curve = good.grid(), good.curves()["next", "local", "1-2/3-6"].astype(np.float32)
    basis = smooth_basis(mhz, 8)
    rest = residuals(curve, basis)
    assert np.abs(residuals(curve + 3.0, basis) - rest).max() < 1e-3
    solved = curve - basis @ np.linalg.lstsq(basis, curve, rcond=None)[0]
    assert np.abs(solved - rest).max() < 1e-3


def test_correlation_against_numpy() -> None:
    """The statistic of a slot is numpy's correlation coefficient of the two residuals."""
    mhz = good.grid()
    made = [np.stack([good.curves(seed)[p, e, c] for p, e, c in SLOTS]).astype(np.float32) for seed in (1, 2)]
    said = compare(
        Evidence(mhz, made[0]), Evidence(mhz, made[1]), False, terms=8, least_points=60, least_residual_db=0.3
    )
    basis = smooth_basis(mhz, 8)
    rest = [residuals(m, basis) for m in made]
    expected = [np.corrcoef(rest[0][k], rest[1][k])[0, 1] for k in range(len(SLOTS))]
    assert np.abs(said.r - expected).max() < 1e-4
    assert said.kind == "near"


def test_slots_swap_in_pairs() -> None:
    assert (SWAPPED[SWAPPED] == np.arange(len(SLOTS))).all()
    assert all(SLOTS[SWAPPED[k]][1] != SLOTS[k][1] for k in range(len(SLOTS)))


def test_buckets_get_finer_with_the_number_of_records() -> None:
    """One more sign for each doubling: what keeps the cost near n log n."""
    assert [bits_for(n) for n in (10, 20_000, 40_000, 80_000, 1_000_000)] == [14, 14, 15, 16, 20]
