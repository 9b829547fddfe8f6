"""Every example of a rule across records, run: bad raises, good is silent, blind says that it could not look."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from archive.tables import Batch
from archive.validation import catalogue
from archive.validation.catalogue import policy
from archive.validation.job import JobCheck
from tests.validation import examples

TODAY = dt.date(2026, 11, 25)
CASES = [
    pytest.param(rule, example, id=f"{rule.name}: {example['outcome']}: {example['what']}")
    for rule in catalogue.rules().values()
    if rule.by == "job"
    for example in rule.examples
]


def run(example: dict[str, Any], rule: str) -> Any:
    """Findings of one rule over the records of an example."""
    given = policy.of({"tolerances": {rule: example["policy"]}} if "policy" in example else {})
    schedule = None
    if "schedule" in example:
        rows = [{"schedule_id": f"sc-{i}", "job_id": "HARBOUR-2025", **r} for i, r in enumerate(example["schedule"])]
        schedule = Batch.from_rows({"schedule": rows})["schedule"]
    batch = examples.batch(example)
    job = JobCheck(given, schedule=schedule, places=batch["places"], today=TODAY)
    job.add(batch)
    outcome = job.finish(lambda _: [batch])
    assert not outcome.faults, outcome.faults[0].traceback
    return [f for f in outcome.findings.to_pylist() if f["rule"] == rule]


@pytest.mark.parametrize(("rule", "example"), CASES)
def test_example(rule: catalogue.CatalogueRule, example: dict[str, Any]) -> None:
    """The example does to its own rule what it says."""
    mine = run(example, rule.name)
    statuses = {f["status"] for f in mine}
    if example["outcome"] == "bad":
        raised = [f for f in mine if f["status"] == "raised"]
        assert raised
        assert all(f["severity"] == rule.severity and f["message"] and f["remedy"] for f in raised)
    elif example["outcome"] == "good":
        assert "raised" not in statuses, mine
    else:
        assert statuses == {"could not look"}
