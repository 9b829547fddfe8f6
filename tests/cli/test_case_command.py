"""`muniment case`: steps in the ledger, texts that redact reaches, carried by merge, shown by find, history and sql."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from archive import store
from archive.cli import cli
from archive.errors import Trouble
from archive.store.copies import export, merge
from archive.store.fixity import fixity
from tests.cli.person import document, printed, typed
from tests.store import store_making as making

LINK, OTHER, COMPLAINT = "2-TR2-A117", "2-TR2-A118", "drops to 1 Gbit/s in the afternoon"


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An archive with two links, and a case of the first."""
    for name in ("CACHE", "CONFIG"):
        monkeypatch.setenv(f"MUNIMENT_{name}", str(tmp_path / name.lower()))
    archive = store.create(tmp_path / "archive")
    making.deposit(archive, making.batch(making.rows(LINK, source="a" * 64)), site="Lantern Quay 4")
    making.deposit(archive, making.batch(making.rows(OTHER, source="b" * 64, shift=1.0)))
    printed("case", archive.root, "open", "C-1", "--link", LINK, "--complaint", COMPLAINT, "--day", "2026-05-03", *BY)
    return archive.root


BY = ("--by", "R. Ostrander")


def test_a_case_goes_from_complaint_to_cost(place: Path) -> None:
    printed("case", place, "note", "C-1", "--text", "called the site", *BY)
    printed("case", place, "decide", "C-1", "--decision", "accepted", "--cause", "termination", *BY)
    made = document("case", place, "close", "C-1", "--cost", "340.00", "--currency", "EUR", *BY)
    assert (made["state"], made["cost"], made["currency"], made["cause"]) == ("closed", 340.0, "EUR", "termination")
    assert (made["link"], made["opened_on"], made["complaint"]) == (LINK, "2026-05-03", COMPLAINT)
    assert [s["action"] for s in made["steps"]] == ["open", "note", "decide", "close"]
    assert document("case", place, "list")["cases"] == [{k: v for k, v in made.items() if k != "ledger_entry"}]
    assert printed("case", place, "list", "--state", "open", code=1) == ""
    assert fixity(store.open(place), "deep").sound


def test_texts_stand_in_the_event_alone_and_redact_reaches_them(place: Path) -> None:
    entries = b"".join(p.read_bytes() for p in sorted((place / "ledger").rglob("*.json")))
    assert COMPLAINT.encode() not in entries and b"Ostrander" not in entries
    step = document("case", place, "list")["cases"][0]["steps"][0]
    assert COMPLAINT in (place / step["path"]).read_text(encoding="utf-8")
    dry = printed("redact", place, "--file", step["path"], "--dry-run")
    assert "would stay: the step of the case without text" in dry
    printed("redact", place, "--file", step["path"], "--reason", "asked for", *BY)
    (case,) = document("case", place, "list")["cases"]
    assert case["complaint"] is None and (case["case"], case["link"], case["state"]) == ("C-1", LINK, "open")
    everything = b"".join(p.read_bytes() for p in place.rglob("*") if p.is_file())
    assert COMPLAINT.encode() not in everything
    assert "its text was redacted" in printed("history", place, LINK)
    assert fixity(store.open(place), "deep").sound


def test_find_history_and_sql_show_it(place: Path) -> None:
    by_link = {r["link"]: r["cases"] for r in document("find", place)["records"]}
    assert by_link == {LINK: ["C-1"], OTHER: []}
    assert "case C-1" in printed("find", place, "--link", LINK)
    entries = [e for e in document("history", place, LINK)["entries"] if e["kind"] == "case"]
    assert [(e["what"], e["by"]) for e in entries] == [(f"case C-1 opened: {COMPLAINT}", "R. Ostrander")]
    assert "C-1" not in printed("history", place, OTHER)
    query = "SELECT c.case_name, r.link_label FROM cases c JOIN records r USING (deposit, position)"
    assert document("sql", place, query)["rows"] == [{"case_name": "C-1", "link_label": LINK}]


def test_a_merge_carries_it_to_the_same_record(place: Path, tmp_path: Path) -> None:
    other = store.create(tmp_path / "other")
    merge(other, store.open(place), by=None, reason=None)
    (case,) = document("case", other.root, "list")["cases"]
    assert (case["case"], case["complaint"], case["opened_on"]) == ("C-1", COMPLAINT, "2026-05-03")
    assert {r["link"]: r["cases"] for r in document("find", other.root)["records"]}[LINK] == ["C-1"]
    printed("case", other.root, "note", "C-1", "--text", "seen here too", *BY)
    export(store.open(place), tmp_path / "copy")
    assert document("case", tmp_path / "copy", "list")["cases"][0]["case"] == "C-1"


