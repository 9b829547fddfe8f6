"""The link simulator: what it promises to those who use it."""

from collections import Counter
from itertools import pairwise

import numpy as np
import pyarrow as pa
import pytest

from archive import vocabulary
from archive.demo import cables, jobs
from archive.demo.simulator import BadBatch, Cable, planted, simulate
from archive.errors import Trouble


def values_of(batches):
    """Curves as float64 (records, curves, points)."""
    parts = []
    for batch in batches:
        flat = batch["sweeps"].column("values").combine_chunks().flatten().to_numpy()
        parts.append(flat.reshape(len(batch), batch["sweeps"].num_rows // len(batch), -1))
    return np.concatenate(parts)


def whole(batches, name):
    return pa.concat_tables([b[name] for b in batches])


def test_a_full_test_carries_48_measured_curves_on_the_grid_of_a_field_test():
    batch = next(simulate(3, 1))
    assert len(batch) == 3
    # 202 + 276 + 300 + 250 points, from 1 to 500 MHz (steps: common practice, no source read)
    (axis,) = batch["axes"].to_pylist()
    f = np.array(axis["frequencies_mhz"])
    assert len(f) == 1028 and f[0] == 1 and f[-1] == 500
    assert np.all(np.diff(f) > 0) and np.diff(f).max() <= 1.0
    rows = batch["sweeps"].to_pylist()
    counted = Counter(r["parameter"] for r in rows[:48])
    assert counted == {"insertion_loss": 4, "return_loss": 8, "next": 12, "fext": 24}
    assert {len(r["values"]) for r in rows} == {1028}
    assert {r["origin"] for r in rows} == {"measured"}
    assert len({(r["parameter"], r["end"], r["pairing"]) for r in rows[:48]}) == 48
    for r in rows[:48]:
        word = vocabulary.parameter(r["parameter"])
        assert r["pairing"] in vocabulary.pairings(word.per)
        assert (r["end"] in vocabulary.ENDS) == word.ends


@pytest.mark.parametrize(("category", "points", "top"), [("cat5e", 478, 100), ("cat6", 778, 250), ("cat7", 1128, 600)])
def test_other_categories_end_where_they_end(category, points, top):
    f = cables.grid(category)
    assert (len(f), f[-1]) == (points, top)
    assert values_of(simulate(2, 1, category=category)).shape == (2, 48, points)


def test_link_k_depends_on_seed_and_k_alone():
    everything = list(simulate(60, 9))
    some = list(simulate(21, 9, start=30, records=5))
    assert [len(b) for b in some] == [5, 5, 5, 5, 1]
    for name, per_record in (("records", 1), ("sweeps", 48), ("readings", 27), ("wiremap", 9)):
        all_rows = whole(everything, name)
        assert all_rows.num_rows == 60 * per_record
        assert all_rows.slice(30 * per_record, 21 * per_record).equals(whole(some, name))
    said = whole(everything, "reported")
    each = said.num_rows // 60
    assert said.slice(30 * each, 21 * each).equals(whole(some, "reported"))
    assert not np.array_equal(values_of(simulate(60, 10))[:, 20], values_of(everything)[:, 20])


def test_curves_not_rounded_are_the_same_links():
    rounded = values_of(simulate(5, 2))
    fine = values_of(simulate(5, 2, step=None))
    assert np.abs(rounded - fine).max() < 0.0501
    assert np.array_equal(np.round(rounded * 10), np.round(rounded * 10, 9))  # whole tenths
    assert float(f"{rounded[0, 0, 500]:.1f}") == rounded[0, 0, 500]
    assert np.mean(np.abs(fine * 10 - np.round(fine * 10)) < 1e-6) < 0.01


def test_derived_curves_follow_from_the_measured_ones():
    batch = next(simulate(2, 1, derived=True))
    rows = batch["sweeps"].to_pylist()[:88]
    curves = {(r["parameter"], r["end"], r["pairing"]): np.array(r["values"]) for r in rows}
    assert {r["origin"] for r in rows if r["parameter"] in ("acr_f", "ps_next", "ps_acr_f")} == {"derived"}
    for end in vocabulary.ENDS:
        # ACR-F refers to the disturbed pair: source S32, copper assertion 19.
        for pairing in vocabulary.ORDERED:
            want = curves["fext", end, pairing] - curves["insertion_loss", None, pairing.split("/")[1]]
            assert np.allclose(curves["acr_f", end, pairing], want, atol=1e-9)
        # Power sum: mathematics, 40, 45, 50 dB give 38.489 dB (fibre and records reference, section 7).
        for pair in vocabulary.PAIRS:
            parts = [curves["next", end, c] for c in vocabulary.COMBINATIONS if pair in c.split("/")]
            total = -10 * np.log10(sum(10 ** (-p / 10) for p in parts))
            assert np.abs(curves["ps_next", end, pair] - total).max() < 0.0501


def test_far_end_crosstalk_is_reciprocal_but_for_noise():
    v = values_of(simulate(8, 3, fail_rate=0, step=None))
    here, there = v[:, 24:36], v[:, 36:48]
    turned = [vocabulary.ORDERED.index("/".join(reversed(c.split("/")))) for c in vocabulary.ORDERED]
    # the floor of the instrument lies 89 dB down at 500 MHz: at 65 dB two readings differ by a dB or two at the most
    strong = here < 65
    assert strong.mean() > 0.3
    assert np.abs(here - there[:, turned])[strong].max() < 2
    assert 0 < np.std((here - there[:, turned])[strong]) < 0.3


def test_the_planted_failures_are_the_reported_ones():
    batches = list(simulate(400, 4, fail_rate=0.1))
    said = np.array(whole(batches, "records")["reported_verdict"].to_pylist())
    truth = planted(400, 4, fail_rate=0.1)
    assert 20 <= truth["fails"].sum() <= 62  # 40 expected, deviation 6
    assert np.array_equal(said == "fail", truth["fails"])
    rows = whole(batches, "reported").to_pylist()
    failing = {}
    for row in rows:
        if row["kind"] == "worst_margin" and row["verdict"] == "fail":
            failing.setdefault(row["record_id"], set()).add(row["parameter"])
    ids = whole(batches, "records")["record_id"].to_pylist()
    for record, parameter in zip(ids, truth["parameter"].tolist(), strict=True):
        assert (parameter in failing[record]) if parameter else record not in failing


def test_scalars_only_keeps_identity_readings_and_verdict():
    full = list(simulate(70, 5, fail_rate=0.1, start=450))
    quick = list(simulate(70, 5, fail_rate=0.1, start=450, sweeps=False))
    assert sum(b["sweeps"].num_rows for b in quick) == 0
    for name in ("readings", "wiremap", "jobs", "instruments", "people"):
        assert whole(quick, name).equals(whole(full, name))
    a, b = whole(full, "records"), whole(quick, "records")
    left_out = ("evidence", "reported_marginal")
    assert b["evidence"].unique().to_pylist() == ["worst-points"]
    assert a.drop_columns(list(left_out)).equals(b.drop_columns(list(left_out)))
    for row in whole(quick, "reported").to_pylist():
        assert (row["margin"] < 0) == (row["verdict"] == "fail")


def test_repeats_are_the_same_link_within_the_noise_of_the_instrument():
    batches = list(simulate(20, 6, repeat_share=1.0, fail_rate=0))
    records = whole(batches, "records")
    assert records.num_rows == 40
    labels = records["link_label"].to_pylist()
    assert labels[0::2] == labels[1::2]
    times = records["tested_local"].to_pylist()
    assert all(a < b and a[:10] == b[:10] for a, b in zip(times[0::2], times[1::2], strict=True))
    v = values_of(batches)
    first, second = v[0::2], v[1::2]
    assert not np.array_equal(first, second)
    strong = first < 60
    assert np.sqrt(((first - second)[strong] ** 2).mean()) < 0.4
    # another link differs by a whole order more
    other = np.roll(first, 1, axis=0)
    rows = slice(4, 24)
    assert np.sqrt(((first - other)[:, rows] ** 2).mean()) > 5


def test_failing_links_are_mended_and_pass():
    batches = list(simulate(120, 4, fail_rate=0.2, retest_share=1.0))
    records = whole(batches, "records").to_pylist()
    truth = planted(120, 4, fail_rate=0.2)["fails"]
    assert len(records) == 120 + truth.sum()
    by_label = {}
    for r in records:
        by_label.setdefault((r["job_id"], r["link_label"]), []).append(r["reported_verdict"])
    assert Counter(map(tuple, by_label.values())) == {("pass",): 120 - truth.sum(), ("fail", "pass"): truth.sum()}


def test_residuals_within_a_bundle_correlate_as_asked():
    """Levels in dB around their smooth course. That the option means this correlation, and not that of amplitudes,
    rests on Li2(r^2) / Li2(1) for logarithms of powers of complex normal numbers (mathematics)."""
    f = cables.grid("cat6a")
    smooth = np.stack([np.ones_like(f), np.log10(f), np.log10(f) ** 2, np.sqrt(f)], axis=1)
    for wanted in (0.0, 0.5, 0.9):
        v = values_of(simulate(24, 5, fail_rate=0, bundle_correlation=wanted, equal_lengths=True))
        seen = []
        for row in range(12, 24):
            fit = smooth @ np.linalg.lstsq(smooth, v[:, row].T, rcond=None)[0]
            table = np.corrcoef(v[:, row] - fit.T)
            seen.append(table[np.triu_indices(24, 1)].mean())
        assert abs(np.mean(seen) - wanted) < 0.06
    lengths = next(simulate(24, 5, equal_lengths=True, sweeps=False))["readings"].to_pandas()
    spread = lengths[(lengths["quantity"] == "length") & (lengths["subject"] == "1-2")]["value"]
    assert spread.max() - spread.min() <= 0.3


def test_a_bad_lot_of_cable_fails_at_its_own_rate():
    good, bad = "cat6a/u-utp/awg23/solid", "cat6a/f-utp/awg23/solid"
    lots = (BadBatch(bad, "2019-01-01", "2020-12-31", 0.25),)
    truth = planted(96_000, 8, mixture=(Cable(good, 1.0, 0.02), Cable(bad, 1.0, 0.03)), bad_batches=lots)
    in_lot = (truth["cable_type"] == bad) & (truth["week"] >= "2019-01-01") & (truth["week"] <= "2020-12-31")
    rest = (truth["cable_type"] == bad) & ~in_lot
    assert in_lot.sum() > 3000
    assert abs(truth["fails"][in_lot].mean() - 0.25) < 0.03
    assert abs(truth["fails"][rest].mean() - 0.03) < 0.004
    assert abs(truth["fails"][truth["cable_type"] == good].mean() - 0.02) < 0.003
    shares = {t: (truth["cable_type"] == t).mean() for t in (good, bad)}
    assert abs(shares[good] - 0.5) < 0.12
    batch = next(simulate(3, 8, mixture=(Cable(good), Cable(bad)), sweeps=False))
    assert set(batch["records"]["cable_type"].to_pylist()) == {truth["cable_type"][0]}


def test_identities_are_those_of_a_real_life():
    records = whole(list(simulate(5000, 3, sweeps=False, readings=False, records=1000)), "records")
    pairs = list(zip(records["job_id"].to_pylist(), records["link_label"].to_pylist(), strict=True))
    assert len(set(pairs)) == 5000
    assert len(set(records["record_id"].to_pylist())) == 5000
    by_unit = {}
    for unit, at in zip(records["local_instrument_id"].to_pylist(), records["tested_at"].to_pylist(), strict=True):
        by_unit.setdefault(unit, []).append(at)
    # no instrument tests two links at once: a fully swept test takes 9 to 17 s (common practice, no source)
    for times in by_unit.values():
        times.sort()
        assert min((b - a).total_seconds() for a, b in pairwise(times)) > 20
    years = {t[:4] for t in records["tested_local"].to_pylist()}
    assert len(years) >= 4 and max(years) < "2026"


def test_every_test_lies_within_a_calibration_of_its_units():
    for number in range(0, 4000, 7):
        it = jobs.job(1, number)
        for unit in jobs.instruments(1, it.crew, it.week):
            assert unit["calibrated_on"] < it.week.isoformat()
            last = it.week.fromordinal(it.week.toordinal() + jobs.JOB // jobs.PER_DAY)
            assert last.isoformat() <= unit["calibration_due"]


def test_no_crew_is_at_two_jobs_in_a_week():
    seen = Counter((jobs.job(1, n).crew, jobs.job(1, n).week) for n in range(jobs.WEEKS * jobs.CREWS))
    assert max(seen.values()) == 1


def test_links_and_places_come_when_asked_for():
    batch = next(simulate(30, 1, links=True, sweeps=False))
    places = {p["place_id"] for p in batch["places"].to_pylist()}
    links = batch["links"].to_pylist()
    assert [x["label"] for x in links] == batch["records"]["link_label"].to_pylist()
    assert all({x["local_place_id"], x["remote_place_id"]} <= places for x in links)
    assert len(places) == 60


def test_every_word_is_of_the_vocabulary():
    from archive.tables import tables

    batch = next(simulate(40, 1, links=True, derived=True, retest_share=1.0, fail_rate=0.5))
    for name, table in batch.items():
        for column in tables()[name].columns:
            if column.words:
                found = set(table[column.name].unique().to_pylist()) - {None}
                assert found <= column.words, (name, column.name)


@pytest.mark.parametrize(
    "wrong",
    [
        {"category": "cat4"},
        {"bundle_correlation": 0.99},
        {"records": 5000},
        {"configuration": "basic-link"},
        {"length_m": (50.0, 40.0, 90.0)},
        {"construction": "quad"},
        {"mixture": (Cable("cat3/u-utp/awg24/solid"),)},
    ],
)
def test_an_option_out_of_range_is_told_in_a_line(wrong):
    with pytest.raises(Trouble) as told:
        next(simulate(1, 1, **wrong))
    assert "expected" in str(told.value) and "\n" not in str(told.value)
