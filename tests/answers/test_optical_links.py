"""Ends and directions of a fiber that were handed in apart: graded together, records unchanged, and said so."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from archive import formats, store
from archive.answers.claim.compose import compose
from archive.answers.claim.gather import gather
from archive.answers.documents import html
from archive.answers.intake import Choices, ingest
from archive.answers.progress import progress
from archive.demo.backbone import job as backbone
from archive.demo.exports import BACKBONE_MAPPINGS
from archive.store import Archive
from archive.store.deposits import DepositFacts, Receipt
from archive.tables import Batch
from tests.grading.fiber_making import BOTH, loss_test

FACTS = DepositFacts(job="J", site="S", zone="Europe/Lisbon")
ISO = {"limit_found": "ISO/IEC 11801-1:2017 OM4", "cable_type": "om4/50"}


def put(archive: Archive, folder: Path, *batches: Batch) -> Receipt:
    """A deposit of open XML files, one for each batch."""
    folder.mkdir()
    for number, batch in enumerate(batches):
        formats.write([batch], folder / f"{number}.xml")
    return ingest(archive, [folder], FACTS)


def one_way(way: str, record: str, db: float = 1.2, **columns: Any) -> Batch:
    """850 and 1300 nm of one fiber in one direction; another record for each direction."""
    batch = loss_test({("A", 850.0, way): db, ("A", 1300.0, way): 0.7}, **ISO, **columns)
    rows = {name: [{**r, "record_id": record} for r in batch[name].to_pylist()] for name in ("records", "readings")}
    return Batch.from_rows(rows)


def rows(archive: Archive) -> dict[str, dict[str, Any]]:
    archive.catch_up()
    found = archive.db.execute("SELECT record_id, deposit, position, verdict FROM records ORDER BY row").fetchall()
    return {r["record_id"]: dict(r) for r in found}


def reason(archive: Archive, record: str) -> str:
    row = rows(archive)[record]
    (verdict,) = archive.tables(row["deposit"]).record(row["position"])["verdicts"].to_pylist()
    return str(verdict["reason"])


@pytest.fixture
def archive(tmp_path: Path) -> Archive:
    return store.create(tmp_path / "archive")


def test_both_directions_are_asked_for_and_found_in_another_deposit(archive: Archive, tmp_path: Path) -> None:
    """ISO/IEC 14763-3 asks for both directions (reference 1.5, O20): one alone is not graded; with the other it is."""
    put(archive, tmp_path / "one", one_way(BOTH[0], "there"))
    assert rows(archive)["there"]["verdict"] == "not graded" and "one direction" in reason(archive, "there")
    told = put(archive, tmp_path / "two", one_way(BOTH[1], "back")).plain()
    assert told["retests"] == 1 and told["renditions"] == 0, "of one minute: neither tells less than the other"
    assert progress(archive, "J").counts.of("passing") == ["B-1"]
    assert rows(archive)["back"]["verdict"] == "pass"
    assert "losses of the other direction are those of the record there of 2021-03-04" in reason(archive, "back")
    assert rows(archive)["there"]["verdict"] == "not graded", "no record and no verdict of it ever changes"
    facts, _ = gather(archive, "B-1", job="J")
    text = html(compose(facts))
    assert "rests on a second record too" in text[: text.index("Time line")]
    digests = {r["record_id"]: r["digest"] for r in archive.db.execute("SELECT record_id, digest FROM records")}
    alone = store.create(tmp_path / "alone")
    put(alone, tmp_path / "three", one_way(BOTH[1], "back"))
    assert digests["back"] == next(iter(alone.db.execute("SELECT digest FROM records")))[0]


def test_in_one_deposit_two_batches_find_each_other(archive: Archive, tmp_path: Path) -> None:
    put(archive, tmp_path / "one", one_way(BOTH[0], "there"), one_way(BOTH[1], "back"))
    assert {r["verdict"] for r in rows(archive).values()} == {"pass"}


@pytest.mark.parametrize(
    "other",
    [
        {"reference_method": "three-cord"},
        {"connections": 3},
        {"link_label": "B-2"},
        {"tested_local": "2021-05-04T10:15"},
        {"length_m": 340.0},
    ],
)
def test_directions_that_do_not_belong_together_stay_apart(
    other: dict[str, Any], archive: Archive, tmp_path: Path
) -> None:
    put(archive, tmp_path / "one", one_way(BOTH[0], "there"))
    put(archive, tmp_path / "two", one_way(BOTH[1], "back", **other))
    assert rows(archive)["back"]["verdict"] == "not graded"


def test_a_fail_of_the_other_direction_fails_both_and_is_no_word_of_this_instrument(
    archive: Archive, tmp_path: Path
) -> None:
    """300 m of OM4: 3.5 dB/km and two connections are 2.55 dB (reference W7)."""
    put(archive, tmp_path / "one", one_way(BOTH[0], "there", 2.6, reported_verdict="fail"))
    put(archive, tmp_path / "two", one_way(BOTH[1], "back", reported_verdict="pass"))
    assert [r["verdict"] for r in rows(archive).values()] == ["fail", "fail"]
    assert "instrument says" not in reason(archive, "back") and "of the record there" in reason(archive, "back")


def test_traces_of_both_ends_from_two_deposits_are_graded_as_means(archive: Archive, tmp_path: Path) -> None:
    label = backbone.SINGLE_MODE[0]
    for way in (0, 1):
        folder = tmp_path / f"end-{way}"
        folder.mkdir()
        (folder / "1310.sor").write_bytes(backbone.trace(label, 1310, way))
        ingest(archive, [folder], FACTS)
    first, second = rows(archive).values()
    assert "means of both ends" not in reason(archive, first["record_id"])
    assert f"means of both ends, with the trace {first['record_id']}" in reason(archive, second["record_id"])


def test_rules_across_records_look_at_a_deposit_and_at_what_was_there(archive: Archive, tmp_path: Path) -> None:
    """A drifted reference shows where the traces of the link come later; once told it is not told again."""
    exports, traces = tmp_path / "exports", tmp_path / "traces"
    for name, content in backbone.files():
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    mappings = [Path(backbone.__file__).parents[1] / name for name in BACKBONE_MAPPINGS]
    first = ingest(archive, [exports], FACTS, Choices(mapping=mappings)).plain()
    assert "traces-contradict-loss-test" not in {f["rule"] for f in first["found"]}
    second = ingest(archive, [traces], FACTS).plain()
    told = {f["rule"]: f["count"] for f in second["found"]}
    assert told["traces-contradict-loss-test"] == 1 and second["findings"]["warning"] >= 1
    found = archive.tables(second["deposit"]).table("findings").to_pylist()
    (said,) = (r for r in found if r["rule"] == "traces-contradict-loss-test")
    assert (said["link_label"], said["record_id"]) == (backbone.DRIFTED, None) and "by its traces" in said["message"]
    again = tmp_path / "again"
    again.mkdir()
    (again / "x.sor").write_bytes(backbone.trace(backbone.SINGLE_MODE[1], 1310, 0))
    assert "traces-contradict-loss-test" not in {f["rule"] for f in ingest(archive, [again], FACTS).plain()["found"]}


def test_equal_numbers_under_two_links_are_told_at_the_deposit(archive: Archive, tmp_path: Path) -> None:
    losses = {(fiber, nm, way): db for fiber in "AB" for nm, db in ((850.0, 1.21), (1300.0, 0.83)) for way in BOTH}
    one = loss_test(losses, **ISO, record_id="re-1")
    other = {
        name: [{**r, "record_id": "re-2"} | ({"link_label": "B-9", "tested_local": "2021-03-04T11:15"}
               if name == "records" else {}) for r in one[name].to_pylist()]
        for name in ("records", "readings")
    }  # fmt: skip
    put(archive, tmp_path / "one", one)
    told = put(archive, tmp_path / "two", Batch.from_rows(other)).plain()
    assert "optical-losses-under-two-links" in {f["rule"] for f in told["found"]}


def test_check_and_a_new_grading_see_both_ends_of_an_archive(archive: Archive, tmp_path: Path) -> None:
    from archive.answers.regrade import regrade
    from archive.store.assessments import of_records
    from archive.store.catalogue.filters import Filters

    put(archive, tmp_path / "one", one_way(BOTH[0], "there"))
    put(archive, tmp_path / "two", one_way(BOTH[1], "back"))
    outcome = regrade(archive, Filters(job="J"), by=None, reason=None)
    assert outcome.verdicts == {"pass": 2}
    row = rows(archive)["there"]
    (said,) = of_records(archive, [f"{row['deposit']}/{row['position']}"])
    assert "of the record back" in said.verdicts[0]["reason"]


def test_a_trace_under_another_fiber_is_told_as_a_copy(archive: Archive, tmp_path: Path) -> None:
    """Points of two traces never agree to the last digit: noise makes them differ, from both ends of one fiber too."""
    first, copy = tmp_path / "first", tmp_path / "copy"
    label = backbone.SINGLE_MODE[0]
    for folder, name in ((first, label), (copy, "BB-9-99")):
        folder.mkdir()
        content = backbone.trace(label, 1310, 0)
        later = content.replace(label.encode() + b"\0", name.encode() + b"\0")
        (folder / "t.sor").write_bytes(later)
    (first / "back.sor").write_bytes(backbone.trace(label, 1310, 1))
    assert ingest(archive, [first], FACTS).plain()["copied_curves"] == 0
    made = ingest(archive, [copy], FACTS).plain()
    assert made["copied_curves"] + made["relabelled"] == 1


def test_of_a_large_job_the_same_links_are_still_graded_together(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("archive.answers.optical_links.MOST_RECORDS", 1)
    put(archive, tmp_path / "one", one_way(BOTH[0], "there"), one_way(BOTH[0], "other", link_label="B-7"))
    told = put(archive, tmp_path / "two", one_way(BOTH[1], "back")).plain()
    assert rows(archive)["back"]["verdict"] == "pass"
    assert any("too many to be held against each other" in text for text in told["cautions"])
