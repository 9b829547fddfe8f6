"""A bug planted in each stage costs the record or the file that it strikes; the rest is read, graded, archived.

Three links: 2-TR2-A117 and A118 in one file, A119 in another. The bug strikes A118, or the second file.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from archive import formats
from archive.formats import open_xml
from archive.grading import grader
from archive.tables import Batch
from archive.validation.rules import job_rules, record_rules
from tests.cli.person import Said, typed
from tests.validation import examples

STRUCK = "2-TR2-A118"
LABELS = ["2-TR2-A117", STRUCK, "2-TR2-A119"]
BUG = "fault-of-this-program"
RULE = "velocity-implausible"


class Planted(Exception):
    """A bug, planted by a test."""


@pytest.fixture(autouse=True)
def as_for_a_user(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not as in the other tests, in which a bug is raised."""
    monkeypatch.delenv("MUNIMENT_TRACEBACK")


@pytest.fixture
def files(tmp_path: Path) -> Path:
    """The folder of the two files."""
    folder = tmp_path / "files"
    folder.mkdir()
    three = examples.batch({"do": [{"record": {"label": f"2-TR2-A{n}", "seed": n, "seconds": n}} for n in (118, 119)]})
    ids = dict(zip(three["records"]["link_label"].to_pylist(), three["records"]["record_id"].to_pylist(), strict=True))
    assert list(ids) == LABELS
    formats.write([three.select([ids[x] for x in LABELS[:2]])], folder / "a.xml", "xml")
    formats.write([three.select([ids[LABELS[2]]])], folder / "b.xml", "xml")
    return folder


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    """An empty archive."""
    typed("init", tmp_path / "archive")
    return tmp_path / "archive"


def _strikes(batch: Batch) -> None:
    if STRUCK in batch["records"]["link_label"].to_pylist():
        raise Planted("planted")


def _checked(*words: object) -> tuple[Said, list[dict[str, Any]]]:
    said = typed("check", *words, "--json", "--today", "2026-11-25")
    return said, [f for f in said.document["findings"] if f["rule"] == BUG]


def _deposited(files: Path, archive: Path, *words: str) -> Said:
    return typed("deposit", files, "--into", archive, "--job", "HARBOUR", *words, "--json")


def _verdicts(archive: Path) -> dict[str, str]:
    found = typed("find", archive, "--json").document["records"]
    return {r["link"]: r["verdict"] for r in found}


def _in_a_rule(monkeypatch: pytest.MonkeyPatch) -> None:
    real = record_rules()[RULE]

    def broken(look: Any, tolerances: Any) -> Iterator[Any]:
        _strikes(look.batch)
        yield from real(look, tolerances)

    monkeypatch.setitem(record_rules(), RULE, broken)


def _in_grading(monkeypatch: pytest.MonkeyPatch) -> None:
    real = grader.GradingInput

    def broken(batch: Batch) -> Any:
        _strikes(batch)
        return real(batch)

    monkeypatch.setattr(grader, "GradingInput", broken)


def _in_a_reader(monkeypatch: pytest.MonkeyPatch, after: int = 0) -> None:
    """In the reader of open XML: at the second file, or after some batches of each file."""
    real = open_xml.read

    def broken(entry: Any, **options: Any) -> Iterator[Batch]:
        for number, batch in enumerate(real(entry, **options)):
            if (number >= after) if after else (entry.path.name == "b.xml"):
                raise Planted("planted")
            yield batch
        if after:
            raise Planted("planted")

    monkeypatch.setattr(open_xml, "read", broken)


