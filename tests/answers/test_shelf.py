"""The archive's own shelf of mappings: what a person looked over recognises first, for the next clerk too."""

from __future__ import annotations

import shlex
import shutil
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

from archive import store
from archive.answers import shelf
from archive.answers.intake import Choices, ingest
from archive.answers.named_places import NOT_LOOKED_INTO, named_places
from archive.answers.receipt import ReceiptFacts, next_step
from archive.answers.reread import reread
from archive.cli import cli
from archive.errors import Trouble
from archive.formats.mapping import known
from archive.store import copies
from archive.store.deposits import DepositFacts, Receipt, receipt
from archive.store.ledger import LedgerEntry

HEADINGS = "Cable;Tested;Outcome;Standard;Serial number;Insertion loss 100 MHz (dB);Calibrated until"
MAPPING = """\
[mapping]
layout = "heron"
[cells]
decimal = ","
[[file]]
name = "1"
kind = "delimited"
delimiter = ";"
[[file.table]]
name = "links"
rows = "links"
fields = [
  { from = "Cable", to = "records.link_label" },
  { from = "Tested", to = "records.tested_found", format = "DD.MM.YYYY hh:mm" },
  { from = "Outcome", to = "records.reported_verdict", words = { good = "pass", bad = "fail" } },
  { from = "Standard", to = "records.limit_found" },
  { from = "Serial number", to = "instruments.serial" },
  { from = "Calibrated until", to = "instruments.calibration_due", format = "DD.MM.YYYY" },
]
"""
FACTS = DepositFacts(job="HARBOUR-2019-04", by="R. Ostrander")


def export(folder: Path, name: str, *labels: str) -> Path:
    """An export of the layout, with a row per label."""
    rows = [
        f"{x};0{i}.03.2019 10:1{i};good;TIA-568-C.2 Cat 6;40-00317;12,{i};01.02.2019" for i, x in enumerate(labels, 1)
    ]
    path = folder / name
    path.write_text("\n".join([HEADINGS, *rows]) + "\n", "utf-8")
    return path


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> store.Archive:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    return store.create(tmp_path / "archive")


@pytest.fixture
def heron(tmp_path: Path) -> Path:
    path = tmp_path / "heron.toml"
    path.write_text(MAPPING, "utf-8")
    return path


def by(made: Receipt) -> list[str]:
    """By what the files of a deposit were read."""
    return [row["by"] for row in made.plain()["layouts"]]


def event(entry: LedgerEntry | None) -> LedgerEntry:
    assert entry is not None
    return entry


def test_a_mapping_that_was_named_reads_the_next_file_of_the_layout(
    archive: store.Archive, tmp_path: Path, heron: Path
) -> None:
    """The next file has the calibration date too, which a draft would have left beside the record."""
    first = ingest(archive, [export(tmp_path, "a.csv", "1-A01", "1-A02")], FACTS, Choices(mapping=heron))
    heron.unlink()
    second = ingest(archive, [export(tmp_path, "b.csv", "1-B01", "1-B02")], FACTS)
    assert (by(first), by(second)) == (["named"], ["shelf"])
    assert by(receipt(archive, event(second.entry)["deposit"])) == ["shelf"]
    instruments = archive.tables(event(second.entry)["deposit"]).table("instruments")
    assert instruments["calibration_due"].to_pylist() == ["2019-02-01"]
    (row,) = shelf.listed(archive)
    assert (row["layout"], row["how"], row["by"], row["files"]) == ("heron", "named", "R. Ostrander", 2)
    assert row["recognises"]
    assert row["at"] == event(first.entry)["at"]


