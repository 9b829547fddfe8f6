"""Planted faults of every rule: each is told for its own record, through the rules and through the command."""

from __future__ import annotations

import csv
import datetime as dt
import json
import re
from pathlib import Path
from typing import Any

import pytest

from archive import formats
from archive.validation import catalogue
from archive.validation.catalogue import policy
from archive.validation.check import run
from tests.cli.person import typed
from tests.validation import examples, good, planted
from tests.validation.fixtures import FOLDER, LEFT_OUT, bad, shown

TODAY = dt.date(2026, 11, 25)
TOLD_BY_READERS = {
    "formats/otdr/test_otdr_reader.py": (
        *("trace-block-damaged", "trace-blocks-not-read", "trace-label-from-file-name", "trace-number-converted"),
        *("trace-of-first-format", "trace-without-events"),
    ),
    "formats/mapping/test_draft_says.py": ("draft-leaves-values", "no-measured-value"),
    "formats/test_touchstone_parameters.py": ("parameters-converted",),
    "formats/mapping/test_not_placed.py": ("numbers-not-placed", "footer-read-as-link", "label-is-a-guess"),
    "cli/test_copies_of_files.py": ("same-bytes-again",),
}
"""Rules of readers whose files are planted in the tests of that reader, by test file."""
BAD = planted.bad()


@pytest.fixture(scope="module")
def outcome() -> tuple[Any, dict[str, str]]:
    batch = planted.joined(examples.rows(e) for e in ({}, *(e for _, e in BAD)))
    rule_of = {f"p{number}": name for number, (name, _) in enumerate([("", {}), *BAD])}
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
    sample = [(f"p{n + 1}", e) for n, (_, e) in enumerate(BAD)][::7]
    for record, example in sample:
        alone = run(examples.batch(example), today=TODAY).findings.to_pylist()
        assert together.get(record, set()) == {f["rule"] for f in alone if f["status"] == "raised"}, rule_of[record]


def test_the_good_record_is_what_it_says() -> None:
    assert len(good.grid()) > 1000


# The same through the command.


def _checked(*words: object) -> dict[str, Any]:
    said = typed("check", *words, "--json", "--today", "2026-11-25")
    assert said.code in (0, 1), said.err
    assert said.document["faults"] == []
    return said.document


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], list[str]]:
    """A job of all records that a document can show, and documents that are damaged."""
    folder = tmp_path_factory.mktemp("records")
    names = [n for n in shown() if catalogue.rule(n).group.name != "copies"]
    formats.write([planted.joined(_rows(bad(catalogue.rule(n))) for n in names)], folder / "job.xml", "xml")
    text = (FOLDER / "good.xml").read_text(encoding="utf-8")
    curve = re.search(r'<sweep [^>]*parameter="next"[^>]*>([^<]*)<', text)
    axis = re.search(r'frequencies_mhz="([^"]*)"', text)
    assert curve and axis
    values, rising = curve[1].split(), axis[1].split()
    damaged = {
        "value-not-a-number": (curve[1], " ".join([*values[:3], "INF", *values[4:]])),
        "curve-without-axis": (curve[1], " ".join(values[:-1])),
        "axis-not-rising": (axis[1], " ".join([rising[1], rising[0], *rising[2:]])),
    }
    for name, (old, new) in damaged.items():
        own = text.replace(old, new, 1).replace('"r1"', f'"{name}"')
        (folder / f"{name}.xml").write_text(own, encoding="utf-8")
    return _checked(folder, "--no-copies", "--most", 2000), names


def _rows(batch: Any) -> dict[str, list[dict[str, Any]]]:
    return {name: rows for name, table in batch.items() if (rows := table.to_pylist())}


def test_the_command_tells_every_fault_of_a_record(records: tuple[dict[str, Any], list[str]]) -> None:
    """Each planted record under the rule that it breaks, by record id."""
    document, names = records
    raised = {(f["record"], f["rule"]) for f in document["findings"]}
    by_record = [(n, name) for n, name in enumerate(names) if catalogue.rule(name).by == "record"]
    assert len(by_record) > 90
    # the command grades anew, so that a planted grade is gone; test_the_command_tells_every_rule has these two
    graded = {"verdict-contradicts-ours", "margins-contradict-ours"}
    assert [name for n, name in by_record if (f"p{n}", name) not in raised and name not in graded] == []


def test_damage_that_no_record_can_hold_is_set_aside_and_told(records: tuple[dict[str, Any], list[str]]) -> None:
    document, _ = records
    assert document["set_aside"] >= 3
    found = [f["found"] for f in document["findings"] if f["rule"] == "record-set-aside"]
    assert any("INF" in f for f in found)
    assert any("does not rise" in f for f in found)
    assert any("points of its axis" in f for f in found)


def test_the_command_tells_every_rule(records: tuple[dict[str, Any], list[str]], tmp_path: Path) -> None:
    """A job, its schedule and its policy, a job without a blemish, files of a network analyser: together every rule of
    the catalogue but those that other commands raise (test_archive_rules.py)."""
    told = set(records[0]["counts"])
    formats.write([planted.job()], tmp_path / "job.xml", "xml")
    columns = ("link_label", "due_on", "required_limit", "cable_type", "remark")
    with (tmp_path / "links.csv").open("w", newline="", encoding="utf-8") as file:
        lines = csv.writer(file)
        lines.writerow(("Link", "Due on", "Required limit", "Cable type", "Remark"))
        lines.writerows([row.get(c, "") for c in columns] for row in [*planted.SCHEDULE, planted.SCHEDULE[1]])
    rules = [f"[tolerances.{rule}]\n" + _toml(values) for rule, values in planted.JOB_POLICY.items()]
    (tmp_path / "policy.toml").write_text("".join(rules), encoding="utf-8")
    document = _checked(
        tmp_path / "job.xml", "--schedule", tmp_path / "links.csv", "--policy", tmp_path / "policy.toml"
    )
    assert document["missing_links"] == ["2-TR2-A199"]
    told |= set(document["counts"])
    (tmp_path / "strict.toml").write_text(
        "[tolerances.everything-passes]\nlinks = 1\n[tolerances.marginal-share-too-high]\nmost_percent = 0.0\n"
    )
    for name in ("good.xml", "marginal-result.bad.xml"):
        told |= set(_checked(FOLDER / name, "--policy", tmp_path / "strict.toml")["counts"])
    analyser = tmp_path / "analyser"
    analyser.mkdir()
    planted.analyser_files(analyser)
    told |= set(_checked(analyser, "--no-copies")["counts"])
    (tmp_path / "feet.json").write_text(json.dumps({"links": [FEET | {"Link": f"2-TR2-A{n}"} for n in range(40)]}))
    told |= set(_checked(tmp_path / "feet.json")["counts"])
    every = {r.name for r in catalogue.rules().values() if r.by not in ("archive", "program")}
    readers = {name for names in TOLD_BY_READERS.values() for name in names}
    assert every - told == {name for name in LEFT_OUT if name != "record-set-aside"} | readers


def test_rules_of_readers_have_their_tests_beside_the_readers() -> None:
    assert {catalogue.rule(n).by for names in TOLD_BY_READERS.values() for n in names} == {"reader"}
    for file, names in TOLD_BY_READERS.items():
        text = (Path(__file__).parents[1] / file).read_text("utf-8")
        assert [n for n in names if f'"{n}"' not in text] == [], file


FEET = {"Length (ft)": 101.5, "Result": "PASS"}
"""Cells of a link that a draft knows how to read."""


def _toml(values: dict[str, Any]) -> str:
    return "".join(f"{key} = {json.dumps(value)}\n" for key, value in values.items())
