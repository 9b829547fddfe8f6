"""A folder as it lies on a desk on a Monday: unknown reports of one kind, a letter, and what programs leave behind.

The layout is invented. What receipts and surveys say of such a folder: issue 18, items 1, 4, 5 and 7.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from archive import store
from tests.cli.person import document, printed, typed

JOB = "QUAY-2019"
_REPORT = """Cabling test report
Cable run   : 3-C-30{n}
Tested on   : 2019-03-06 14:2{n}
Test limit  : TIA-568.2-D Cat 6A Permanent Link
Result      : Pass
Main unit   : 77-0042

Pair     Length m   Delay ns   Resistance ohm
1-2      4{n}.2       20{n}        7.{n}1
3-6      4{n}.5       20{n}        7.{n}3
4-5      4{n}.0       20{n}        7.{n}0
7-8      4{n}.9       20{n}        7.{n}6

End of report
"""


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(tmp_path / "config"))
    store.create(tmp_path / "certs")
    reports = tmp_path / "exports" / "reports"
    reports.mkdir(parents=True)
    for n in range(1, 4):
        (reports / f"3-C-30{n}.txt").write_text(_REPORT.format(n=n))
    letter = "Dear Sir or Madam,\n\nenclosed please find the results of floor three.\nKind regards\n"
    (tmp_path / "exports" / "letter.txt").write_text(letter)
    (tmp_path / "exports" / ".DS_Store").write_bytes(b"\0\0\0\1Bud1" + bytes(40))
    return tmp_path


def test_a_survey_counts_what_programs_left_behind_apart(desk: Path) -> None:
    said = printed("survey", desk / "exports", code=1)
    assert ".DS_Store passed over: a program put it there" in said
    assert said.endswith("5 files, 3 records, 1 not read, 1 passed over")
    files = {f["path"]: f["passed_over"] for f in document("survey", desk / "exports", code=1)["files"]}
    assert [path for path, passed in files.items() if passed] == [".DS_Store"]
    (desk / "exports" / "letter.txt").unlink()
    assert typed("survey", desk / "exports").code == 0, "what no person put there is nothing to look at"


def test_a_receipt_says_once_what_is_the_same_for_a_layout(desk: Path) -> None:
    deposit = ("deposit", desk / "exports", "--into", desk / "certs", "--by", "R. Ostrander", "--job", JOB)
    said = printed(*deposit, code=1)
    assert "drafted-3-c-301 3 3 0 A DRAFT" in said and "drafted-3-c-302" not in said
    assert said.count("the draft has no place for") == 1
    assert "reports/3-C-301.txt to 303.txt: the draft has no place for" in said
    assert "letter is kept with its job: `muniment attach ARCHIVE FILE --job JOB --kind letter`" in said
    assert "before its site was stated" not in said
    (desk / "late").mkdir()
    (desk / "late" / "3-C-304.txt").write_text(_REPORT.format(n=4))
    late = ("deposit", desk / "late", "--into", desk / "certs", "--by", "R. Ostrander", "--job", JOB)
    said = printed(*late, "--site", "Lantern Quay", code=1)
    assert "3 records of this job came before its site was stated, and may be of another place; give it with " in said
    amend = ["amend", desk / "certs", "--job", JOB, "--set", "site=Lantern Quay"]
    assert f"`muniment amend ARCHIVE {' '.join(map(str, amend[2:5]))} 'site=Lantern Quay'`" in said
    assert typed(*amend, "--by", "R. Ostrander", "--reason", "it was not stated").code == 0
    sites = {r["site"] for r in document("find", desk / "certs")["records"]}
    assert sites == {"Lantern Quay"}