def test_a_draft_says_so_and_what_it_leaves_unplaced_is_to_be_looked_at(archive: store.Archive, tmp_path: Path) -> None:
    path = export(tmp_path, "a.csv", "1-A01", "1-A02")
    path.write_text(path.read_text("utf-8").replace("Calibrated until", "Zeta no."), "utf-8")
    dry = ingest(archive, [path], FACTS, Choices(dry_run=True))
    made = ingest(archive, [path], FACTS)
    assert dry.plain()["drafted"] == made.plain()["drafted"]
    (draft,) = made.plain()["drafted"]
    assert (draft["file"], draft["accepted"]) == ("a.csv", False)
    assert "Zeta no." in draft["unplaced"]
    assert made.look
    assert receipt(archive, event(made.entry)["deposit"]).look
    findings = archive.tables(event(made.entry)["deposit"]).table("findings").to_pylist()
    assert [f["where"] for f in findings if f["rule"] == "read-by-a-draft"] == ["a.csv"]
    assert [s["how"] for s in shelf.listed(archive) if s["shelf"]] == []


def test_an_accepted_draft_goes_to_the_shelf(archive: store.Archive, tmp_path: Path) -> None:
    first = ingest(archive, [export(tmp_path, "a.csv", "1-A01", "1-A02")], FACTS, Choices(accept_draft=True))
    assert (by(first), first.look) == (["accepted draft"], False)
    second = ingest(archive, [export(tmp_path, "b.csv", "1-B01", "1-B02")], FACTS)
    assert (by(second), second.look) == (["shelf"], False)


