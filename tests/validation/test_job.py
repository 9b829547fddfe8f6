"""Jobs as a whole: schedules, retests, the job in numbers, copies among its records."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from archive.grading import grade
from archive.tables import Batch, schema
from archive.validation import catalogue, check_job
from archive.validation.catalogue import policy
from archive.validation.job import JobCheck
from archive.validation.rules import job_rules
from tests.validation import examples, planted

TODAY = dt.date(2026, 11, 25)


def _schedule(*labels: str, **more: Any) -> Any:
    rows = [{"schedule_id": f"sc-{i}", "link_label": x, **more} for i, x in enumerate(labels)]
    return Batch.from_rows({"schedule": rows})["schedule"]


def _batch(*records: dict[str, Any], first: dict[str, Any] | None = None) -> Batch:
    steps: list[dict[str, Any]] = [{"table": "records", "set": first}] if first else []
    return examples.batch({"do": [*steps, *({"record": r} for r in records)]})


def _job(batch: Batch, schedule: Any = None) -> Any:
    job = JobCheck(schedule=schedule, today=TODAY)
    job.add(batch)
    return job.finish(lambda _: [batch])


def test_missing_and_unexpected_links() -> None:
    batch = _batch({"label": "2-TR2-A118", "seed": 2}, {"label": "2-TR2-B001", "seed": 3})
    outcome = _job(batch, _schedule("2-TR2-A117", "2-TR2-A118", "2-TR2-A119", "2-TR2-A120"))
    assert outcome.missing == ("2-TR2-A119", "2-TR2-A120")
    assert outcome.unexpected == ("2-TR2-B001",)
    counts = outcome.summary.counts
    assert (counts["scheduled"], counts.of("missing"), counts.of("unexpected")) == (
        4,
        list(outcome.missing),
        list(outcome.unexpected),
    )


def test_an_unexpected_link_is_told_with_the_missing_one_that_it_may_be() -> None:
    batch = _batch({"label": "2-TR2-A1188", "seed": 2})
    found = _job(batch, _schedule("2-TR2-A117", "2-TR2-A118")).findings.to_pylist()
    message = next(f["message"] for f in found if f["rule"] == "link-unexpected")
    assert "2-TR2-A118 is, and is missing" in message


def test_the_latest_version_of_a_schedule_counts() -> None:
    rows = [
        {"schedule_id": "a", "version": "1", "link_label": "2-TR2-A117"},
        {"schedule_id": "b", "version": "1", "link_label": "2-TR2-A199"},
        {"schedule_id": "c", "version": "2", "link_label": "2-TR2-A117"},
    ]
    outcome = _job(_batch(), Batch.from_rows({"schedule": rows})["schedule"])
    assert outcome.missing == ()


def test_a_schedule_inside_a_batch_counts_too() -> None:
    batch = _batch().replace(schedule=_schedule("2-TR2-A117", "2-TR2-A999"))
    assert _job(batch).missing == ("2-TR2-A999",)


def test_the_job_in_numbers() -> None:
    """The first record has curves and is graded; of the others a verdict alone came along: the instrument's counts."""
    alone = {"evidence": "verdict-only"}
    batch = _batch(
        {"label": "2-TR2-A118", "seed": 2, "set": {**alone, "reported_verdict": "fail"}},
        {
            "label": "2-TR2-A118",
            "seed": 3,
            "seconds": 900,
            "set": {**alone, "reported_verdict": "pass", "reported_marginal": True},
        },
        {"label": "2-TR2-A119", "seed": 4, "seconds": 1200, "set": {**alone, "reported_verdict": "fail"}},
        {"label": "2-TR2-A120", "seed": 5, "seconds": 1500, "set": {**alone, "reported_verdict": ""}},
    )
    summary = _job(grade(batch)).summary
    assert summary.records == 5 and summary.days == ("2025-03-04", "2025-03-04")
    counts = summary.counts
    assert counts.of("passing") == ["2-TR2-A117", "2-TR2-A118"] and counts.of("failing") == ["2-TR2-A119"]
    assert counts.of("not_graded") == ["2-TR2-A120"] and counts.of("by_instrument") == ["2-TR2-A118", "2-TR2-A119"]
    assert counts["tested"] == 4 and counts.of("marginal") == ["2-TR2-A118"]
    assert next(link.tests for link in counts.links if link.label == "2-TR2-A118") == 2


def test_a_link_that_the_instrument_passes_and_we_fail_does_not_pass() -> None:
    """A job is not handed over on a verdict that its own curves contradict."""
    batch = grade(_batch({"label": "2-TR2-A118", "seed": 2}))
    first = batch["records"]["record_id"][0].as_py()
    ours = [{**v, "verdict": "fail"} if v["record_id"] == first else v for v in batch["verdicts"].to_pylist()]
    counts = _job(batch.replace(verdicts=Batch.from_rows({"verdicts": ours})["verdicts"])).summary.counts
    assert counts.of("failing") == ["2-TR2-A117"] and counts.of("passing") == ["2-TR2-A118"]


def test_links_with_the_same_curves_are_told() -> None:
    counts = _job(grade(_batch({"label": "2-TR2-A118", "seconds": 3600}))).summary.counts
    assert counts.of("passing") == ["2-TR2-A117", "2-TR2-A118"] and counts.of("copied") == ["2-TR2-A118"]
    assert [x.copy_of for x in counts.links] == ["", "2-TR2-A117"]


