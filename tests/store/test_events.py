"""Corrections, withdrawals, holds, redactions: each a new entry, nothing archived rewritten."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from store_making import batch, deposit, rows

from archive import store
from archive.answers.named_places import named_places as still_named
from archive.errors import Trouble
from archive.store import Archive, files
from archive.store.catalogue.filters import Filters, addresses
from archive.store.deposits import Receipt
from archive.store.events import Correction, amend, hold, holds, retention, withdraw
from archive.store.events.redact import of_file, of_name, redact
from archive.store.fixity import fixity


def address(receipt: Receipt, position: int = 0) -> str:
    assert receipt.entry is not None
    return f"{receipt.entry['deposit']}/{position}"


def everything(root: Path) -> dict[str, str]:
    return {p.relative_to(root).as_posix(): files.fingerprint(p).sha256 for p in root.rglob("*") if p.is_file()}


def test_a_renamed_room_touches_forty_links_by_one_event(archive: Archive) -> None:
    many = [rows(f"2-TR2-A{i:03d}", source=f"{i:064x}", shift=i / 10) for i in range(40)]
    deposit(archive, [batch(*many[:25]), batch(*many[25:])])
    before = everything(archive.root)
    listed = addresses(archive.db, Filters(job="HARBOUR-2019-04"))
    changes = [Correction(a, "link_label", f"2-TR7-A{i:03d}") for i, a in enumerate(listed)]
    entry, made = amend(archive, changes, by="A. Clerk", reason="room TR2 is now TR7")
    assert entry is not None
    assert len(made) == 40
    assert made[3].old == "2-TR2-A003"
    after = everything(archive.root)
    assert {p: d for p, d in after.items() if p in before} == before
    assert len(after) == len(before) + 3
    texts = archive.texts(entry)
    assert texts["reason"] == "room TR2 is now TR7"
    assert texts["changes"][0] == {
        "record": listed[0],
        "field": "link_label",
        "old": "2-TR2-A000",
        "new": "2-TR7-A000",
    }
    assert addresses(archive.db, Filters(link="2-TR7-A003")) == [listed[3]]
    assert addresses(archive.db, Filters(link="2-TR2-A003")) == []
    assert archive.record(listed[3])["records"]["link_label"].to_pylist() == ["2-TR2-A003"], "what came in stays"
    assert "A. Clerk" not in entry.data.decode(), "names stand in people.json alone"


def test_a_test_after_a_corrected_label_is_a_retest_of_that_link(archive: Archive) -> None:
    made = deposit(archive, batch(rows("wrong")))
    amend(archive, [Correction(address(made), "link_label", "right")], by=None, reason=None)
    again = deposit(archive, batch(rows("right", source="b" * 64, time="2020-01-01T10:00", shift=3)))
    assert again.counts["retests"] == 1


def test_what_may_not_be_corrected(archive: Archive) -> None:
    made = deposit(archive, batch(rows()))
    for field, value in (("margin", "3"), ("configuration", "chanel"), ("tested_local", "yesterday")):
        with pytest.raises(Trouble):
            amend(archive, [Correction(address(made), field, value)], by=None, reason=None)
    with pytest.raises(Trouble, match="no record"):
        amend(archive, [Correction("re-nothing", "site", "x")], by=None, reason=None)
    entry, changes = amend(archive, [Correction(address(made), "link_label", "2-TR2-A117")], by=None, reason=None)
    assert (entry, changes) == (None, [])


def test_a_withdrawn_deposit_takes_all_its_records_out(archive: Archive) -> None:
    made = deposit(archive, batch(rows(), rows("B", source="b" * 64, shift=1)))
    assert made.entry is not None
    withdraw(archive, deposits=[made.entry["deposit"]], by=None, reason="wrong job")
    assert archive.db.execute("SELECT count(*) FROM records WHERE withdrawn").fetchone()[0] == 2
    with pytest.raises(Trouble):
        withdraw(archive, records=["nothing"], by=None, reason="x")
    with pytest.raises(Trouble):
        withdraw(archive, by=None, reason="x")


def test_a_hold_forbids_redaction_until_it_is_released(archive: Archive) -> None:
    made = deposit(archive, batch(rows()))
    hold(archive, "HARBOUR-2019-04", release=False, by="Counsel", reason="claim 17")
    assert [h["job"] for h in holds(archive)] == ["HARBOUR-2019-04"]
    assert made.entry is not None
    with pytest.raises(Trouble, match="hold"):
        redact(archive, of_name(archive, "R. Ostrander"), by=None, reason=None)
    with pytest.raises(Trouble, match="held already"):
        hold(archive, "HARBOUR-2019-04", release=False, by=None, reason=None)
    hold(archive, "HARBOUR-2019-04", release=True, by="Counsel", reason="settled")
    redact(archive, of_name(archive, "R. Ostrander"), by=None, reason=None)
    with pytest.raises(Trouble, match="not held"):
        hold(archive, "HARBOUR-2019-04", release=True, by=None, reason=None)
    with pytest.raises(Trouble, match="no record"):
        hold(archive, "NEVER", release=False, by=None, reason=None)


def test_retention_only_tells(archive: Archive) -> None:
    one = rows()
    one["jobs"] = [{"job_id": "HARBOUR-2019-04", "warranty_end": "2044-04-30"}]
    two = rows("B", source="b" * 64, shift=1, job_id="OTHER")
    two["jobs"] = [{"job_id": "OTHER", "warranty_end": "2044-04-30", "retain_until": "2054-04-30"}]
    deposit(archive, batch(one))
    deposit(archive, batch(two), job="OTHER")
    told = {t["job"]: (t["retain_until"], t["basis"], t["over"]) for t in retention(archive, date(2050, 1, 1))}
    assert told == {
        "HARBOUR-2019-04": ("2044-04-30", "end of the warranty", True),
        "OTHER": ("2054-04-30", "stated", False),
    }
    assert fixity(archive).deposits == 2


def named(archive: Archive) -> list[str]:
    """Every file that holds the name, in any byte of it, unpacked where it is packed."""
    import zipfile

    import pyarrow.parquet as pq

    found = []
    for path in sorted(p for p in archive.root.rglob("*") if p.is_file()):
        data = path.read_bytes()
        if path.suffix == ".parquet":
            data = repr(pq.read_table(path).to_pylist()).encode()
        elif path.suffix == ".zip":
            with zipfile.ZipFile(path) as packed:
                data = b"".join(packed.read(n) for n in packed.namelist())
        if b"Ostrander" in data and "schema" not in path.parts:  # an example of the schema has an invented name
            found.append(path.relative_to(archive.root).as_posix())
    return found


def test_a_redacted_name_is_nowhere_and_everything_else_is_there(archive: Archive, tmp_path: Path) -> None:
    original = tmp_path / "links.csv"
    original.write_text("operator\nR. Ostrander\n")
    one = rows()
    key = "pe-" + "1" * 32
    one["records"][0]["operator_key"] = key
    one["people"] = [
        {"person_key": key, "salt": "s", "name": "R. Ostrander", "role": "operator", "contact": "r@example.org"},
        {"person_key": "pe-2", "salt": "t", "name": "K. Lindqvist", "role": "contact"},
    ]
    made = deposit(archive, batch(one), originals=[(original, "week2/links.csv")])
    deposit(archive, batch(rows("B", source="b" * 64, shift=1)), by="R. Ostrander")
    assert made.entry is not None
    zip_path = f"{made.entry['path']}/data/originals.zip"
    assert len(named(archive)) == 3
    before = everything(archive.root)
    plan = of_name(archive, "R. Ostrander")
    entry = redact(archive, plan, by="A. Clerk", reason="request of 3 May")
    assert plan.people == 3
    assert named(archive) == [zip_path]
    assert list(still_named(archive, "R. Ostrander")) == [f"{zip_path}: week2/links.csv"]
    redact(archive, of_file(archive, zip_path), by="A. Clerk", reason="request of 3 May")
    assert named(archive) == []
    gone = {g["path"] for g in entry["gone"]} | {zip_path}
    after = everything(archive.root)
    assert {p: d for p, d in before.items() if p not in gone}.items() <= after.items()
    assert not gone & after.keys()
    report = fixity(store.open(archive.root), "deep")
    assert report.sound, report.damaged
    people = archive.tables(made.entry["deposit"]).table("people").to_pylist()
    assert [(p["person_key"], p["name"], p["salt"], p["contact"]) for p in people] == [
        (p["person_key"], None, None, None) if p["name"] != "K. Lindqvist" else ("pe-2", "K. Lindqvist", "t", None)
        for p in people
    ]
    assert archive.record(address(made))["records"]["operator_key"].to_pylist() == [key]


def test_two_names_of_one_table_are_redacted_one_after_the_other(archive: Archive) -> None:
    one = rows()
    one["people"] = [{"person_key": "pe-2", "salt": "t", "name": "K. Lindqvist", "role": "contact"}]
    made = deposit(archive, batch(one))
    for name in ("R. Ostrander", "K. Lindqvist"):
        redact(archive, of_name(archive, name), by=None, reason=None)
    assert made.entry is not None
    people = archive.tables(made.entry["deposit"]).table("people").to_pylist()
    assert len(people) == 2
    assert {p["name"] for p in people} == {None}
    assert fixity(store.open(archive.root), "deep").sound
    with pytest.raises(Trouble, match="in no table"):
        of_name(archive, "R. Ostrander")


def test_what_proofs_rest_on_is_not_redacted(archive: Archive) -> None:
    made = deposit(archive, batch(rows()))
    assert made.entry is not None
    bag = made.entry["path"]
    for path in ("data/index.parquet", "data/tables/records.parquet", "data/tables/sweeps-00000000.parquet"):
        with pytest.raises(Trouble, match="rest on"):
            of_file(archive, f"{bag}/{path}")
    for path in (f"{bag}/manifest-sha256.txt", "archive.toml", "ledger/0000/00000000.json", "../x", "nothing"):
        with pytest.raises(Trouble, match="no file"):
            of_file(archive, path)


def test_events_of_a_later_program_change_nothing_here(archive: Archive) -> None:
    from archive.store.events import record

    made = deposit(archive, batch(rows()))
    record(archive, "something new", by=None, texts={"x": 1})
    assert fixity(store.open(archive.root), "deep").sound
    assert archive.address(address(made)) == address(made)


def test_the_entry_holds_digests_and_the_event_holds_the_texts(archive: Archive) -> None:
    made = deposit(archive, batch(rows()))
    entry = withdraw(archive, records=[address(made)], by="A. Clerk", reason="secret words")
    assert "secret words" not in entry.data.decode()
    path = next(p for p in entry.files if p.endswith("event.json"))
    assert json.loads((archive.root / path).read_text())["reason"] == "secret words"


def test_a_redacted_cell_leaves_every_proof_but_the_records_own_text(archive: Archive) -> None:
    """Somebody's name in a cell that no column took: the table of such cells goes as a whole."""
    from archive.store.proofs import holds, prove, verify

    one, two = rows(), rows("B", source="b" * 64, shift=1)
    one["extras"] = [
        {"record_id": one["records"][0]["record_id"], "name": "Client", "place": "row 2", "value": "K. Lindqvist"}
    ]
    made = deposit(archive, batch(one, two))
    assert made.entry is not None
    (place,) = still_named(archive, "K. Lindqvist")
    redact(archive, of_file(archive, place), by="A. Clerk", reason="request")
    assert list(still_named(archive, "K. Lindqvist")) == []
    report = fixity(store.open(archive.root), "deep")
    assert report.sound, report.damaged
    for position, text in ((0, None), (1, str)):
        proof = prove(archive, address(made, position))
        assert proof["canonical"] is None if text is None else isinstance(proof["canonical"], text)
        assert holds(verify(proof, archive.head().root))


def test_a_name_goes_out_of_what_findings_say_too(archive: Archive) -> None:
    """Proofs of the records go on whole: no digest of a record is over findings."""
    one = rows()
    record = one["records"][0]["record_id"]
    said = {"record_id": record, "rule": "invented-rule", "severity": "information", "status": "raised"}
    one["findings"] = [{**said, "found": "R. Ostrander", "message": "By R. Ostrander alone."}]
    made = deposit(archive, batch(one), by="R. Ostrander")
    deposit(archive, batch(rows("B", source="b" * 64, shift=1)), by="R. Ostrander")
    assert made.entry is not None
    redact(archive, of_name(archive, "R. Ostrander"), by=None, reason=None)
    assert list(still_named(archive, "R. Ostrander")) == []
    (finding,) = archive.tables(made.entry["deposit"]).table("findings").to_pylist()
    assert (finding["found"], finding["message"]) == ("(name redacted)", "By (name redacted) alone.")
    assert archive.redacted_tables(made.entry["deposit"]) == set()
    assert fixity(store.open(archive.root), "deep").sound