def test_each_named_mapping_reads_what_it_recognises(archive: store.Archive, tmp_path: Path, heron: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    export(folder, "a.csv", "1-A01", "1-A02")
    other = export(folder, "b.csv", "1-B01", "1-B02")
    other.write_text(other.read_text("utf-8").replace("Cable;Tested;Outcome", "Strecke;Zeit;Befund"), "utf-8")
    egret = tmp_path / "egret.toml"
    said = MAPPING.replace("heron", "egret").replace('"Cable"', '"Strecke"').replace('"Tested"', '"Zeit"')
    egret.write_text(said.replace('"Outcome"', '"Befund"'), "utf-8")
    made = ingest(archive, [folder], FACTS, Choices(mapping=[heron, egret])).plain()
    assert [(r["layout"], r["files"], r["records"], r["by"]) for r in made["layouts"]] == [
        ("heron", 1, 2, "named"),
        ("egret", 1, 2, "named"),
    ]
    assert made["set_aside"] == 0
    unfit = tmp_path / "unfit.toml"
    unfit.write_text(MAPPING.replace("from = ", 'from = "X "#').replace('"X "#"', '"X '), "utf-8")
    with pytest.raises(Trouble, match="recognises none of the files"):
        ingest(archive, [folder], FACTS, Choices(mapping=[heron, egret, unfit]))


def test_what_is_read_otherwise_than_before_is_said(archive: store.Archive, tmp_path: Path, heron: Path) -> None:
    """A mapping with one field less; and one that differs in its remarks alone, of which nothing is said."""

    def told(made: Receipt) -> list[str]:
        rows = archive.tables(event(made.entry)["deposit"]).table("findings").to_pylist()
        return [f["where"] for f in rows if f["rule"] == "read-otherwise-than-before"]

    first = ingest(archive, [export(tmp_path, "a.csv", "1-A01", "1-A02")], FACTS, Choices(mapping=heron))
    remarked, less = tmp_path / "remarked.toml", tmp_path / "less.toml"
    remarked.write_text(f"# the same\n{MAPPING}", "utf-8")
    less.write_text("\n".join(x for x in MAPPING.splitlines() if "Calibrated" not in x) + "\n", "utf-8")
    same = ingest(archive, [export(tmp_path, "b.csv", "1-B01", "1-B02")], FACTS, Choices(mapping=remarked))
    other = ingest(archive, [export(tmp_path, "c.csv", "1-C01", "1-C02")], FACTS, Choices(mapping=less))
    assert (told(first), told(same), told(other)) == ([], [], ["c.csv"])


def test_the_shelf_goes_before_the_users_own_folder(
    archive: store.Archive,
    tmp_path: Path,
    heron: Path,
    monkeypatch: pytest.MonkeyPatch,
    request: pytest.FixtureRequest,
) -> None:
    shelf.confirm(archive, heron, by="A. Vance", reason="compared with paper")
    (tmp_path / "user" / "mappings").mkdir(parents=True)
    _copy(heron, tmp_path / "user" / "mappings" / "own.toml", '"heron"', '"mine"')
    monkeypatch.setattr("archive.formats.base.words.user_folder", lambda: tmp_path / "user")
    known.known.cache_clear()
    request.addfinalizer(known.known.cache_clear)
    made = ingest(archive, [export(tmp_path, "a.csv", "1-A01", "1-A02")], FACTS)
    assert [r["layout"] for r in made.plain()["layouts"]] == ["heron"]
    shelf.take_off(archive, "heron", by="A. Vance", reason="wrong column")
    made = ingest(archive, [export(tmp_path, "b.csv", "1-B01", "1-B02")], FACTS)
    assert [r["layout"] for r in made.plain()["layouts"]] == ["mine"]
    assert [r["layout"] for r in shelf.listed(archive) if r["recognises"]] == ["mine"]


def _copy(of: Path, to: Path, old: str, new: str) -> Path:
    to.write_text(of.read_text("utf-8").replace(old, new), "utf-8")
    return to


def test_merge_carries_the_shelf(archive: store.Archive, tmp_path: Path, heron: Path) -> None:
    named = _copy(heron, tmp_path / "named.toml", '"heron"', '"gull"')
    shelf.confirm(archive, heron, by="A. Vance", reason=None)
    ingest(archive, [export(tmp_path, "a.csv", "1-A01", "1-A02")], FACTS, Choices(mapping=named))
    into = store.create(tmp_path / "into")
    copies.merge(into, archive, by=None, reason=None)
    assert {(r["layout"], r["how"], r["by"]) for r in shelf.listed(into) if r["shelf"]} == {
        ("heron", "confirmed", "A. Vance"),
        ("gull", "named", "R. Ostrander"),
    }


def test_what_cannot_be_shelved_or_taken_off(archive: store.Archive, tmp_path: Path, heron: Path) -> None:
    shelf.confirm(archive, heron, by=None, reason=None)
    with pytest.raises(Trouble, match="lies on the shelf already"):
        shelf.confirm(archive, heron, by=None, reason=None)
    with pytest.raises(Trouble, match="no such mapping on the shelf"):
        shelf.take_off(archive, "egret", by=None, reason=None)
    broken = tmp_path / "broken.toml"
    broken.write_text("[maping]\nlayout = 'x'\n", "utf-8")
    with pytest.raises(Trouble, match="maping"):
        shelf.confirm(archive, broken, by=None, reason=None)


def test_an_archive_copied_elsewhere_reads_by_its_shelf(archive: store.Archive, tmp_path: Path, heron: Path) -> None:
    """The shelf is in the archive, not in a clerk's cache or folder."""
    ingest(archive, [export(tmp_path, "a.csv", "1-A01", "1-A02")], FACTS, Choices(mapping=heron))
    shutil.copytree(archive.root, tmp_path / "copy")
    copy = store.open(tmp_path / "copy")
    assert by(ingest(copy, [export(tmp_path, "b.csv", "1-B01", "1-B02")], FACTS)) == ["shelf"]


def test_reading_again_touches_only_what_the_mapping_recognises(
    archive: store.Archive, tmp_path: Path, heron: Path
) -> None:
    """A folder of three layouts and a schedule; the better mapping is of one of them."""
    folder = tmp_path / "in"
    folder.mkdir()
    export(folder, "a.csv", "1-A01", "1-A02")
    other = export(folder, "b.csv", "1-B01", "1-B02")
    other.write_text(other.read_text("utf-8").replace("Cable;Tested;Outcome", "Strecke;Zeit;Befund"), "utf-8")
    (folder / "letter.pdf").write_bytes(b"%PDF-1.4 a letter")
    schedule = tmp_path / "links.csv"
    schedule.write_text("Run;Floor\n1-A01;1\n1-A02;1\n1-A03;1\n", "utf-8")
    less = tmp_path / "less.toml"
    less.write_text("\n".join(x for x in MAPPING.splitlines() if "Calibrated" not in x) + "\n", "utf-8")
    first = ingest(archive, [folder], FACTS, Choices(mapping=less, schedule=schedule))
    deposit = event(first.entry)["deposit"]
    again = reread(archive, deposit, heron, by=None, reason="the calibration")
    assert (again.counts["reread"], again.counts["new"], again.set_aside) == (2, 0, 0)
    assert [r["layout"] for r in again.plain()["layouts"]] == ["heron"]
    standing = archive.db.execute("SELECT link_label, mapping_sha256 FROM records WHERE NOT replaced ORDER BY 1")
    assert [r[0] for r in standing.fetchall()] == ["1-A01", "1-A02", "1-B01", "1-B02"]
    for patterns in (["b.csv"], ["letter.*"]):
        with pytest.raises(Trouble, match=r"a column that is not there|no export that any reader knows"):
            reread(archive, deposit, heron, files=patterns, by=None, reason=None)
    whole = reread(archive, deposit, None, by=None, reason=None)
    assert (whole.entry, whole.counts["new"]) == (None, 0)


def test_what_a_worse_mapping_cannot_read_stays_as_it_was_read(
    archive: store.Archive, tmp_path: Path, heron: Path
) -> None:
    first = ingest(archive, [export(tmp_path, "a.csv", "1-A01", "1-A02")], FACTS, Choices(mapping=heron))
    worse = _copy(heron, tmp_path / "worse.toml", "DD.MM.YYYY hh:mm", "MM/DD/YYYY hh:mm")
    again = reread(archive, event(first.entry)["deposit"], worse, by=None, reason=None)
    assert again.counts["new"] == 0
    rows = archive.db.execute("SELECT link_label, tested_local FROM records WHERE NOT replaced ORDER BY 1").fetchall()
    assert [tuple(r) for r in rows] == [("1-A01", "2019-03-01T10:11"), ("1-A02", "2019-03-02T10:12")]


def test_a_drafted_file_that_comes_again_is_said_to_be_drafted(archive: store.Archive, tmp_path: Path) -> None:
    path = export(tmp_path, "a.csv", "1-A01", "1-A02")
    first = ingest(archive, [path], FACTS)
    again = ingest(archive, [path], FACTS)
    assert by(first) == by(again) == ["draft"]


@pytest.mark.parametrize("packed", [False, True])
def test_the_next_step_drafts_what_was_handed_in(
    archive: store.Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, packed: bool
) -> None:
    """As it stands on the receipt, from where the deposit was made; said again later it names no path."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "in").mkdir()
    path = export(tmp_path / "in", "late.csv", "1-A01", "1-A02")
    path.write_text(path.read_text("utf-8").replace("Calibrated until", "Zeta no."), "utf-8")
    given = Path("in")
    if packed:
        with zipfile.ZipFile("in/z.zip", "w") as made:
            made.write(path, "sub/late.csv")
        path.unlink()
        given = Path("in/z.zip")
    deposited = ingest(archive, [given], FACTS)
    step = next_step(ReceiptFacts(deposited, "A", "J", inputs=[given]))
    words = shlex.split(step.partition(", and deposit")[0])
    assert words[3] == ("in/z.zip/sub/late.csv" if packed else "in/late.csv")
    result = CliRunner().invoke(cli, words[1:])
    assert result.exit_code == 0 and (tmp_path / "layout.toml").is_file(), result.output
    assert "draft FILE" in next_step(ReceiptFacts(deposited, "A", "J"))


def test_a_name_in_a_zip_that_was_handed_in_is_found(archive: store.Archive, tmp_path: Path) -> None:
    path = export(tmp_path, "a.csv", "1-A01", "1-A02")
    with zipfile.ZipFile(tmp_path / "z.zip", "w", zipfile.ZIP_DEFLATED) as made:
        made.write(path, "a.csv")
        made.writestr("notes.txt", "seen by T. Vance " * 9)
        made.writestr("torn.zip", b"PK\x03\x04 no more")
    ingest(archive, [tmp_path / "z.zip"], FACTS)
    places = [p.rpartition("/data/")[2] for p in named_places(archive, "T. Vance") if "originals" in p]
    assert places == ["originals/z.zip: notes.txt", f"originals/z.zip: torn.zip{NOT_LOOKED_INTO}"]
