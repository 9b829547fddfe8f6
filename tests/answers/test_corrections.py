"""Corrections reach every answer: rooms and people, tables of renamings, clocks, jobs; a withdrawal is made once."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

from store_making import batch, deposit, rows

from archive import store
from archive.answers.corrections import from_table, shifted
from archive.answers.records import places, read
from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters, addresses
from archive.store.events.amend import Correction, amend
from archive.store.events.withdraw import withdraw, withdrawals

BY = "R. Ostrander"


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    """Three links of one job, in no stated room."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(os, "fsync", lambda _handle: None)
    made = store.create(tmp_path / "archive")
    three = [rows(f"A{i}", place=f"row {i}", shift=0.3 * i, time=f"2019-03-0{i}T10:15") for i in (1, 2, 3)]
    deposit(made, batch(*three), job="J", site="Lantern Quay 4")
    return made


def record_of(archive: Archive, label: str) -> dict[str, object]:
    """The record of a link as checks and documents read it, with its place, unit and person beside."""
    where = places(archive, Filters(link=label))
    assert len(where) == 1
    found = next(iter(read(archive, where.values())))
    (record,) = found["records"].to_pylist()
    for table, key, column in (
        ("places", "place_id", "local_place_id"),
        ("instruments", "instrument_id", "local_instrument_id"),
        ("people", "person_key", "operator_key"),
    ):
        record[table] = next((r for r in found[table].to_pylist() if r[key] == record[column]), None)
    return dict(record)


def change(archive: Archive, label: str, **values: str) -> None:
    (address,) = addresses(archive.db, Filters(link=label))
    made = [Correction(address, field, value) for field, value in values.items()]
    entry, done = amend(archive, made, by=BY, reason="letter of 3 May")
    assert entry is not None and len(done) == len(values)


def test_rooms_people_units_and_words_are_corrected_in_what_is_read(archive: Archive) -> None:
    archive.catch_up()
    words = "category 6 channel to 568.2-D"
    change(archive, "A1", space="TR 2", floor="2", limit_found=words, maker="Whimbrel", local_serial="Q7-1")
    change(archive, "A1", operator="A. Quillfeather", organisation="Harbour Crew")
    found, other = record_of(archive, "A1"), record_of(archive, "A2")
    assert (found["places"]["space"], found["places"]["floor"]) == ("TR 2", "2")  # type: ignore[index]
    assert found["people"]["name"] == "A. Quillfeather"  # type: ignore[index]
    assert (found["instruments"]["maker"], found["instruments"]["serial"]) == ("Whimbrel", "Q7-1")  # type: ignore[index]
    assert found["limit_found"] == words
    assert other["places"] is None and other["instruments"]["maker"] == "Petrel Metrology"  # type: ignore[index]


def test_the_name_in_a_correction_lies_in_the_table_of_people_alone(archive: Archive) -> None:
    archive.catch_up()
    change(archive, "A1", operator="A. Quillfeather")
    holding = [p for p in archive.root.rglob("*") if p.is_file() and b"Quillfeather" in p.read_bytes()]
    assert [p.name for p in holding] == ["people.json"]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_a_table_of_values_by_link(archive: Archive, tmp_path: Path, delimiter: str) -> None:
    table = tmp_path / "t.csv"
    table.write_text("\n".join(delimiter.join(r) for r in [("Link", "Field", "Value"), ("A1", "space", "TR 9")]))
    (one,) = from_table(archive, table, job="J")
    assert (one.field, one.new) == ("space", "TR 9")


def test_a_table_of_renamings(archive: Archive, tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("old,new\nA1,B1\nA2,B2\n")
    entry, made = amend(archive, from_table(archive, table), by=BY, reason="x")
    assert entry is not None and [(c.old, c.new) for c in made] == [("A1", "B1"), ("A2", "B2")]
    rooms = tmp_path / "rooms.csv"
    rooms.write_text("field,old,new\nsite,Lantern Quay 4,Lantern Quay West\n")
    assert len(from_table(archive, rooms)) == 3


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("record,value\nx,y\n", "line 1: the table lacks columns"),
        ("link,field,value\nA1,space,x\nNOPE,space,y\n", "line 3: no record fits this line; found NOPE"),
        ("link,field,value\nA1,length_m,3\n", "line 2: no such field; found length_m"),
        ("old,new\nNOPE,B\n", "line 2: no record fits this line"),
    ],
)
def test_a_bad_line_is_named(archive: Archive, tmp_path: Path, text: str, told: str) -> None:
    table = tmp_path / "t.csv"
    table.write_text(text)
    with pytest.raises(Trouble) as raised:
        from_table(archive, table)
    assert told in str(raised.value)


def test_a_clock_a_year_off(archive: Archive) -> None:
    archive.catch_up()
    listed = addresses(archive.db, Filters(serial="40-00317", since="2019-03-02"))
    made = shifted(archive, listed, "+1y -1h")
    assert [c.new for c in made] == ["2020-03-02T09:15", "2020-03-03T09:15"]
    for bad in ("soon", "+1", "1y"):
        with pytest.raises(Trouble, match="not a shift"):
            shifted(archive, listed, bad)


def test_the_last_day_of_february_moves_to_one_that_there_is(archive: Archive) -> None:
    deposit(archive, batch(rows("L", time="2020-02-29", source="d" * 64, shift=2.0)), job="J", site="Lantern Quay 4")
    (address,) = addresses(archive.db, Filters(link="L"))
    assert [c.new for c in shifted(archive, [address], "+1y")] == ["2021-02-28"]
    with pytest.raises(Trouble, match="cannot be moved by hours"):
        shifted(archive, [address], "+1h")


def test_records_move_to_another_job(archive: Archive) -> None:
    archive.catch_up()
    entry, made = amend(
        archive, [Correction(a, "job_id", "K") for a in addresses(archive.db, Filters(job="J"))], by=BY, reason="x"
    )
    assert entry is not None and len(made) == 3
    assert not addresses(archive.db, Filters(job="J"))
    assert len(addresses(archive.db, Filters(job="K"))) == 3


def test_a_withdrawal_is_made_once_and_needs_its_reason(archive: Archive) -> None:
    archive.catch_up()
    (address,) = addresses(archive.db, Filters(link="A1"))
    first = withdraw(archive, records=[address], by=BY, reason="wrong room")
    assert first is not None
    size = archive.head().size
    assert withdraw(archive, records=[address], by=BY, reason="again") is None
    assert archive.head().size == size
    assert [e.number for e in withdrawals(archive, [address], [])] == [first.number]
    with pytest.raises(Trouble, match="needs its reason"):
        withdraw(archive, records=[address], by=BY, reason=" ")
