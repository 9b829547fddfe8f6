"""The demo job: its files are as they would come from a site, and what was planted in them can be found."""

import csv
import tomllib
from pathlib import Path

import numpy as np
import pytest

from archive import formats, grading, validation
from archive.demo import analyser, exports, job, population
from archive.demo.curves import curves
from archive.tables import concat
from tests.demo import provisional


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("job")
    exports.write(path)
    return path


@pytest.fixture(scope="module")
def graded(folder):
    return grading.grade(concat(formats.read(folder / "exports", mapping=folder / exports.MAPPING)))


def test_every_export_is_read_and_nothing_set_aside(folder):
    reading = formats.read(folder / "exports", mapping=folder / exports.MAPPING, draft=False)
    batch = concat(reading)
    assert len(batch) == 60
    assert batch["set_aside"].num_rows == 0
    assert len({f.layout for f in reading.files if f.layout}) >= 3
    assert sum(f.stat().st_size for f in folder.rglob("*") if f.is_file()) < 20e6


def test_what_is_written_is_the_same_every_time(folder, tmp_path):
    exports.write(tmp_path)
    ours = {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file() and p.suffix != ".zip"}
    again = {p.relative_to(tmp_path): p.read_bytes() for p in tmp_path.rglob("*") if p.is_file() and p.suffix != ".zip"}
    assert ours == again


def test_everything_says_that_it_is_invented(folder):
    assert "INVENTED" in (folder / "README.txt").read_text()
    assert "invented" in (folder / "documents" / "calibration-40-00317.txt").read_text()
    for path in folder.glob("exports/laboratory/*"):
        assert "nvented" in path.read_text()[:200]


def verdicts(graded):
    return {(r["link_label"], i): r for i, r in enumerate(graded["verdicts"].to_pylist())}


def test_the_failing_link_fails_and_passes_after_it_was_mended(graded):
    ours = [r for r in graded["verdicts"].to_pylist() if r["link_label"] == job.FAILING]
    when = dict(
        zip(graded["records"]["record_id"].to_pylist(), graded["records"]["tested_local"].to_pylist(), strict=True)
    )
    ours.sort(key=lambda r: when[r["record_id"]])
    assert [(r["verdict"], r["agrees"]) for r in ours] == [("fail", True), ("pass", True)]
    assert ours[0]["parameter"] == "next"


def test_the_turned_verdict_is_told(graded):
    (ours,) = [r for r in graded["verdicts"].to_pylist() if r["link_label"] == job.FLIPPED]
    assert (ours["verdict"], ours["agrees"]) == ("fail", False)
    found = {(r["link_label"], r["rule"]) for r in validation.check(graded).to_pylist() if r["status"] == "raised"}
    assert (job.FLIPPED, "verdict-contradicts-margins") in found


def test_no_other_link_fails_or_disagrees(graded):
    odd = {
        r["link_label"]
        for r in graded["verdicts"].to_pylist()
        if r["verdict"] != "pass" or r["agrees"] is False or r["limit_id"] != job.LIMIT
    }
    assert odd == {job.FAILING, job.FLIPPED, job.SHORT}


def test_the_short_sweep_is_not_graded_and_found(graded):
    (ours,) = [r for r in graded["verdicts"].to_pylist() if r["link_label"] == job.SHORT]
    assert ours["verdict"] == "not graded" and ours["covers_to_mhz"] == job.SHORT_TO_MHZ
    errors = {
        (r["rule"], r["link_label"])
        for r in validation.check(graded).to_pylist()
        if r["severity"] == "error" and r["status"] == "raised" and r["link_label"] not in exports.LABORATORY
    }
    assert ("sweep-stops-short", job.SHORT) in errors
    expired = {label for rule, label in errors if rule == "calibration-expired"}
    assert expired == set(job.labels(3, "C", 10))
    assert {label for _, label in errors} == expired | {job.SHORT, job.FLIPPED}


def test_the_copied_curves_are_the_only_equal_ones(graded):
    labels = dict(
        zip(graded["records"]["record_id"].to_pylist(), graded["records"]["link_label"].to_pylist(), strict=True)
    )
    near = {}
    for row in graded["sweeps"].to_pylist():
        if row["parameter"] == "next" and row["pairing"] == "1-2/3-6" and row["end"] == "local":
            near.setdefault(tuple(row["values"]), []).append(labels[row["record_id"]])
    assert [sorted(group) for group in near.values() if len(group) > 1] == [list(job.COPIED)]


def test_the_schedule_lacks_and_misses_what_was_planted(folder, graded):
    with (folder / "link-schedule.csv").open(newline="") as file:
        scheduled = {row["link"] for row in csv.DictReader(file)}
    assert len(scheduled) == 64
    tested = set(graded["records"]["link_label"].to_pylist()) | set(job.labels(0, "E", 4))
    assert scheduled - tested == {job.MISSING, job.LETTER_O[0]}
    assert tested - scheduled == {job.LETTER_O[1]}


