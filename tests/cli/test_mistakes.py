"""A clerk's mistakes as a table: what was done, the exit code, and what was printed.

Measured over an invented clerk's week. Where nothing was done, one line says it and nothing changed; no line tells
anybody to change an original. Mistakes that need a machine (a full disk, no permission, Ctrl-C) are tested in
test_bad_input.py, tests/store/test_stopped.py and tests/store/test_kills.py.
"""

# ruff: noqa: F811 (fixtures that are imported by name)

from __future__ import annotations

import io
import shutil
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.answers.test_shelf import HEADINGS, MAPPING
from tests.cli.conftest import JOB, World, built  # noqa: F401 - fixture
from tests.cli.person import everything, typed

_FORBIDDEN = ("correct the cell", "mend the file", "edit the file", "change the file", "correct the file")
"""Advice to change what was handed in."""

_ROW = "{};04.03.2019 10:1{};good;TIA-568-C.2 Cat 6;40-00317;12,1;01.02.2020"


@dataclass(frozen=True)
class Desk:
    """What lies on the clerk's desk. archive: with one job; folder: everything else, by name."""

    folder: Path
    archive: Path


@pytest.fixture(scope="module")
def desk(built: World, tmp_path_factory: pytest.TempPathFactory) -> Desk:
    made = tmp_path_factory.mktemp("desk")
    archive = made / "certificates"
    shutil.copytree(built.archive, archive)
    table = "\n".join([HEADINGS, *(_ROW.format(f"01-1A-B0{n}", n) for n in range(1, 5))]) + "\n"
    files: dict[str, str | bytes] = {
        "export.csv": table,
        "heron.toml": MAPPING,
        "egret.toml": MAPPING.replace('from = "', 'from = "Z '),
        "unclosed.toml": MAPPING + 'x = "\n',
        "place.toml": MAPPING.replace("records.link_label", "records.linklabel"),
        "rows.toml": MAPPING.replace('rows = "links"', 'rows = "label"'),
        "dates.toml": MAPPING.replace("DD.MM.YYYY hh:mm", "MM/DD/YYYY hh:mm"),
        "section.toml": MAPPING.replace("[mapping]", "[maping]"),
        "empty.csv": "",
        "links.csv": "Run;Floor\n01-1A-A01;1\n01-1A-A02;1\n",
        "odd-links.csv": "Wording;Floor\n01-1A-A01;1\n01-1A-A02;1\n",
        "open-quote.csv": 'Run;Floor\n"01-1A-A01;1\n01-1A-A02;1\n01-1A-A03;1\n',
        "numbers.csv": "Link;Result\n1;a\n2;b\n3;c\n4;d\n",
        "no-day.csv": "Run;Due on\n01-1A-A01;31.02.2026\n",
        "letter.txt": "Dear Sir or Madam",
        "scan.pdf": b"%PDF-1.4\n\x00\x01",
        "cut.zip": b"PK\x03\x04" + bytes(60),
        "renames.csv": "record;field\nre-1;link_label\n",
        "unknown.csv": "record,field,value\nre-nope,link_label,X\n",
    }
    for name, content in files.items():
        (made / name).write_bytes(content if isinstance(content, bytes) else content.encode())
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("a.csv", table)
    data = bytearray(out.getvalue())
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(mark) + at] |= 1
    (made / "encrypted.zip").write_bytes(bytes(data))
    (made / "nothing").mkdir()
    (made / "full").mkdir()
    (made / "full" / "x.txt").write_text("x")
    shutil.copyfile(built.good, made / "good.xml")
    shutil.copyfile(built.exports / "week1.xml", made / "week1.xml")
    return Desk(made, archive)


D = f"deposit {{0}} --into ARCHIVE --job {JOB}"
"""The command of a Monday; {0} is what is handed in."""

