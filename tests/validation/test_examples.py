"""Every example of the catalogue, run: bad raises, good is silent, blind says that it could not look."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from archive.validation import catalogue
from archive.validation.catalogue import policy
from archive.validation.check import run
from tests.validation import examples

TODAY = dt.date(2026, 11, 25)
CASES = [
    pytest.param(rule, example, id=f"{rule.name}: {example['outcome']}: {example['what']}")
    for rule in catalogue.rules().values()
    if rule.by not in ("job", "archive", "program")
    for example in rule.examples
    if rule.by != "reader" or example.keys() > {"outcome", "what"}  # what only a reader can see is tested with it
]


@pytest.mark.parametrize(("rule", "example"), CASES)
def test_example(rule: catalogue.CatalogueRule, example: dict[str, Any]) -> None:
    """The example does to its own rule what it says. No finding names a person: a name stands in the table of people
    alone, where a redaction takes it out."""
    given = policy.of({"tolerances": {rule.name: example["policy"]}} if "policy" in example else {})
    batch = examples.batch(example)
    outcome = run(batch, given, today=TODAY)
    people = [name for name in batch["people"]["name"].to_pylist() if name]
    assert [f for f in outcome.findings.to_pylist() for name in people if name in repr(f)] == []
    assert not outcome.faults, outcome.faults[0].traceback
    mine = [f for f in outcome.findings.to_pylist() if f["rule"] == rule.name]
    statuses = {f["status"] for f in mine}
    if example["outcome"] == "bad":
        assert "raised" in statuses
        raised = [f for f in mine if f["status"] == "raised"]
        assert all(f["severity"] == rule.severity for f in raised)
        assert all(f["message"] and f["remedy"] for f in raised)
    elif example["outcome"] == "good":
        assert "raised" not in statuses
    else:
        assert statuses == {"could not look"}
        assert all(f["severity"] == "information" for f in mine)


def test_good_record_is_silent() -> None:
    """The record that every example starts from raises nothing at all."""
    outcome = run(examples.batch({}), today=TODAY)
    assert [(f["rule"], f["message"]) for f in outcome.findings.to_pylist() if f["status"] == "raised"] == []
