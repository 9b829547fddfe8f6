"""The receipt of a deposit: the same dry, made, and given again; in each form; nothing wider than the page."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

from store_making import batch, rows

from archive import formats, store
from archive.answers.intake import Choices, ingest
from archive.answers.progress import progress
from archive.answers.receipt import ReceiptFacts, compose, lines, next_step, write
from archive.store import Archive
from archive.store.deposits import DepositFacts, receipt
from archive.vocabulary.ranges import ranges

FACTS = DepositFacts(job="J", by="R. Ostrander")


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    return store.create(tmp_path / "archive")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two records, a list of twenty links, and two files that nobody can read."""
    made = tmp_path / "in"
    made.mkdir()
    formats.write([batch(rows("3-TR10-001"), rows("3-TR10-002", place="row 3", shift=0.4))], made / "two.xml")
    labels = [f"3-TR10-{n:03d}" for n in range(1, 21)]
    (made / "list.csv").write_text("Run;Floor\n" + "".join(f"{x};3\n" for x in labels), "utf-8")
    (made / "scan.pdf").write_bytes(b"%PDF-1.4\n\x00\x01\x02")
    (made / "torn.xml").write_text("<link-records", "utf-8")
    return made


def sections(facts: ReceiptFacts) -> dict[str, str]:
    return {s.title: str(s.blocks) for s in compose(facts, kept=True).sections}


def test_a_dry_run_says_what_the_deposit_says_and_what_is_said_again(archive: Archive, folder: Path) -> None:
    dry = sections(ReceiptFacts(ingest(archive, [folder], FACTS, Choices(dry_run=True)), "A", "J", None, True))
    made = ingest(archive, [folder], FACTS)
    now = sections(ReceiptFacts(made, "A", "J", progress(archive, "J")))
    assert made.entry is not None
    again = sections(ReceiptFacts(receipt(archive, made.entry["deposit"]), "A", "J", progress(archive, "J")))
    same = ("Read", "Records", "Set aside", "Found by rules")
    assert {k: dry[k] for k in same} == {k: now[k] for k in same} == {k: again[k] for k in same}
    assert now["The schedule"] == dry["The schedule"]
    assert now["Set aside"].count("scan.pdf") == now["Set aside"].count("torn.xml") == 1
    assert "setaside" not in dry["Next"]


def test_it_names_what_is_missing_in_ranges_and_fits_the_page(archive: Archive, folder: Path) -> None:
    made = ingest(archive, [folder], FACTS)
    facts = ReceiptFacts(made, "A", "J", progress(archive, "J"))
    page = lines(compose(facts, kept=True))
    assert max(map(len, page)) <= 80
    text = " ".join(" ".join(page).split())
    assert "missing (18) 3-TR10-003 to 020" in text
    assert next_step(facts) == "muniment setaside A --job J"
    assert facts.told["ledger_head"] in text


@pytest.mark.parametrize(("name", "begins"), [("r.pdf", b"%PDF"), ("r.html", b"<!doctype"), ("r.txt", b"Deposit ")])
def test_it_is_written_with_every_file_as_received(
    archive: Archive, folder: Path, tmp_path: Path, name: str, begins: bytes
) -> None:
    made = ingest(archive, [folder], FACTS)
    write(ReceiptFacts(made, "A", "J", archive_id=archive.id), tmp_path / name)
    data = (tmp_path / name).read_bytes()
    assert data.startswith(begins)
    received = made.plain()["received"]
    assert len(received) == 4
    head = made.plain()["ledger_head"]
    if name == "r.html":
        assert f"QR code of this line: {archive.id} {made.plain()['ledger_size']} {head}".encode() in data
        assert b"<svg" in data
    if name != "r.pdf":
        folded = b"".join(data.replace(b"<wbr>", b"").split())
        assert all(str(f["name"]).encode() in folded for f in received)


def test_what_is_here_already_says_where_and_since_when(archive: Archive, folder: Path) -> None:
    first = ingest(archive, [folder / "two.xml"], FACTS)
    again = ingest(archive, [folder / "two.xml"], FACTS)
    assert first.entry is not None
    assert again.entry is None
    (here,) = again.plain()["here"]
    assert (here["deposit"], here["records"], here["at"]) == (first.entry["deposit"], 2, first.entry["at"])
    other = ingest(archive, [folder / "two.xml"], DepositFacts(job="OTHER"))
    assert next_step(ReceiptFacts(other, "A", "OTHER")).startswith("muniment amend A --deposit")


@pytest.mark.parametrize(
    ("labels", "told"),
    [
        (["A-1", "A-2"], ["A-1", "A-2"]),
        (["A-08", "A-09", "A-10", "B"], ["A-08 to 10", "B"]),
        (["A-9", "A-10", "A-11"], ["A-9 to 11"]),
        (["A-09", "A-010", "A-011"], ["A-09", "A-010", "A-011"]),
        (["1x", "2x", "3x", "5x"], ["1x to 3x", "5x"]),
        ([], []),
    ],
)
def test_ranges(labels: list[str], told: list[str]) -> None:
    assert ranges(labels) == told
