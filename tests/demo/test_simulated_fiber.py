"""The simulator of optical links holds to physics, to its seed, and to what it says was planted."""

from __future__ import annotations

import math
from collections import Counter

import pytest

from archive import grading
from archive.demo.fiber_links import FAULTS, WAYS, FiberOptions, fiber_link, seen, simulate_fiber
from archive.errors import Trouble
from archive.tables import Batch
from archive.validation import check, check_job


def verdicts(batches: list[Batch]) -> dict[str, str]:
    """Of each loss test, by link."""
    found = {}
    for batch in batches:
        ids = {r["record_id"]: r["link_label"] for r in batch["records"].to_pylist() if r["evidence"] == "optical-loss"}
        rows = grading.grade(batch)["verdicts"].to_pylist()
        found |= {ids[r["record_id"]]: r["verdict"] for r in rows if r["record_id"] in ids}
    return found


def test_a_link_depends_on_seed_and_number_alone() -> None:
    whole = list(simulate_fiber(30, 7, traces=True, points=False, records=30))
    parts = list(simulate_fiber(3, 7, traces=True, points=False, start=20))
    names = {r["record_id"] for b in parts for r in b["records"].to_pylist()}
    for name in ("records", "readings", "trace_events"):
        assert parts[0][name].equals(whole[0].select(names)[name])
    other = next(iter(simulate_fiber(3, 8, start=20)))
    assert not other["readings"].equals(parts[0].select({r for r in names if r.endswith("-loss")})["readings"])


@pytest.mark.parametrize("glass", ["os2", "om3", "om4"])
def test_losses_are_the_sum_of_what_lies_along_the_fiber(glass: str) -> None:
    """Arithmetic: coefficient x length + places + both ends (reference 1.4); slopes are those of its F02, within the
    spread; a meter is off by some hundredths of a dB."""
    o = FiberOptions(glass=glass, fault_share=0.0)
    typical = {850.0: 2.2, 1300.0: 0.5, 1310.0: 0.32, 1550.0: 0.19}
    (batch,) = simulate_fiber(60, 3, o)
    rows = [r for r in batch["readings"].to_pylist() if r["quantity"] == "optical_loss"]
    assert len(rows) == 60 * 2 * 2 * 2
    off = []
    for r in rows:
        link = fiber_link(3, int(r["record_id"].split("-")[3]), o)
        nm = r["wavelength_nm"]
        assert link.db_km(nm) == pytest.approx(typical[nm], rel=0.07)
        assert all(p.loss(nm) < (0.75 if p.reflectance else 0.30) for p in link.places["A"]), "limits of 1.3 (A)"
        off.append(r["value"] - link.loss(r["subject"], nm))
    assert max(map(abs, off)) < 0.11 and abs(sum(off) / len(off)) < 0.005


def test_a_bend_loses_more_at_longer_wavelengths_and_reflects_nothing() -> None:
    """3.6 and F04 of the reference: a bend shows at 1550 nm against 1310 nm, and most at 1625 nm."""
    o = FiberOptions(fault_share=1.0)
    bent = [link for k in range(60) if (link := fiber_link(1, k, o)).fault == "bend"]
    assert len(bent) > 8
    for link in bent:
        (place,) = (p for p in link.places["A"] if p.bend_db)
        a, b, c = (place.loss(nm) for nm in (1310, 1550, 1625))
        assert a < 0.1 and 0.5 <= b <= 1.5 and c > 2 * b and place.reflectance == 0.0
    assert not any(fiber_link(1, k, FiberOptions(glass="om4", fault_share=1.0)).fault == "bend" for k in range(60))


def test_the_mean_of_both_ends_is_the_loss() -> None:
    """O22, O23: what a splice of unlike fibers adds from one end it takes from the other."""
    gainers = 0
    for k in range(80):
        link = fiber_link(5, k, FiberOptions(fault_share=0.3))
        there, back = (seen(link, 1550, way)[1:-1] for way in WAYS)
        for one, other, place in zip(there, reversed(back), link.places["A"], strict=True):
            assert one.km + other.km == pytest.approx(link.length_km, abs=2e-6)
            assert (one.loss_db + other.loss_db) / 2 == pytest.approx(place.loss(1550), abs=0.002)
            gainers += one.loss_db < 0 or other.loss_db < 0
    assert gainers > 3


def test_what_is_planted_is_found_and_nothing_else() -> None:
    """Dirty connectors, bends and bad splices fail in their traces, drifted references contradict theirs; links without
    a fault pass, by limits of ISO/IEC 11801-1 that the simulator does not know."""
    o = FiberOptions(fault_share=0.3, traces=True, points=False)
    batches = list(simulate_fiber(120, 2, o))
    truth = {link.label: link for link in (fiber_link(2, k, o) for k in range(120))}
    count = Counter(link.fault for link in truth.values())
    assert set(count) == {"", *FAULTS} and min(count.values()) >= 4
    found = verdicts(batches)
    assert {v for x, v in found.items() if not truth[x].fault} == {"pass"}
    assert "fail" in {v for x, v in found.items() if truth[x].fault == "dirty"}, "some hide in a loose limit"
    events = [r for b in batches for r in grading.grade(b)["verdicts"].to_pylist() if "-trace-" in r["record_id"]]
    failing = {r["link_label"] for r in events if r["verdict"] == "fail"}
    assert failing == {x for x, link in truth.items() if link.fault in ("dirty", "bend", "splice")}
    rows = [r for b in batches for r in check(grading.grade(b)).to_pylist() if r["status"] == "raised"]
    rows += [r for r in check_job([grading.grade(b) for b in batches]).to_pylist() if r["status"] == "raised"]
    told = {name: {r["link_label"] for r in rows if r["rule"] == name} for name in {r["rule"] for r in rows}}
    drifted = {x for x, link in truth.items() if link.fault == "drift"}
    assert told["traces-contradict-loss-test"] == drifted
    assert told["macrobend-suspected"] == {x for x, link in truth.items() if link.fault == "bend"}


def test_curves_have_the_slope_of_their_glass() -> None:
    """Backscatter falls by the coefficient of the glass over distance, away from events (least squares)."""
    import numpy as np

    o = FiberOptions(fault_share=0.0, traces=True)
    (batch,) = simulate_fiber(2, 4, o)
    axes = {r["axis_id"]: np.array(r["distances_km"]) for r in batch["axes"].to_pylist()}
    for r in batch["sweeps"].to_pylist():
        link = fiber_link(4, int(r["record_id"].split("-")[3]), o)
        km, level = axes[r["axis_id"]], np.array(r["values"])
        where = (km > link.length_km * 0.05) & (km < link.length_km * 0.25)
        assert -np.polyfit(km[where], level[where], 1)[0] == pytest.approx(link.db_km(r["wavelength_nm"]), abs=0.05)
    assert math.isclose(axes[r["axis_id"]][1], 0.001)


def test_options_out_of_range_are_one_line() -> None:
    for changes in ({"glass": "os9"}, {"fault_share": 1.5}, {"records": 0}):
        with pytest.raises(Trouble):
            next(iter(simulate_fiber(1, 1, **changes)))
