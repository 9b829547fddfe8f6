"""check over batches: whole tables, policies, readers' findings, and faults of our own."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

import pytest

from archive import validation
from archive.tables import Batch, schema
from archive.validation.catalogue.policy import Policy, of
from archive.validation.catalogue.registry import Answer, Raised, Tolerances
from archive.validation.check import run
from archive.validation.look import RecordLook
from archive.validation.rules import record_rules
from tests.validation import examples, good

TODAY = dt.date(2026, 11, 25)


def _raised(table: Any) -> set[str]:
    return {f["rule"] for f in table.to_pylist() if f["status"] == "raised"}


def test_findings_have_the_declared_columns() -> None:
    found = validation.check(examples.batch({"do": [{"table": "records", "set": {"limit_found": ""}}]}), today=TODAY)
    assert found.schema == schema("findings")
    mine = next(f for f in found.to_pylist() if f["rule"] == "limit-missing")
    assert mine["record_id"] == "r1"
    assert mine["link_label"] == "2-TR2-A117"
    assert mine["severity"] == "error"
    assert mine["program"].startswith("muniment ")
    assert mine["rules_version"] == validation.version()
    Batch({"findings": found})


def test_a_batch_without_records_raises_nothing() -> None:
    assert validation.check(Batch({}), today=TODAY).num_rows == 0


def test_many_records_at_once_are_told_apart() -> None:
    """Two records, one of them without its remote return loss: only that one is told."""
    example = {
        "do": [
            {"record": {"label": "2-TR2-A118", "seed": 2}},
            {
                "table": "sweeps",
                "where": {"record_id": "r2", "parameter": "return_loss", "end": "remote"},
                "remove": True,
            },
        ]
    }
    found = [f for f in validation.check(examples.batch(example), today=TODAY).to_pylist() if f["status"] == "raised"]
    assert [(f["rule"], f["record_id"]) for f in found] == [("end-missing", "r2")]


def test_policy_sets_severity_and_switches_off() -> None:
    batch = examples.batch({"do": [{"table": "records", "set": {"operator_key": "", "limit_found": ""}}]})
    given = of({"severity": {"operator-missing": "error", "limit-missing": "off"}})
    found = validation.check(batch, given, today=TODAY)
    assert {f["rule"]: f["severity"] for f in found.to_pylist()}["operator-missing"] == "error"
    assert "limit-missing" not in _raised(found)


def test_findings_of_readers_pass_with_the_severity_of_the_policy() -> None:
    rows = good.rows() | {
        "findings": [
            {
                "rule": "not-passive",
                "severity": "error",
                "status": "raised",
                "record_id": "r1",
                "message": "The sweep is not passive.",
            }
        ]
    }
    found = validation.check(Batch.from_rows(rows), of({"severity": {"not-passive": "warning"}}), today=TODAY)
    assert [(f["rule"], f["severity"]) for f in found.to_pylist() if f["status"] == "raised"] == [
        ("not-passive", "warning")
    ]


def test_findings_of_rules_are_not_carried_over() -> None:
    """Checking a checked batch again says the same, not twice as much."""
    batch = examples.batch({"do": [{"table": "records", "set": {"operator_key": ""}}]})
    once = validation.check(batch, today=TODAY)
    again = validation.check(batch.replace(findings=once), today=TODAY)
    assert again.equals(once)


def _broken(look: Any, limits: Any) -> Iterator[Any]:
    raise ZeroDivisionError("planted by a test")
    yield


def test_a_bug_is_not_a_fault_of_the_data(monkeypatch: pytest.MonkeyPatch) -> None:
    """A rule that fails is reported as a bug; its records count as not looked at; every other rule still runs."""
    monkeypatch.delenv("MUNIMENT_TRACEBACK")
    monkeypatch.setitem(record_rules(), "velocity-implausible", _broken)
    batch = examples.batch({"do": [{"table": "records", "set": {"limit_found": ""}}]})
    outcome = run(batch, today=TODAY)
    assert [f.where for f in outcome.faults] == ["velocity-implausible"]
    assert "planted by a test" in outcome.faults[0].what
    mine = [f for f in outcome.findings.to_pylist() if f["rule"] == "velocity-implausible"]
    assert {f["status"] for f in mine} == {"could not look"}
    assert "fault of this program" in mine[0]["message"]
    assert "limit-missing" in _raised(outcome.findings)
    with pytest.warns(validation.RuleFault, match="velocity-implausible"):
        validation.check(batch, today=TODAY)


def test_a_bug_in_a_rule_costs_the_records_that_it_strikes(monkeypatch: pytest.MonkeyPatch) -> None:
    def fussy(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
        labels = list(look.words("link_label"))
        if "2-TR2-A119" in labels:
            raise ZeroDivisionError("planted by a test")
        yield Raised([labels.index("2-TR2-A118")] if "2-TR2-A118" in labels else [], found="a label")

    monkeypatch.delenv("MUNIMENT_TRACEBACK")
    monkeypatch.setitem(record_rules(), "velocity-implausible", fussy)
    others = [{"record": {"label": f"2-TR2-A{n}", "seed": n}} for n in range(118, 125)]
    outcome = run(examples.batch({"do": others}), today=TODAY)
    mine = [f for f in outcome.findings.to_pylist() if f["rule"] == "velocity-implausible"]
    assert {f["link_label"]: f["status"] for f in mine} == {"2-TR2-A118": "raised", "2-TR2-A119": "could not look"}
    assert [f.where for f in outcome.faults] == ["velocity-implausible"]


def test_an_unknown_rule_of_a_reader_is_our_fault() -> None:
    rows = good.rows() | {
        "findings": [{"rule": "never-written", "severity": "error", "status": "raised", "message": "?"}]
    }
    outcome = run(Batch.from_rows(rows), Policy(), today=TODAY)
    assert [f.where for f in outcome.faults] == ["never-written"]
    assert "never-written" not in _raised(outcome.findings)


def test_could_not_look_is_never_of_weight() -> None:
    """What could not be looked at is information, has no remedy, and is told once per record."""
    batch = examples.batch({"do": [{"table": "records", "set": {"limit_found": "house limit of the harbour"}}]})
    blind = [f for f in validation.check(batch, today=TODAY).to_pylist() if f["status"] == "could not look"]
    assert {"sweep-stops-short", "sweep-starts-late", "parameter-missing"} <= {f["rule"] for f in blind}
    assert {f["severity"] for f in blind} == {"information"}
    assert {f["remedy"] for f in blind} == {None}
    assert len(blind) == len({(f["rule"], f["record_id"], f["message"]) for f in blind})


@pytest.mark.parametrize(
    ("tested", "calibrated", "said"),
    [
        ("", "2024-06-01", {"the date of the test is not known"}),
        ("2025-03-04", "", {"no date of calibration of the local unit is known"}),
        ("", "", {"neither the date of the test nor a date of calibration of the local unit is known"}),
    ],
)
def test_which_date_is_unknown_is_said(tested: str, calibrated: str, said: set[str]) -> None:
    steps = [
        {"table": "records", "set": {"tested_local": tested, "remote_instrument_id": ""}},
        {"table": "instruments", "set": {"calibrated_on": calibrated, "calibration_due": ""}},
    ]
    found = validation.check(examples.batch({"do": steps}), today=TODAY).to_pylist()
    told = {f["message"] for f in found if f["rule"] == "calibration-expired" and f["status"] == "could not look"}
    assert told == said


@pytest.mark.parametrize("evidence", ["worst-points", "verdict-only"])
def test_records_without_curves(evidence: str) -> None:
    """A record without curves raises what it lacks, and no rule about curves."""
    steps = [{"table": "records", "set": {"evidence": evidence}}, {"table": "sweeps", "remove": True}]
    found = validation.check(examples.batch({"do": steps}), today=TODAY)
    assert _raised(found) == {"sweeps-missing"}


def test_records_with_nothing_at_all() -> None:
    """A record of which only the id is known: every rule copes."""
    outcome = run(Batch.from_rows({"records": [{"record_id": "r1", "evidence": "verdict-only"}]}), today=TODAY)
    assert not outcome.faults
    raised = _raised(outcome.findings)
    assert {"identifier-missing", "date-missing", "instrument-missing", "limit-missing", "verdict-missing"} <= raised