REFUSED: dict[str, tuple[str, tuple[str, ...]]] = {
    "wrong folder": (D.format("exprots"), ("exprots", "no such file or folder", "path")),
    "no job": ("deposit export.csv --into ARCHIVE", ("--job",)),
    "archive missing": ("progress nowhere --job J", ("no such archive", "muniment init")),
    "not an archive": ("progress full --job J", ("no archive", "archive.toml")),
    "bad zone": (D.format("export.csv") + " --zone Europe/Londn", ("Europe/Londn", "Europe/London")),
    "site typed otherwise": (D.format("export.csv") + " --site Lantern-Quays", ("site", "Lantern Quay")),
    "job typed otherwise": ("deposit export.csv --into ARCHIVE --job HARBOUR-2019-O4", ("HARBOUR-2019-04", "--new")),
    "schedule with unknown headings": (
        D.format("export.csv") + " --schedule odd-links.csv",
        ("odd-links.csv: line 1", "Wording, Floor", "--schedule-columns"),
    ),
    "schedule empty": (D.format("export.csv") + " --schedule empty.csv", ("empty.csv", "is empty", "label")),
    "schedule is a document": (D.format("export.csv") + " --schedule scan.pdf", ("scan.pdf",)),
    "schedule whose labels are row numbers": (
        D.format("export.csv") + " --schedule numbers.csv",
        ("numbers.csv: line 2", "1, 2, 3", "identifiers of links"),
    ),
    "schedule with an open quote": (
        D.format("export.csv") + " --schedule open-quote.csv",
        ("open-quote.csv: line 2", "quote", "nothing was taken"),
    ),
    "schedule with no such day": (
        D.format("export.csv") + " --schedule no-day.csv",
        ("no-day.csv: line 2", "31.02.2026", "2019-04-30"),
    ),
    "wrong mapping": (D.format("export.csv") + " --mapping egret.toml", ("export.csv", "Z Cable", "not there")),
    "mapping missing": (D.format("export.csv") + " --mapping none.toml", ("none.toml", "mapping list")),
    "mapping that is no TOML": (D.format("export.csv") + " --mapping unclosed.toml", ("unclosed.toml", "line")),
    "place that there is not": (
        D.format("export.csv") + " --mapping place.toml",
        ("field 'Cable'", "records.linklabel", "records.link_label"),
    ),
    "kind of rows that there is not": (D.format("export.csv") + " --mapping rows.toml", ("label", "links")),
    "section that there is not": (D.format("export.csv") + " --mapping section.toml", ("maping", "mapping")),
    "two mappings, one for nothing": (
        D.format("export.csv good.xml week1.xml links.csv") + " --mapping heron.toml --mapping none.toml",
        ("none.toml",),
    ),
    "empty file": (D.format("empty.csv"), ("empty.csv", "is empty")),
    "empty folder": (D.format("nothing"), ("nothing",)),
    "encrypted zip": (D.format("encrypted.zip"), ("encrypted", "password")),
    "zip cut short": (D.format("cut.zip"), ("cut.zip", "damaged or not a zip", "again")),
    "convert onto what is there": ("convert good.xml --to week1.xml", ("week1.xml", "--replace")),
    "init twice": ("init ARCHIVE", ("archive",)),
    "init in a full folder": ("init full", ("full",)),
    "archive as input": (D.format("ARCHIVE"), ("archive", "merge")),
    "export into itself": ("export ARCHIVE --to ARCHIVE/copy", ("inside",)),
    "receipt of no deposit": ("receipt ARCHIVE 2019-01-01-0123456789", ("no deposit", "muniment receipt")),
    "option typed otherwise": ("deposit export.csv --intoo ARCHIVE --job J", ("--intoo", "--into")),
    "command typed otherwise": ("depost export.csv", ("depost", "deposit")),
    "document missing": (f"attach ARCHIVE none.pdf --job {JOB} --kind letter", ("none.pdf", "path")),
    "document for an unknown job": ("attach ARCHIVE letter.txt --job NOPE --kind letter", ("NOPE", "--new")),
    "document for an unknown link": (
        f"attach ARCHIVE letter.txt --job {JOB} --link ZZZ --kind letter",
        ("ZZZ", "muniment find"),
    ),
    "document of an unknown kind": (f"attach ARCHIVE letter.txt --job {JOB} --kind photo", ("photo", "photograph")),
    "amendments without a column": ("amend ARCHIVE --from renames.csv --reason r", ("renames.csv",)),
    "amendment of an unknown record": ("amend ARCHIVE --from unknown.csv --reason r", ("unknown.csv", "2", "re-nope")),
    "no such day of a warranty": (f"job ARCHIVE {JOB} --set warranty_end=2046-13-01", ("2046-13-01", "ISO 8601")),
    "fact that there is not": (f"job ARCHIVE {JOB} --set warrantee=x", ("warrantee", "warranty_end")),
    "withdrawal of an unknown record": ("withdraw ARCHIVE --record re-nope --reason r", ("re-nope",)),
    "repair from what is no copy": ("repair ARCHIVE --from full", ("full",)),
    "columns of a schedule without one": (
        D.format("export.csv") + " --schedule-columns link_label=Run",
        ("--schedule-columns", "--schedule LINKS.csv"),
    ),
    "nothing handed in": (f"deposit --into ARCHIVE --job {JOB}", ("nothing to deposit", "--schedule")),
    "a receipt as a word processor's file": (D.format("export.csv") + " --receipt r.docx", ("r.docx", ".pdf")),
    "no archive and none remembered": (f"deposit export.csv --job {JOB}", ("--into ARCHIVE", "muniment me")),
    "archive typed otherwise": (f"progress certifcates --job {JOB}", ("certifcates", "expected certificates")),
    "the folder above the archive": (f"progress . --job {JOB}", ("this folder is no archive", "certificates")),
    "job typed otherwise at a question": ("progress ARCHIVE --job HARBOUR-2019-O4", ("HARBOUR-2019-04", "name")),
    "job typed otherwise at the list of things aside": (
        "setaside ARCHIVE --job HARBOUR-2019-O4",
        ("no such job", "expected HARBOUR-2019-04"),
    ),
    "job typed otherwise at a check": ("check ARCHIVE --job HARBOUR-2019-O4", ("expected HARBOUR-2019-04",)),
    "job typed otherwise at a comparison": ("copies ARCHIVE --job HARBOUR-2019-O4", ("expected HARBOUR-2019-04",)),
    "job typed otherwise at the acceptance": (
        "accept ARCHIVE --job HARBOUR-2019-O4 --reason r",
        ("expected HARBOUR-2019-04",),
    ),
    "job typed otherwise at the book": ("book ARCHIVE --job HARBOUR-2019-O4 --out b", ("expected HARBOUR-2019-04",)),
    "job typed otherwise at a hold": ("hold ARCHIVE --job HARBOUR-2019-O4 --reason r", ("expected HARBOUR-2019-04",)),
    "facts stated for a job typed otherwise": (
        "job ARCHIVE HARBOUR-2019-O4 --set client=Quay",
        ("nearly the same name", "HARBOUR-2019-04", "--new"),
    ),
    "a day in the form of an export": ("find ARCHIVE --since 03.05.2019", ("since", "03.05.2019", "2019-05-03")),
    "a month that there is not": ("find ARCHIVE --until 2019-13", ("until", "2019-13", "2019-05-03")),
    "a verdict in other words": ("find ARCHIVE --verdict passed", ("passed", "pass, fail, not graded")),
    "a label with another letter": ("history ARCHIVE 01-1A-A0l", ("no link", "expected 01-1A-A0")),
    "a correction that fits no record": (
        "amend ARCHIVE --link 01-1A-A99 --set floor=2 --reason r",
        ("no record of the archive fits", "link 01-1A-A99", "muniment find"),
    ),
    "a shift of a clock in words": ("amend ARCHIVE --link 01-1A-A01 --shift 1year --reason r", ("1year", "+1y")),
    "a proof asked for by a label": ("prove ARCHIVE 01-1A-A01", ("01-1A-A01", "muniment find")),
    "a proof that is a letter": ("verify letter.txt", ("letter.txt", "no proof", "muniment prove")),
    "a certificate's day in the form of an export": (
        f"attach ARCHIVE letter.txt --job {JOB} --kind certificate --valid-until 31.12.2026",
        ("--valid-until", "31.12.2026", "2026-12-31"),
    ),
    "an export laid on the shelf": ("mapping confirm ARCHIVE export.csv", ("export.csv", "no TOML", "mapping draft")),
    "a policy that is not there": ("check export.csv --policy none.toml", ("none.toml", "no such file", "path")),
    "a folder that is not among the files": (
        D.format("export.csv") + " --folder floor-2 floor=2",
        ("no file lies in such a folder", "floor-2"),
    ),
    "a limit typed otherwise": ("grade good.xml --against tia-568.2-d/cat6a/chanel", ("tia-568.2-d/cat6a/channel",)),
    "a grouping typed otherwise": ("rates ARCHIVE --by cable-typ", ("cable-typ", "cable_type")),
    "a claim into a full folder": ("claim ARCHIVE 01-1A-A01 --out full", ("full", "not empty")),
    "an acceptance on a day to come": (
        f"accept ARCHIVE --job {JOB} --on 2099-01-01 --reason r",
        ("2099-01-01", "still to come"),
    ),
    "a second archive by a slip": ("init certifcates", ("certificates", "--yes")),
}
"""What was done, and what the one line says; exit code 2, and nothing changed."""

