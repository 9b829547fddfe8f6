"""What check writes as SARIF against the JSON schema that OASIS publishes (fixtures/findings/sarif/SOURCE.md)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from archive.isolation import ProgramFault
from archive.validation import catalogue
from archive.validation.check import run
from archive.validation.report import Collected, sarif
from tests.validation import examples

SCHEMA = Path(__file__).resolve().parents[2] / "fixtures" / "findings" / "sarif" / "sarif-schema-2.1.0.json"


@pytest.fixture(scope="module")
def validator() -> Any:
    return jsonschema.Draft4Validator(json.loads(SCHEMA.read_text(encoding="utf-8")))


def _collected(rule: str, kept: int = 10) -> Collected:
    example = next(e for e in catalogue.rule(rule).examples if e["outcome"] == "bad")
    batch = examples.batch(example)
    collected = Collected(kept)
    outcome = run(batch)
    collected.add_batch(batch, outcome.findings, outcome.faults)
    return collected


RULES = [r.name for r in catalogue.rules().values() if r.by == "record" and r.examples]


@pytest.mark.parametrize("rule", RULES[::4])
def test_findings_fit_the_schema(rule: str, validator: Any) -> None:
    document = json.loads(json.dumps(sarif(_collected(rule))))
    validator.validate(document)
    results = document["runs"][0]["results"]
    mine = [r for r in results if r["ruleId"] == rule]
    assert mine
    rules = document["runs"][0]["tool"]["driver"]["rules"]
    assert all(rules[r["ruleIndex"]]["id"] == r["ruleId"] for r in results)
    assert {r["level"] for r in mine} <= {"error", "warning", "note"}


def test_nothing_found_faults_and_cuts_fit_the_schema(validator: Any) -> None:
    """An empty run; a run cut to one finding; a fault of ours makes the run unsuccessful, not a result."""
    validator.validate(sarif(Collected()))
    collected = _collected("sign-wrong", kept=1)
    collected.faults["x", "y"] = ProgramFault("sign-wrong", "ZeroDivisionError: planted by a test", "")
    document = sarif(collected)
    validator.validate(document)
    invocation = document["runs"][0]["invocations"][0]
    assert invocation["executionSuccessful"] is False
    texts = [n["message"]["text"] for n in invocation["toolExecutionNotifications"]]
    assert any("fault of this program" in t for t in texts)
    assert any("findings, 1 of them listed" in t for t in texts)


def test_the_place_in_the_source_is_a_location(validator: Any) -> None:
    """week9/links.csv, row 118 is a file and a line; blanks in a path are escaped, as a URI asks."""
    result = sarif(_collected("limit-missing"))["runs"][0]["results"][0]
    place = result["locations"][0]["physicalLocation"]
    assert place == {"artifactLocation": {"uri": "week9/links.csv"}, "region": {"startLine": 118}}
    example = {
        "do": [{"table": "records", "set": {"limit_found": ""}}, {"table": "sources", "set": {"path": "week 9/ä.csv"}}]
    }
    batch = examples.batch(example)
    collected = Collected()
    collected.add_batch(batch, run(batch).findings)
    document = sarif(collected)
    validator.validate(document)
    uri = document["runs"][0]["results"][0]["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
    assert uri == "week%209/%C3%A4.csv"


def test_the_schema_refuses_what_it_should(validator: Any) -> None:
    """The check can fail: a wrong level and a missing version are refused."""
    document = sarif(_collected("limit-missing"))
    document["runs"][0]["results"][0]["level"] = "grave"
    with pytest.raises(jsonschema.ValidationError):
        validator.validate(document)
    with pytest.raises(jsonschema.ValidationError):
        validator.validate({"runs": []})