def test_the_analyser_sees_the_link_that_the_field_tester_would_see(folder):
    """The network-analyser reader, which is held against scikit-rf elsewhere, gives back the simulated curves."""
    o = job.options()
    links, _ = population.links(job.SEED, np.arange(144, 160), o, o.of_job(job.SEED, 0))
    want = curves(links)[0]
    (batch,) = formats.read(folder / "exports" / "laboratory" / "3A-D01.s8p")
    assert batch["findings"].num_rows == 0
    rows = {(r["parameter"], r["end"], r["pairing"]): np.array(r["values"]) for r in batch["sweeps"].to_pylist()}
    from archive.demo.columns import CURVES

    for curve, values in zip(CURVES, want, strict=True):
        strong = values < 50
        assert np.abs(rows[curve] - values)[strong].max(initial=0) < 0.8, curve
    delay = {r["subject"]: r["value"] for r in batch["readings"].to_pylist()}
    from archive.demo.curves import delay_ns

    assert np.abs(np.array(list(delay.values())) - delay_ns(links, np.array([10.0]))[0, :, 0]).max() < 3


def test_what_the_analyser_sees_is_passive_and_reciprocal():
    o = job.options()
    links, _ = population.links(job.SEED, np.arange(144, 160), o, o.of_job(job.SEED, 0))
    s = analyser.scattering(links)
    assert np.array_equal(s, s.transpose(0, 1, 3, 2))
    assert np.linalg.svd(s, compute_uv=False).max() < 1


def test_the_port_maps_are_toml(folder):
    maps = sorted((folder / "exports" / "laboratory").glob("*.toml"))
    assert [tomllib.loads(p.read_text())["link"] for p in maps] == ["3A-D01", "3A-D02"]
    assert all(Path(p).with_suffix(".s8p").exists() for p in maps)


def test_the_mapped_layout_gives_back_what_was_written(folder):
    """Every curve and reading that the subcontractor's layout carries comes back to the last digit, no cell is lost."""
    want = job.floor_3()
    (batch,) = formats.read(folder / "exports" / "fen-and-sallow" / "floor-3.csv", mapping=folder / exports.MAPPING)
    (source,) = batch["sources"].to_pylist()
    assert source["layout"] == "sallow-curves" and source["encoding"] == "cp1252"
    assert source["cells_mapped"] == source["cells_read"] > 0

    def curves_of(b):
        label = dict(zip(b["records"]["record_id"].to_pylist(), b["records"]["link_label"].to_pylist(), strict=True))
        rows = b["sweeps"].to_pylist()
        return {(label[r["record_id"]], r["parameter"], r["end"], r["pairing"]): r["values"] for r in rows}

    assert curves_of(batch) == curves_of(want)
    for name in ("tested_local", "reported_verdict", "velocity_percent", "link_label"):
        assert batch["records"][name].to_pylist() == want["records"][name].to_pylist()
    kept = ("length", "propagation_delay")
    ours = [(r["quantity"], r["subject"], r["value"]) for r in batch["readings"].to_pylist()]
    told = [(r["quantity"], r["subject"], r["value"]) for r in want["readings"].to_pylist() if r["quantity"] in kept]
    assert sorted(ours) == sorted(told)


def test_the_layout_that_nothing_describes_is_drafted_whole(folder):
    want = {r["link_label"]: r for r in job.basement()["records"].to_pylist()}
    (batch,) = formats.read(folder / "old-folder")
    assert batch["set_aside"].num_rows == 0 and batch["extras"].num_rows == 0
    for row in batch["records"].to_pylist():
        told = want[row["link_label"]]
        assert row["evidence"] == "worst-points"
        for name in ("tested_local", "limit_found", "cable_found", "reported_verdict"):
            assert row[name] == told[name]
    assert len(batch) == len(want) == 4
    ours = {(r["parameter"], r["end"], r["pairing"], r["margin"]) for r in batch["reported"].to_pylist()}
    rows = [r for r in job.basement()["reported"].to_pylist() if r["kind"] == "worst_margin" and r["frequency_mhz"]]
    assert ours == {(r["parameter"], r["end"], r["pairing"], r["margin"]) for r in rows}


def test_how_many_verdicts_are_provisional_and_why(graded):
    """The README tells this figure (python -m tests.demo.provisional prints it): none, since what remains from memory
    of the demo's limit, the 3 dB rule and two caps, decides nothing here."""
    found = provisional.figure(graded)
    assert (found["verdicts"], found["provisional"], found["because"]) == (60, 0, {})
    assert found["from_memory"] == {
        "tia-568.2-d/cat6a/permanent-link": [
            "return loss: for information where the insertion loss measured is below 3 dB",
            "ACR-F: values above revert to 65",
            "PS ACR-F: values above revert to 62",
        ]
    }