LOOKED_AT: dict[str, tuple[str, int, tuple[str, ...]]] = {
    "schedule given as an input": (D.format("links.csv") + " --dry-run", 0, ("It lists",)),
    "wrong date pattern": (
        D.format("export.csv") + " --mapping dates.toml --dry-run",
        1,
        ("04.03.2019", "MM/DD/YYYY"),
    ),
    "wrong mapping at a survey": ("survey export.csv --mapping egret.toml", 1, ("Z Cable",)),
    "here already, in another job": (
        "deposit week1.xml --into ARCHIVE --job LATER-9 --dry-run",
        1,
        ("HERE ALREADY UNDER JOB HARBOUR-2019-04", "job_id=LATER-9"),
    ),
    "the same file again": (D.format("week1.xml"), 0, ("Nothing new", "here already: the same file", "since")),
    "a document among exports": (D.format("full letter.txt scan.pdf good.xml") + " --dry-run", 1, ("attach ARCHIVE",)),
    "a unit typed otherwise": ("find ARCHIVE --serial 40-0031", 1, ("nothing found", "knows no unit 40-0031")),
    "a job typed otherwise at finding": (
        "find ARCHIVE --job HARBOUR-2019-O4",
        1,
        ("nothing found", "knows no job HARBOUR-2019-O4; is HARBOUR-2019-04 meant?"),
    ),
    "a list of links surveyed": ("survey --schedule links.csv", 0, ("2 links to be built", "floor from 'Floor'")),
    "a label of 400 letters": ("find ARCHIVE --link " + "A" * 400, 1, ("",)),
}
"""What was done, the exit code, and what is printed."""


