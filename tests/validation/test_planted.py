"""A job with planted faults of every rule, in one batch: each is told for its own record, and the rest stays silent."""

from __future__ import annotations

import copy
import datetime as dt
from typing import Any

import pytest

from archive.tables import Batch
from archive.validation import catalogue, policy
from archive.validation.check import run
from tests.validation import examples, good

TODAY = dt.date(2026, 11, 25)
SHARED = {
    "instruments": ("instrument_id", ("local_instrument_id", "remote_instrument_id")),
    "places": ("place_id", ("local_place_id", "remote_place_id")),
    "sources": ("source_id", ("source_id",)),
    "people": ("person_key", ("operator_key",)),
}


def _bad() -> list[tuple[str, dict[str, Any]]]:
    rules = [r for r in catalogue.rules().values() if r.by == "record"]
    return [(r.name, e) for r in rules for e in r.examples if e["outcome"] == "bad" and "policy" not in e]


def _joined() -> tuple[Batch, dict[str, str]]:
    """All bad examples as records of one batch, and the rule that each breaks by record id."""
    whole: dict[str, list[dict[str, Any]]] = {"axes": []}
    rule_of: dict[str, str] = {}
    for number, (name, example) in enumerate([("", {}), *_bad()]):
        made = copy.deepcopy(examples.rows(example))
        new = {"r1": f"p{number}"}
        rule_of[f"p{number}"] = name
        for table, rows in made.items():
            for row in rows:
                if "record_id" in row:
                    row["record_id"] = new[row["record_id"]]
                key = SHARED.get(table, ("", ()))[0]
                if key and table != "records":
                    row[key] = f"{row[key]}-{number}"
                if table == "documents":
                    row["document_id"] += f"-{number}"
            for row in rows if table == "records" else ():
                for _, columns in SHARED.values():
                    for column in columns:
                        if row.get(column):
                            row[column] = f"{row[column]}-{number}"
            known = whole.setdefault(table, [])
            known.extend(r for r in rows if table != "axes" or r not in known)
    return Batch.from_rows(whole), rule_of


@pytest.fixture(scope="module")
def outcome() -> tuple[Any, dict[str, str]]:
    batch, rule_of = _joined()
    return run(batch, policy.Policy(), today=TODAY), rule_of


def test_every_planted_fault_is_told(outcome: tuple[Any, dict[str, str]]) -> None:
    """Each record raises the rule that it breaks; no rule fails."""
    said, rule_of = outcome
    assert not said.faults
    raised = {(f["record_id"], f["rule"]) for f in said.findings.to_pylist() if f["status"] == "raised"}
    assert [(r, name) for r, name in rule_of.items() if name and (r, name) not in raised] == []


def test_the_good_record_among_them_stays_silent(outcome: tuple[Any, dict[str, str]]) -> None:
    said, rule_of = outcome
    silent = next(r for r, name in rule_of.items() if not name)
    assert [f for f in said.findings.to_pylist() if f["record_id"] == silent and f["status"] == "raised"] == []


def test_together_as_alone(outcome: tuple[Any, dict[str, str]]) -> None:
    """A record raises the same in a batch of many as alone: no rule mixes records up."""
    said, rule_of = outcome
    together: dict[str, set[str]] = {}
    for f in said.findings.to_pylist():
        if f["status"] == "raised":
            together.setdefault(f["record_id"], set()).add(f["rule"])
    sample = [(f"p{n + 1}", e) for n, (_, e) in enumerate(_bad())][::7]
    for record, example in sample:
        alone = run(examples.batch(example), today=TODAY).findings.to_pylist()
        rules = {f["rule"] for f in alone if f["status"] == "raised"}
        # certificates of one example count for the serial numbers of all
        assert together.get(record, set()) - {"calibration-missing"} == rules - {"calibration-missing"}, rule_of[record]


def test_the_good_record_is_what_it_says() -> None:
    assert len(good.grid()) > 1000