def test_a_rule_in_check(files: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before, none = _checked(files)
    assert none == []
    _in_a_rule(monkeypatch)
    said, found = _checked(files)
    assert said.code == 1
    assert [(f["link"], f["severity"], f["status"]) for f in found] == [(STRUCK, "error", "raised")]
    assert found[0]["message"].startswith(f"A fault of this program in {RULE}: Planted: planted")
    blind = {b["rule"]: b["records"] for b in said.document["could_not_look"]}
    assert blind[RULE] == 1
    assert [f["rule"] for f in said.document["faults"]] == [RULE]
    rest = [f for f in said.document["findings"] if f["rule"] != BUG]
    assert rest == before.document["findings"]


def test_a_rule_across_records_in_check(files: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before, _ = _checked(files)

    def broken(*_: Any) -> Iterator[Any]:
        raise Planted("planted")

    monkeypatch.setitem(job_rules(), "link-retested", broken)
    said, found = _checked(files)
    assert said.code == 1
    assert [(f["link"], f["record"]) for f in found] == [(None, None)]
    assert [f for f in said.document["findings"] if f["rule"] != BUG] == before.document["findings"]


@pytest.mark.parametrize("kept", ["look.job_facts.JobFacts", "copies.sketch.Sketches"])
def test_what_a_job_keeps_of_a_record(files: Path, kept: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The facts and the curves of a record across its job: the others are compared all the same."""
    module, name = f"archive.validation.{kept}".rsplit(".", 1)
    kind = getattr(importlib.import_module(module), name)
    real = kind.add

    def broken(self: Any, given: Any) -> None:
        _strikes(given if isinstance(given, Batch) else given.batch)
        real(self, given)

    monkeypatch.setattr(kind, "add", broken)
    said, found = _checked(files)
    assert said.code == 1
    assert [(f["link"], f["severity"]) for f in found] == [(STRUCK, "error")]
    assert said.document["records"] == 3


def test_grading_in_grade(files: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = {r["link"]: r for r in typed("grade", files, "--json").document["records"]}
    assert {r["verdict"] for r in before.values()} <= {"pass", "fail"}
    _in_grading(monkeypatch)
    said = typed("grade", files, "--json")
    after = {r["link"]: r for r in said.document["records"]}
    assert said.code == 1
    assert after[STRUCK]["verdict"] == "not graded"
    assert after[STRUCK]["reason"].startswith("fault of this program in grading: Planted: planted")
    assert {x: r for x, r in after.items() if x != STRUCK} == {x: r for x, r in before.items() if x != STRUCK}
    assert f"{STRUCK}: not graded" in typed("grade", files).out


def test_grading_in_check(files: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _in_grading(monkeypatch)
    said, found = _checked(files)
    assert said.code == 1
    assert [(f["link"], f["severity"], f["where"].split(": ")[-1]) for f in found] == [(STRUCK, "error", "grading")]


def test_grading_in_deposit_and_regrade(files: Path, archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All three are archived; a regrade while the bug is there says so again, one without it takes the record up."""
    with monkeypatch.context() as planted:
        _in_grading(planted)
        said = _deposited(files, archive)
        assert said.code == 1
        assert (said.document["new"], said.document["findings"]["error"]) == (3, 1)
        assert set(_verdicts(archive)) == set(LABELS)
        assert {x for x, v in _verdicts(archive).items() if v == "not graded"} == {STRUCK}
        again = typed("regrade", archive, "--json")
        assert again.code == 1
        assert again.document["verdicts"]["not graded"] == 1
    again = typed("regrade", archive, "--json")
    assert again.code == 1, "a verdict changed"
    assert [(c["link_label"], c["verdict_before"]) for c in again.document["changed"]] == [(STRUCK, "not graded")]
    assert "not graded" not in again.document["verdicts"]
    assert typed("fixity", archive).code == 0


def test_a_rule_in_deposit(files: Path, archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _in_a_rule(monkeypatch)
    said = _deposited(files, archive)
    assert said.code == 1
    assert (said.document["new"], said.document["findings"]["error"]) == (3, 1)


def test_the_time_zone_in_deposit(files: Path, archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The records are archived, without UTC, and each says why."""

    def broken(*_: Any) -> None:
        raise Planted("planted")

    monkeypatch.setattr("archive.answers.zone._utc", broken)
    rows = {"table": "records", "set": {"tested_at": "", "utc_offset_min": "", "zone_basis": ""}}
    formats.write([examples.batch({"do": [rows]})], files / "c.xml", "xml")
    said = _deposited(files / "c.xml", archive, "--zone", "Europe/Lisbon")
    assert said.code == 1
    assert (said.document["new"], said.document["findings"]["error"]) == (1, 1)


@pytest.mark.parametrize("command", ["convert", "check", "grade", "deposit"])
def test_a_reader(files: Path, archive: Path, command: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """One file is set aside, with the reason; the other is read."""
    _in_a_reader(monkeypatch)
    more = {"convert": ["--to", files.parent / "out.xml"], "deposit": ["--into", archive, "--job", "HARBOUR"]}
    said = typed(command, files, *more.get(command, []), "--json")
    assert said.code == 1
    document = said.document
    assert (document["set_aside"] if isinstance(document["set_aside"], int) else len(document["set_aside"])) == 1
    assert "2-TR2-A119" not in said.out
    if command == "check":
        (finding,) = [f for f in document["findings"] if f["rule"] == "record-set-aside"]
        assert finding["severity"] == "error"
        assert "could not be read: a fault of this program: Planted: planted" in finding["message"]


def test_a_reader_of_the_only_file(files: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _in_a_reader(monkeypatch)
    line = typed("check", files / "b.xml").line
    assert "b.xml: could not be read: a fault of this program; found Planted: planted" in line


def test_a_reader_in_the_middle_of_the_only_file(files: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was read before stays."""
    _in_a_reader(monkeypatch, after=1)
    said, _ = _checked(files / "a.xml")
    assert said.code == 1
    assert (said.document["records"], said.document["set_aside"]) == (2, 1)
    (finding,) = [f for f in said.document["findings"] if f["rule"] == "record-set-aside"]
    assert "could not be read to its end" in finding["message"]
    assert "after 2 records" in finding["message"]


@pytest.mark.parametrize("reader", ["touchstone", "mapping", "unseen"])
def test_recognising_and_drafting(files: Path, reader: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader that fails at every file costs the files that nobody else knows."""

    def broken(*_: Any, **__: Any) -> None:
        raise Planted("planted")

    monkeypatch.setattr(f"archive.formats.{reader}.recognise", broken)
    (files / "c.csv").write_text("Alder;Beech\n1;2\n", "utf-8")
    said, _ = _checked(files)
    assert said.code == 1
    assert (said.document["records"], said.document["set_aside"]) == (3, 1)
    (finding,) = [f for f in said.document["findings"] if f["rule"] == "record-set-aside"]
    assert "a fault of this program" in finding["message"]


def test_nothing_is_planted(files: Path, archive: Path) -> None:
    """Without a bug there is no finding of one: the tests above can fail."""
    said, found = _checked(files)
    assert found == []
    assert said.document["faults"] == []
    assert _deposited(files, archive).document["findings"].get("error", 0) == 0