def test_check_job_gives_a_table_of_findings() -> None:
    batch = _batch({"label": "2-TR2-A118", "seconds": 3600})
    found = check_job([batch], _schedule("2-TR2-A117", "2-TR2-A118"), today=TODAY)
    assert found.schema == schema("findings")
    rules = {f["rule"] for f in found.to_pylist() if f["status"] == "raised"}
    assert {"curves-under-two-links", "scalars-under-two-links"} <= rules


def test_check_job_over_an_iterator_tells_what_it_could_not_do() -> None:
    """Of an iterator equal curves are told; near copies would need the records a second time, and that is said."""
    batch = _batch({"label": "2-TR2-A118", "seconds": 3600})
    found = check_job(iter([batch]), today=TODAY).to_pylist()
    assert {f["status"] for f in found if f["rule"] == "curves-nearly-under-two-links"} == {"could not look"}
    assert "curves-under-two-links" in {f["rule"] for f in found if f["status"] == "raised"}


def test_batches_are_put_together() -> None:
    """Rules see across batches: the same as when all records come in one."""
    batch = _batch({"label": "2-TR2-A118", "seconds": 2, "seed": 2}, {"label": "2-tr2-a118", "seconds": 600, "seed": 3})
    one = check_job([batch], today=TODAY).to_pylist()
    ids = batch["records"].column("record_id").to_pylist()
    many = check_job([batch.select([i]) for i in ids], today=TODAY).to_pylist()
    key = lambda f: tuple(str(v) for v in f.values())  # noqa: E731
    assert sorted(one, key=key) == sorted(many, key=key)
    assert {"tests-too-close-together", "labels-look-alike"} <= {f["rule"] for f in one}


def test_an_empty_job() -> None:
    outcome = _job(Batch({}), _schedule("A"))
    assert outcome.missing == ("A",)
    assert not outcome.faults
    assert outcome.summary.records == 0


def test_a_bug_in_a_rule_across_records(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(job: Any, limits: Any) -> Any:
        raise KeyError("planted by a test")

    monkeypatch.delenv("MUNIMENT_TRACEBACK")
    monkeypatch.setitem(job_rules(), "link-retested", broken)
    outcome = _job(_batch({"label": "2-tr2-A117", "seed": 2}))
    assert [f.where for f in outcome.faults] == ["link-retested"]
    assert "labels-look-alike" in {f["rule"] for f in outcome.findings.to_pylist() if f["status"] == "raised"}


def test_iso_2859_sample_sizes() -> None:
    """General level II, normal inspection: lots 91-150 F 20, 151-280 G 32, 281-500 H 50, 501-1200 J 80, 1201-3200 K
    125, 3201-10,000 L 200 (S62)."""
    from archive.validation.catalogue import rule
    from archive.validation.rules.job_results import _sample

    plan = {**rule("alien-sample-too-small").tolerances, "plan": "iso-2859-1"}
    lots = {91: 20, 150: 20, 151: 32, 280: 32, 281: 50, 500: 50, 501: 80, 1200: 80, 1201: 125, 3200: 125, 3201: 200}
    assert {n: _sample(n, plan) for n in lots} == lots


def test_a_job_with_faults_of_every_kind_is_reported_in_full() -> None:
    """One job that breaks every rule across records that needs no contract: each is told, and no rule fails."""
    listed = [{k: v for k, v in row.items() if k != "remark"} for row in planted.SCHEDULE]
    rows = [{"schedule_id": f"sc-{n}", **row} for n, row in enumerate(listed)]
    schedule = Batch.from_rows({"schedule": rows})["schedule"]
    batch = planted.job()
    job = JobCheck(policy.of({"tolerances": planted.JOB_POLICY}), schedule=schedule, today=TODAY)
    job.add(batch)
    outcome = job.finish(lambda _: [batch])
    assert not outcome.faults
    glass = JobCheck(today=TODAY)
    glass.add(planted.joined(examples.rows(e) for name, e in planted.bad("job") if name in planted.OPTICAL))
    optical = glass.finish()
    assert not optical.faults
    told = [*outcome.findings.to_pylist(), *optical.findings.to_pylist()]
    raised = {f["rule"] for f in told if f["status"] == "raised"}
    every = {r.name for r in catalogue.rules().values() if r.by == "job"}
    # these two ask for a large job without a blemish, and for marginal results beyond a contract
    assert every - raised == {"everything-passes", "marginal-share-too-high"}


def test_a_bug_in_comparing_curves(monkeypatch: pytest.MonkeyPatch) -> None:
    """The rules about copies count as not looked at; all others still speak."""

    def broken(*_: Any) -> None:
        raise MemoryError("planted by a test")

    monkeypatch.delenv("MUNIMENT_TRACEBACK")
    monkeypatch.setattr("archive.validation.copies.sketch._project", broken)
    outcome = _job(_batch({"label": "2-tr2-A117", "seed": 2}))
    assert {f.where for f in outcome.faults} == {"comparing curves"}
    said = outcome.findings.to_pylist()
    assert "labels-look-alike" in {f["rule"] for f in said if f["status"] == "raised"}
    assert {f["status"] for f in said if "under-two-links" in f["rule"] and "curves" in f["rule"]} == {"could not look"}
    assert outcome.copies is not None
    assert outcome.copies.compared == 0
