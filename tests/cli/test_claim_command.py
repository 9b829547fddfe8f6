"""`muniment claim` and `muniment book`, as a person types them."""

import json
import re
from pathlib import Path

import pytest

from archive.cli.commands.convert import _tell
from archive.formats.conversion_account import ConversionAccount
from tests.cli.conftest import FAILED, JOB
from tests.cli.person import typed


def test_three_commands_lead_from_a_half_remembered_label_to_the_claim_file(built, tmp_path):
    found = typed("find", built.archive, "--link", "a06", "--json").document["records"]
    assert {r["link"] for r in found} == {FAILED}
    assert typed("history", built.archive, "a06", "--json").document["link"] == FAILED
    said = typed("claim", built.archive, "a06", "--no-record", "--out", tmp_path / "claim", "--json")
    assert said.code == 0 and said.document["link"] == FAILED
    assert {"claim.pdf", "claim.html", "record.xml", "record-csv.zip", "proof.json"} <= set(said.document["files"])
    assert typed("verify", tmp_path / "claim" / "data" / "proof.json").code == 0
    proof = tmp_path / "claim" / "data" / "proof.json"
    assert typed("verify", proof, "--expect", said.document["ledger_head"]).code == 0
    assert typed("verify", proof, "--expect", "0" * 64).code == 1


def test_a_claim_file_is_entered_in_the_ledger_and_verifies_as_a_folder(world, tmp_path):
    out = tmp_path / "claim"
    said = typed("claim", world.archive, FAILED, "--by", "H. Brume", "--out", out, "--json").document
    assert said["sealed"] and said["ledger_entry"] is not None and said["why_no_entry"] is None
    report = typed("verify", out, "--json")
    assert report.code == 0 and set(report.document) >= {"sound", "sealed", "checked_against", "broken"}
    assert (report.document["sound"], report.document["sealed"], report.document["broken"]) == (True, True, [])
    head = typed("fixity", world.archive, "--json").document["ledger"]["head"]
    held = typed("verify", out, "--expect", head, "--json")
    assert held.code == 0 and head in held.document["checked_against"]
    assert typed("verify", out, "--expect", said["ledger_head"]).code == 0, "the head that its own pages print"
    entries = typed("history", world.archive, FAILED, "--json").document["entries"]
    assert [e["by"] for e in entries if e["kind"] == "claim issued"] == ["H. Brume"]
    page = out / "data" / "claim.html"
    assert "made by H. Brume" in " ".join(re.sub(r"<[^>]*>", " ", page.read_text(encoding="utf-8")).split())
    assert any("sound against itself" in n for n in report.document["notes"])
    page.write_text(page.read_text(encoding="utf-8") + " ", encoding="utf-8")
    broken = typed("verify", out, "--json")
    assert broken.code == 1 and {b["path"] for b in broken.document["broken"]} == {"data/claim.html"}
    assert "data/claim.html" in typed("verify", out).out
    assert not any("sound" in n for n in broken.document["notes"]), "what was changed is sound against nothing"
    assert typed("verify", tmp_path, "--json").code == 2, "a folder that nobody issued"


def test_a_job_is_accepted_on_no_day_that_is_still_to_come(built):
    said = typed("accept", built.archive, "--job", JOB, "--on", "2999-01-01")
    assert said.code == 2 and "still to come" in said.line and "2999-01-01" in said.line


def test_a_finding_of_no_link_is_printed_without_an_empty_part(capsys):
    account = ConversionAccount()
    account.errors = [{"link_label": None, "message": "z.zip is cut short"}, {"link_label": "A1", "message": "no date"}]
    _tell(account, [], Path("out.xml"), quiet=False)
    assert capsys.readouterr().out.splitlines()[1:3] == ["finding: z.zip is cut short", "finding: A1: no date"]


def test_a_book_is_entered_in_the_ledger_and_verifies_as_a_folder(world, tmp_path):
    filed = tmp_path / "note.txt"
    filed.write_text("An invented letter.")
    assert typed("attach", world.archive, filed, "--job", JOB, "--kind", "letter", "--by", "H. Brume").code == 0
    book = tmp_path / "book"
    said = typed("book", world.archive, "--job", JOB, "--out", book, "--by", "H. Brume", "--json").document
    assert said["sealed"] and (book / "documents" / "note.txt").read_bytes() == filed.read_bytes()
    head = typed("fixity", world.archive, "--json").document["ledger"]["head"]
    report = typed("verify", book, "--expect", head, "--json")
    assert report.code == 0 and report.document["sealed"] and report.document["broken"] == []
    assert report.document["seal"]["what"] == "hand-over book"
    (book / "documents" / "note.txt").write_text("Another letter.")
    broken = typed("verify", book, "--json").document
    assert {b["path"] for b in broken["broken"]} == {"documents/note.txt"}
    assert any("files a document of this digest" in b["what"] for b in broken["broken"])
    (book / "documents" / "note.txt").unlink()
    assert typed("verify", book).code == 1


