"""What holds for every record: grading is monotone, blind to names and to company."""

import itertools

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from archive import vocabulary
from archive.grading import grade
from archive.tables import identical
from tests.grading import making
from tests.grading.making import CAT5, CAT6A, CLASS_EA, batch, grades, grid, record, verdict

LIMITS = (CAT5, "tia-568.2-d/cat5e/channel", "tia-568-b/cat6/channel", CAT6A, CLASS_EA, "ieee-802.3/1000base-t")
F = grid(1, 500)
few = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@st.composite
def records(draw, limit=None, spoilt=True, record_id="re-1"):
    """An invented record: curves near a limit with noise, some points missing or bounds, some curves missing."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    limit = limit or draw(st.sampled_from(LIMITS))
    margin = draw(st.sampled_from((-1.0, 0.0, 0.5, 3.0, 8.0)))
    top = making.limits.get(limit).range_mhz[1]
    f = np.unique(np.append(F[top > F], top))
    part = record("tia-568.2-d/cat5e/channel" if limit.startswith("ieee") else limit, margin, f, record_id)
    part["records"][0]["limit_found"] = limit
    for row in part["sweeps"]:
        values = np.array(row["values"]) + np.round(rng.normal(0, 0.8, len(f)), 1)
        row["values"] = [max(0.1, round(v, 6)) for v in values.tolist()]
    if spoilt and draw(st.booleans()):
        for row in part["sweeps"]:
            if rng.random() < 0.1:
                row["values"][int(rng.integers(len(f)))] = None
            if rng.random() < 0.1:
                row["above"] = [int(rng.integers(len(f)))]
            if rng.random() < 0.05:
                row["below"] = [int(rng.integers(len(f)))]
        part["sweeps"] = [row for row in part["sweeps"] if rng.random() > 0.03]
    return part


@few
@given(records(spoilt=False), st.data())
def test_margins_never_rise_as_a_curve_worsens(part, data):
    before = {r["parameter"]: r for r in grades(grade(batch(part)), kind="overall")}
    row = part["sweeps"][data.draw(st.integers(0, len(part["sweeps"]) - 1))]
    points = data.draw(st.lists(st.integers(0, len(row["values"]) - 1), min_size=1, max_size=6))
    by = data.draw(st.sampled_from((0.1, 1.0, 5.0)))
    sign = 1 if vocabulary.parameter(row["parameter"]).sense == "max" else -1
    for point in points:
        row["values"][point] = row["values"][point] + sign * by
    after = {r["parameter"]: r for r in grades(grade(batch(part)), kind="overall")}
    for parameter, old in before.items():
        new = after[parameter]
        if old["margin"] is not None:
            assert new["margin"] <= old["margin"] + 1e-9, parameter
        assert not (old["verdict"] == "fail" and new["verdict"] == "pass")
    mine = after.get(row["parameter"])
    if mine is not None and mine["margin"] is not None and len(points) == len(row["values"]):
        assert mine["margin"] < before[row["parameter"]]["margin"]


@few
@given(records("tia-568.2-d/cat5e/channel", spoilt=False))
def test_a_power_sum_is_never_better_than_its_worst_contributor(part):
    graded = grade(batch(part))
    for whole, piece, of in (("ps_next", "next", None), ("ps_acr_f", "acr_f", 1), ("ps_acr_n", "acr_n", 1)):
        worst = {(r["end"], r["pairing"]): r["value"] for r in grades(graded, parameter=whole, kind="worst_value")}
        assert len(worst) == 8
        for row in grades(graded, parameter=piece, kind="worst_value"):
            pairs = row["pairing"].split("/")
            for pair in pairs if of is None else pairs[of:]:
                assert worst[row["end"], pair] < row["value"]
    # three equal contributors are worth 4.771 dB (handbooks), so the sum is never further below the worst of them
    for whole, piece in (("ps_acr_f", "acr_f"), ("ps_next", "next")):
        for row in grades(graded, parameter=whole, kind="worst_value"):
            same = [
                r["value"]
                for r in grades(graded, parameter=piece, kind="worst_value", end=row["end"])
                if row["pairing"] in r["pairing"].split("/")[0 if piece == "next" else 1 :]
            ]
            assert row["value"] >= min(same) - 4.7713


@few
@given(records(), st.sampled_from(list(itertools.permutations(vocabulary.PAIRS))))
def test_renumbering_pairs_permutes_results_and_changes_nothing_else(part, order):
    name = dict(zip(vocabulary.PAIRS, order, strict=True))

    def renamed(pairing):
        if pairing is None:
            return None
        return "/".join(name[p] for p in pairing.split("/"))

    def of(graded, rename):
        out = {}
        for row in graded["grades"].to_pylist():
            pairing = rename(row["pairing"])
            if pairing and vocabulary.parameter(row["parameter"]).per == "combination":
                pairing = "/".join(sorted(pairing.split("/"), key=vocabulary.PAIRS.index))
            key = (row["parameter"], row["kind"], row["end"], pairing)
            out[key] = {k: v for k, v in row.items() if k not in ("pairing",)}
        return out

    before = grade(batch(part))
    for row in part["sweeps"]:
        row["pairing"] = renamed(row["pairing"])
    for row in part["readings"]:
        row["subject"] = renamed(row["subject"])
    after = grade(batch(part))
    assert of(before, renamed) == of(after, lambda p: p)
    keep = ("verdict", "margin", "provisional", "within_resolution", "covers_to_mhz", "reason")
    assert {k: verdict(before)[k] for k in keep} == {k: verdict(after)[k] for k in keep}


@settings(parent=few, max_examples=10)
@given(st.lists(records(), min_size=2, max_size=6), st.sampled_from([None, CAT5, (CAT6A, CLASS_EA)]))
def test_a_batch_of_many_grades_as_each_alone(parts, against):
    for i, part in enumerate(parts):
        for table in ("records", "sweeps", "readings"):
            for row in part[table]:
                row["record_id"] = f"re-{i}"
    together = batch(*parts)
    graded = grade(together, against)
    alone = [grade(batch(part), against) for part in parts]
    for name in ("grades", "verdicts"):
        import pyarrow as pa

        assert identical(graded[name], pa.concat_tables([one[name] for one in alone]).combine_chunks()), name


@few
@given(records())
def test_grading_twice_gives_the_same_bytes(part):
    one = grade(batch(part))
    again = grade(one)
    assert one.equals(again)


@pytest.mark.parametrize("limit", LIMITS)
def test_exact_and_doubtful_records_of_the_same_values_grade_alike(limit):
    """A mark that says nothing new (a missing point in a curve that nothing else uses) changes no other row."""
    part = record("tia-568.2-d/cat5e/channel" if limit.startswith("ieee") else limit)
    before = grade(batch(part), limit)
    part["sweeps"][-1] = {**part["sweeps"][-1], "values": [None, *part["sweeps"][-1]["values"][1:]]}
    after = grade(batch(part), limit)
    last = part["sweeps"][-1]
    touched = {last["parameter"], "acr_f", "ps_acr_f", "elfext", "ps_elfext", "ps_fext", "acr_n", "ps_acr_n", "ps_next"}
    for row, new in zip(before["grades"].to_pylist(), after["grades"].to_pylist(), strict=True):
        if row["parameter"] not in touched:
            assert row == new


ORDER = {"fail": 0, "not graded": 1, "pass": 2}


def firmness(found):
    """0 not graded, 1 provisional, 2 firm."""
    return 0 if found["verdict"] == "not graded" else 1 if found["provisional"] else 2


def by_parameter(part):
    graded = grade(batch(part))
    rows = {row["parameter"]: row for row in grades(graded, kind="overall")}
    return {**rows, "": verdict(graded)}


@few
@given(records(spoilt=False), st.data())
def test_a_verdict_never_gets_better_when_frequencies_are_taken_away(part, data):
    """Whole points of the axis go: gaps in the middle, ends that stop short, grids that become coarse.

    A value that is missing at a point of the axis leaves that point open; a point that was never measured is judged by
    the gap alone. So the records here have all their values.
    """
    before = by_parameter(part)
    f = np.array(part["axes"][0]["frequencies_mhz"])
    low, high = sorted(data.draw(st.tuples(st.sampled_from(f.tolist()), st.sampled_from(f.tolist()))))
    keep = (f < low) | (f > high)
    if data.draw(st.booleans()):
        keep &= np.arange(len(f)) % data.draw(st.integers(2, 5)) == 0
    if not keep.any():
        return
    place = np.cumsum(keep) - 1
    part["axes"] = [making.axis_row(f[keep])]
    for row in part["sweeps"]:
        row["axis_id"] = part["axes"][0]["axis_id"]
        row["values"] = [v for v, k in zip(row["values"], keep, strict=True) if k]
        for marks in ("above", "below"):
            row[marks] = [int(place[p]) for p in row.get(marks, []) if keep[p]]
    after = by_parameter(part)
    for name, old in before.items():
        new = after.get(name)
        if new is not None and old["verdict"] != "fail":
            assert ORDER[new["verdict"]] <= ORDER[old["verdict"]], name
            assert new["verdict"] == "fail" or firmness(new) <= firmness(old), name
        if new is not None and old["verdict"] == "fail" and new["verdict"] == "pass":
            assert new["provisional"] and "largest gap" in new["reason"], "the failing points were taken away"


@few
@given(records(), st.data())
def test_a_verdict_is_never_firmer_when_knowledge_of_values_is_taken_away(part, data):
    """Values of anything but insertion loss become missing, or only bounds on the unfavourable side."""
    before = by_parameter(part)
    rows = [row for row in part["sweeps"] if row["parameter"] != "insertion_loss"]
    for row in data.draw(st.lists(st.sampled_from(rows), min_size=1, max_size=4)):
        for point in data.draw(st.lists(st.integers(0, len(row["values"]) - 1), min_size=1, max_size=5)):
            kind = data.draw(st.sampled_from(("missing", "above", "below")))
            row["above"] = [p for p in row.get("above", []) if p != point]
            row["below"] = [p for p in row.get("below", []) if p != point]
            if kind == "missing" or row["values"][point] is None:
                row["values"][point] = None
            else:
                row[kind] = [*row[kind], point]
    after = by_parameter(part)
    for name, old in before.items():
        new = after.get(name)
        if new is not None:
            assert ORDER[new["verdict"]] <= ORDER[old["verdict"]] or new["verdict"] == "not graded", name
            assert firmness(new) <= firmness(old), name


@few
@given(records(CLASS_EA, spoilt=False), st.data())
def test_without_insertion_loss_no_verdict_of_what_it_exempts_is_firmer(part, data):
    """All of insertion loss goes, or the curve of one pair."""
    before = by_parameter(part)
    gone = data.draw(st.sampled_from((*making.PAIRS, None)))
    part["sweeps"] = [
        row for row in part["sweeps"] if row["parameter"] != "insertion_loss" or (gone and row["pairing"] != gone)
    ]
    after = by_parameter(part)
    for name in ("return_loss", "next", "ps_next"):
        assert firmness(after[name]) <= firmness(before[name])
        assert after[name]["verdict"] != "pass" or before[name]["verdict"] == "pass"
