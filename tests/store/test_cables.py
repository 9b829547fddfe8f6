"""Cable types that an archive settles once, and those that a job states."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from store_making import batch, deposit, rows

from archive import store
from archive.answers import cables
from archive.answers.history import history
from archive.answers.jobs import facts, state
from archive.answers.link import open_link
from archive.errors import Trouble
from archive.store import Archive, catalogue
from archive.store.catalogue.filters import Filters, addresses
from archive.store.copies.merge import merge
from archive.store.events import Correction, Settlement, amend, settle_cables
from archive.store.past import PastArchive

BY = "R. Ostrander"
WORDS = "Halyard 1200-X blue"


def add(archive: Archive, label: str, found: str | None, cable_type: str | None, job: str = "ONE") -> str:
    """Deposits a test of a link; its address."""
    source = label.encode().hex().ljust(64, "0")
    made = rows(label, cable_found=found, cable_type=cable_type, source=source, shift=int(label[1:]) + ord(label[0]))
    deposit(archive, batch(made), job=job)
    return archive.address(made["records"][0]["record_id"])


def types(archive: Archive) -> dict[str, tuple[Any, ...]]:
    """Type and basis by label."""
    archive.catch_up()
    found = archive.db.execute("SELECT link_label, cable_type, cable_basis FROM records ORDER BY row")
    return {label: (kind, basis) for label, kind, basis in found}


def settle(archive: Archive, words: str, kind: str | None) -> Any:
    return settle_cables(archive, [Settlement(words, kind)], by=BY, reason="read off the drum")


def rebuilt(archive: Archive) -> bool:
    """Whether the catalogue says what the ledger gives when it is derived again."""
    archive.catch_up()
    return catalogue.contents(archive.db) == catalogue.contents(catalogue.rebuilt(archive.root, archive.ledger))


def test_words_are_settled_for_records_here_and_to_come(archive: Archive) -> None:
    add(archive, "A1", WORDS, "unknown")
    add(archive, "A2", "Cat 6 U/UTP", "cat6/u-utp")
    entry, made = settle(archive, "HALYARD 1200 X  Blue", "cat7/s-ftp/awg23")
    assert entry is not None and len(made) == 1
    add(archive, "A3", "halyard 1200-x BLUE", "unknown")
    assert types(archive) == {
        "A1": ("cat7/s-ftp/awg23", "settled"),
        "A2": ("cat6/u-utp", "rule"),
        "A3": ("cat7/s-ftp/awg23", "settled"),
    }
    assert len(addresses(archive.db, Filters(cable_type="cat7/s-ftp"))) == 2
    assert settle(archive, WORDS, "cat7/s-ftp/awg23") == (None, [])
    assert rebuilt(archive)


def test_earlier_answers_stay_and_can_be_taken_back(archive: Archive) -> None:
    add(archive, "A1", "Cat 6 U/UTP", "cat6/u-utp")
    for kind in ("cat6a/u-utp", "cat6a/f-utp", None):
        settle(archive, "cat 6 u/utp", kind)
    assert types(archive) == {"A1": ("cat6/u-utp", "rule")}
    told = [e["what"] for e in history(archive, open_link(archive, "A1")) if e["kind"] == "cable settled"]
    assert len(told) == 3
    assert "taken back" in told[0] and "cat6a/f-utp" in told[1] and "cat6a/u-utp" in told[2]
    assert rebuilt(archive)


def test_nothing_in_a_bag_is_rewritten(archive: Archive) -> None:
    add(archive, "A1", WORDS, "unknown")
    before = {p: p.read_bytes() for p in (archive.root / "deposits").rglob("*") if p.is_file()}
    settle(archive, WORDS, "cat7")
    assert len(before) > 5
    assert {p: p.read_bytes() for p in (archive.root / "deposits").rglob("*") if p.is_file()} == before


def test_a_corrected_record_keeps_its_correction(archive: Archive) -> None:
    first = add(archive, "A1", WORDS, "unknown")
    add(archive, "A2", WORDS, "unknown")
    amend(archive, [Correction(first, "cable_type", "cat6/f-utp")], by=BY, reason="read off the sheath")
    settle(archive, WORDS, "cat7")
    assert types(archive) == {"A1": ("cat6/f-utp", "amended"), "A2": ("cat7", "settled")}
    with pytest.raises(Trouble) as caught:
        amend(archive, [Correction(first, "cable_type", "Halyard")], by=BY, reason="a slip")
    assert caught.value.code == "amend.unknown-word"


def test_a_job_fills_records_that_say_nothing(archive: Archive) -> None:
    add(archive, "A1", None, None)
    add(archive, "A2", None, "unknown")
    add(archive, "A3", WORDS, "unknown")
    add(archive, "A4", None, "cat6/u-utp")
    state(archive, "ONE", ["cable=Cat 6A F/UTP 23 AWG solid"], by=BY)
    add(archive, "A5", None, None)
    add(archive, "B1", None, None, job="TWO")
    assert types(archive) == {
        "A1": ("cat6a/f-utp/awg23/solid", "job"),
        "A2": ("cat6a/f-utp/awg23/solid", "job"),
        "A3": ("unknown", "rule"),
        "A4": ("cat6/u-utp", "record"),
        "A5": ("cat6a/f-utp/awg23/solid", "job"),
        "B1": (None, None),
    }
    assert facts(archive, "ONE")["cable"] == "cat6a/f-utp/awg23/solid"
    with pytest.raises(Trouble) as caught:
        state(archive, "ONE", ["cable=Halyard"], by=BY)
    assert caught.value.code == "job.no-cable"
    assert rebuilt(archive)


def test_a_schedule_says_it_link_by_link(archive: Archive) -> None:
    add(archive, "A1", None, None)
    add(archive, "A2", None, None)
    state(archive, "ONE", ["cable=cat6"], by=BY)
    made = rows("A3", cable_type=None, source="c" * 64)
    made["schedule"] = [
        {"schedule_id": f"sc-{label}", "job_id": "ONE", "link_label": label, "cable_type": kind}
        for label, kind in (("A1", "cat6a/f-utp"), ("A2", "unknown"), ("A3", "cat6a/u-utp"))
    ]
    deposit(archive, batch(made), job="ONE")
    assert types(archive) == {"A1": ("cat6a/f-utp", "job"), "A2": ("cat6", "job"), "A3": ("cat6a/u-utp", "job")}
    assert rebuilt(archive)


def test_a_schedule_with_two_types_at_two_places_of_a_label_says_nothing_of_either(archive: Archive) -> None:
    add(archive, "A1", None, None)
    made = rows("A3", cable_type=None, source="c" * 64)
    made["schedule"] = [
        {"schedule_id": f"sc-{floor}", "job_id": "ONE", "link_label": "A1", "cable_type": kind}
        for floor, kind in (("1", "cat6a/f-utp"), ("2", "cat6/u-utp"))
    ]
    deposit(archive, batch(made), job="ONE")
    assert types(archive)["A1"][0] in (None, "unknown")
    assert rebuilt(archive)


def test_a_record_that_moves_to_another_job_follows_it(archive: Archive) -> None:
    first = add(archive, "A1", None, None)
    state(archive, "ONE", ["cable=cat6"], by=BY)
    state(archive, "TWO", ["cable=cat6a"], by=BY)
    amend(archive, [Correction(first, "job_id", "TWO")], by=BY, reason="deposited under the wrong job")
    assert types(archive) == {"A1": ("cat6a", "job")}
    amend(archive, [Correction(first, "job_id", "THREE")], by=BY, reason="once more")
    assert types(archive) == {"A1": (None, None)}


def test_the_past_did_not_know_it(archive: Archive) -> None:
    add(archive, "A1", WORDS, "unknown")
    settle(archive, WORDS, "cat7")
    today = date.today()
    assert types(PastArchive(archive, today, known=False)) == {"A1": ("cat7", "settled")}
    stop = catalogue.rebuilt(archive.root, archive.ledger, archive.ledger.count() - 1)
    assert [tuple(r) for r in stop.execute("SELECT cable_type, cable_basis FROM records")] == [("unknown", "rule")]


def test_a_merge_carries_settlements_and_keeps_those_of_here(archive: Archive, tmp_path: Path) -> None:
    other = store.create(tmp_path / "other")
    add(other, "B1", "Polder 60", "unknown")
    add(other, "B2", WORDS, "unknown")
    settle(other, "Polder 60", "cat6a/f-utp")
    settle(other, WORDS, "cat7a")
    add(archive, "A1", WORDS, "unknown")
    add(archive, "A2", "Polder 60", "unknown")
    settle(archive, WORDS, "cat7")
    merge(archive, other, by=BY, reason="one office")
    assert types(archive) == {
        "A1": ("cat7", "settled"),
        "A2": ("cat6a/f-utp", "settled"),
        "B1": ("cat6a/f-utp", "settled"),
        "B2": ("cat7", "settled"),
    }
    (row,) = [r for r in cables.listed(archive) if r["words"] == WORDS]
    assert row["settled_otherwise"] == "cat7a"
    assert rebuilt(archive)


def test_the_table_goes_out_and_comes_back(archive: Archive, tmp_path: Path) -> None:
    for label in ("A1", "A2"):
        add(archive, label, WORDS, "unknown")
    add(archive, "A3", "Cat 6A FTP", "cat6a/screened")
    add(archive, "A4", None, None)
    listed = cables.listed(archive)
    assert [(r["words"], r["links"], r["type"], r["basis"]) for r in listed] == [
        (WORDS, 2, "unknown", "rule"),
        ("", 1, "unknown", None),
        ("Cat 6A FTP", 1, "cat6a/screened", "rule"),
    ]
    assert listed[2]["open"] == ["construction"] and "gauge" in listed[2]["unknown"]
    assert listed[2]["rules"] == {"class": ["cat 6a"], "construction": ["ftp"]}
    table = tmp_path / "cables.csv"
    cables.write_table(listed, table)
    with table.open(newline="", encoding="utf-8") as file:
        made = list(csv.DictReader(file))
    made[0]["settle"] = "Cat 7 S/FTP"
    with table.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, cables.COLUMNS)
        writer.writeheader()
        writer.writerows(made)
    entry, settled = cables.settle(archive, table, by=BY, reason=None)
    assert entry is not None and settled == [Settlement(WORDS, "cat7/s-ftp")]
    (row,) = [r for r in cables.listed(archive) if r["words"] == WORDS]
    assert (row["type"], row["basis"], row["settled_by"], row["entry"]) == ("cat7/s-ftp", "settled", BY, entry.number)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("words,links\nx,1\n", "cables.not-a-table"),
        ("words,settle\nx,\n", "cables.nothing-filled"),
        ("words,settle\nx,Halyard\n", "cables.not-a-type"),
        ("words,settle\n,cat6\n", "cables.row-without-words"),
        ("words,settle\nx,cat6\nX,cat7\n", "cables.settled-twice"),
    ],
)
def test_tables_that_settle_nothing(archive: Archive, tmp_path: Path, text: str, code: str) -> None:
    (tmp_path / "t.csv").write_text(text, encoding="utf-8")
    size = archive.ledger.count()
    with pytest.raises(Trouble) as caught:
        cables.settle(archive, tmp_path / "t.csv", by=BY, reason=None)
    assert caught.value.code == code
    assert archive.ledger.count() == size