@pytest.fixture(autouse=True)
def own_places(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory, desk: Desk) -> None:
    monkeypatch.setenv("MUNIMENT_CACHE", str(desk.folder.parent / "desk-cache"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(desk.folder.parent / "desk-config"))
    monkeypatch.chdir(desk.folder)


def words(command: str) -> list[str]:
    return command.replace("ARCHIVE", "certificates").split()


@pytest.mark.parametrize("mistake", REFUSED)
def test_what_is_refused_says_place_found_and_remedy_in_one_line(mistake: str, desk: Desk) -> None:
    command, pieces = REFUSED[mistake]
    before = everything(desk.archive, desk.folder)
    line = typed(*words(command)).line
    assert [p for p in pieces if p not in line] == [], line
    assert [f for f in _FORBIDDEN if f in line.lower()] == []
    assert everything(desk.archive, desk.folder) == before


@pytest.mark.parametrize("mistake", LOOKED_AT)
def test_what_is_done_is_told_with_its_exit_code(mistake: str, desk: Desk) -> None:
    command, code, pieces = LOOKED_AT[mistake]
    before = everything(desk.archive)
    said = typed(*words(command))
    told = " ".join((said.out + said.err).split())
    assert said.code == code, told
    assert [p for p in pieces if p not in told] == [], told
    assert [f for f in _FORBIDDEN if f in told.lower()] == []
    assert everything(desk.archive) == before
    assert all(len(line) <= 2000 for line in said.out.splitlines())


def test_the_table_has_forty_five_mistakes_and_more() -> None:
    assert len(REFUSED) + len(LOOKED_AT) >= 80