def test_two_merged_cases_of_one_number_are_told_apart_by_their_ids(place: Path, tmp_path: Path) -> None:
    other = store.create(tmp_path / "other")
    making.deposit(other, making.batch(making.rows("B7", source="c" * 64, shift=3.0)))
    printed("case", other.root, "open", "C-1", "--link", "B7", "--complaint", "dead", *BY)
    merge(other, store.open(place), by=None, reason=None)
    both = document("case", other.root, "list")["cases"]
    assert [c["link"] for c in both] == ["B7", LINK]
    refused = typed("case", other.root, "note", "C-1", "--text", "x", *BY)
    assert refused.code == 2 and both[1]["id"] in refused.line
    printed("case", other.root, "note", both[1]["id"], "--text", "x", *BY)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("open", "C-1", "--link", LINK, "--complaint", "again"), "there already"),
        (("open", "--link", LINK), "--complaint"),
        (("note", "C-9", "--text", "x"), "no such case"),
        (("note", "C-1"), "--text"),
        (("decide", "C-1"), "--decision"),
        (("note", "C-1", "--text", "x", "--cost", "3"), "takes no --cost"),
        (("close", "C-1", "--cost", "much", "--currency", "EUR"), "number"),
        (("close", "C-1", "--cost", "-3", "--currency", "EUR"), "number"),
        (("close", "C-1", "--cost", "3"), "currency"),
        (("close", "C-1", "--day", "3 May"), "not a date"),
    ],
)
def test_what_does_not_fit_is_refused_in_one_line_and_changes_nothing(
    place: Path, words: tuple[str, ...], said: str
) -> None:
    before = store.open(place).head()
    refused = typed("case", place, *words, *BY)
    assert refused.code == 2 and said in refused.line
    assert store.open(place).head() == before


def test_a_closed_case_takes_a_note_and_nothing_else(place: Path) -> None:
    printed("case", place, "close", "C-1", *BY)
    printed("case", place, "note", "C-1", "--text", "the part came back from the laboratory", *BY)
    refused = typed("case", place, "decide", "C-1", "--decision", "rejected", *BY)
    assert refused.code == 2 and "closed" in refused.line


def test_a_claim_prints_its_case_and_refuses_that_of_another_link(place: Path, tmp_path: Path) -> None:
    printed("claim", place, LINK, "--case", "C-1", "--out", tmp_path / "claim")
    page = (tmp_path / "claim" / "data" / "claim.html").read_text(encoding="utf-8")
    assert COMPLAINT in page and "Case C-1" in page and "The case</h2>" in page and "3 May 2026" in page
    refused = typed("claim", place, OTHER, "--case", "C-1", "--out", tmp_path / "no")
    assert refused.code == 2 and "another link" in refused.line and not (tmp_path / "no").exists()


def test_the_warranty_is_that_of_the_job_that_was_asked_for(place: Path, tmp_path: Path) -> None:
    """The link is tested again in a later job, which has no warranty and displaces no certificate."""
    opened = store.open(place)
    job = document("find", place)["records"][0]["job"]
    printed("job", place, job, "--set", "warranty_start=2019-04-01", "--set", "warranty_end=2044-03-31", *BY)
    later = making.rows(LINK, source="d" * 64, time="2027-03-04T10:15", shift=0.2)
    making.deposit(opened, making.batch(later), job="REFIT-2027", site="Lantern Quay 4")
    printed("claim", place, LINK, "--job", job, "--out", tmp_path / "claim")
    page = (tmp_path / "claim" / "data" / "claim.html").read_text(encoding="utf-8")
    assert "Warranty from 1 April 2019 until 31 March 2044." in page
    assert f"Lantern Quay 4, {job}</p>" in page and "Also accepted in job REFIT-2027, tested 4 March 2027" in page


def test_a_name_in_the_text_of_a_case_is_found_and_taken_out_there(place: Path) -> None:
    printed("case", place, "note", "C-1", "--text", "T. Vance called again", *BY)
    result = CliRunner().invoke(cli, ["redact", str(place), "--name", "T. Vance", *BY])
    assert isinstance(result.exception, Trouble)
    (path,) = shlex.split(result.exception.remedy.rpartition("--file ")[2])
    assert path == document("case", place, "list")["cases"][0]["steps"][1]["path"]
    printed("redact", place, "--file", path, "--reason", "asked for", *BY)
    (case,) = document("case", place, "list")["cases"]
    assert (case["case"], [s["action"] for s in case["steps"]]) == ("C-1", ["open", "note"])
    assert not any(b"Vance" in p.read_bytes() for p in place.rglob("*") if p.is_file())
    said = printed("fixity", place)
    assert "1 file redacted, by ledger entry 5:" in said
    assert document("fixity", place)["redactions"][0]["files"] == [path]


def test_a_name_that_stays_elsewhere_is_something_to_look_at(place: Path) -> None:
    printed("case", place, "note", "C-1", "--text", "R. Ostrander called again", *BY)
    assert "the name is, or may be, in 1 other file;" in printed("redact", place, "--name", "R. Ostrander", code=1)