def test_the_page_speaks_as_asked(built, tmp_path):
    options = [
        "--no-record",
        "--reason",
        "Letter of 3 May",
        "--on",
        "2030-01-15",
        "--locale",
        "en_US",
        "--lengths",
        "ft",
    ]
    assert typed("claim", built.archive, FAILED, "--out", tmp_path / "out", "--paper", "letter", *options).code == 0
    page = (tmp_path / "out" / "data" / "claim.html").read_text(encoding="utf-8")
    assert "Letter of 3 May" in page and "January 15, 2030" in page and "length, ft" in page


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["claim", "{archive}", "01-1A-A0", "--out", "{out}"], "links may be meant"),
        (["claim", "{archive}", "ZZ-9", "--out", "{out}"], "no link"),
        (["claim", "{archive}", FAILED, "--out", "{out}", "--locale", "qq"], "no such locale"),
        (["claim", "{archive}", FAILED, "--out", "{out}", "--retest", "{out}/nothing.xml"], "nothing.xml"),
        (["claim", "{archive}", FAILED, "--out", "{out}", "--deposit-retest"], "--retest FILE"),
        (["claim", "{archive}", FAILED, "--out", "{archive}"], "not empty"),
        (["claim", "{archive}", FAILED, "--out", "{out}", "--words", "{archive}/archive.toml"], "no catalogue"),
        (["book", "{archive}", "--job", "NO-JOB", "--out", "{out}"], "knows no such job"),
        (["book", "{archive}", "--job", JOB, "--out", "{out}", "--with", "appendix"], "no such section"),
        (["book", "{archive}", "--job", JOB, "--out", "{out}", "--columns", "colour"], "no such parameter"),
        (["book", "{archive}", "--job", JOB, "--out", "{out}", "--cover", "{out}/none.txt"], "none.txt"),
    ],
)
def test_what_cannot_be_done_is_told_in_one_line_and_leaves_nothing(built, tmp_path, words, told):
    out = tmp_path / "out"
    said = typed(*(w.format(archive=built.archive, out=out) for w in words))
    assert told in said.line and not out.exists() and list(tmp_path.iterdir()) == []


def test_the_fresh_test_is_deposited_only_when_asked(world, tmp_path):
    before = typed("find", world.archive, "--json").document["records"]
    fresh = _one_of_the_link(before[0]["link"], tmp_path)
    asked = ["claim", world.archive, before[0]["link"], "--retest", fresh, "--by", "H. Brume"]
    assert typed(*asked, "--out", tmp_path / "one", "--json").document["deposited"] is None
    assert len(typed("find", world.archive, "--json").document["records"]) == len(before)
    said = typed(*asked, "--out", tmp_path / "two", "--deposit-retest", "--json").document
    assert said["deposited"]
    assert len(typed("find", world.archive, "--json").document["records"]) == len(before) + 1
    assert (
        said["ledger_head"] == json.loads((tmp_path / "two" / "data" / "proof.json").read_bytes())["in_ledger"]["root"]
    )


def _one_of_the_link(label, folder):
    """A later test of one link, as an export."""
    from archive import formats
    from archive.demo.simulator import simulate
    from archive.tables import Batch

    (batch,) = simulate(1, seed=99, category="cat5e")
    rows = batch["records"].to_pylist()
    rows[0] |= {
        "link_label": label,
        "tested_local": "2030-01-02T10:00",
        "tested_found": "2.1.2030 10:00",
        "tested_at": None,
    }
    rows[0] |= {"utc_offset_min": None, "zone_basis": None, "job_id": None}
    formats.write([batch.replace(records=Batch.from_rows({"records": rows})["records"])], folder / "fresh.xml", "xml")
    return folder / "fresh.xml"


def test_a_book_by_link_and_its_list(built, tmp_path):
    said = typed(
        "book", built.archive, "--job", JOB, "--out", tmp_path / "book", "--per", "link", "--no-record", "--json"
    ).document
    assert {"book.pdf", "book.html", f"{FAILED}.pdf", f"{FAILED}.html"} <= set(said["files"])
    beside = {"START-HERE.html", "manifest-sha256.txt", "manifest-sha512.txt"}
    assert {*said["files"], *beside} == {p.name for p in (tmp_path / "book").iterdir()} and not said["sealed"]
    assert typed("verify", tmp_path / "book").code == 1, "no key, and no entry"
    page = (tmp_path / "book" / "book.html").read_text(encoding="utf-8")
    assert f"{FAILED}.pdf" in page.replace("<wbr>", "")
