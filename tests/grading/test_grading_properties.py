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
F = grid(1, 500, 24)
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
