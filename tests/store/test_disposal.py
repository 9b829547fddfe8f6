"""Disposal: only past retention, by two people; what went is in no answer, and everything else is as it was.

That retention, holds, and the approval of a second person come before disposal, and that a certificate of disposal
says what went, when, by whom and on what ground, is the practice of records management (ISO 15489-1: from memory).
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from store_crash import machine, steps
from store_making import batch, deposit, rows

from archive import disk, store
from archive.answers.jobs import state
from archive.answers.named_places import named_places
from archive.answers.setaside import set_aside
from archive.errors import Trouble
from archive.store import Archive, aside
from archive.store.copies import export, merge, repair
from archive.store.counting import blocks
from archive.store.disposal import approve, disposals, due, one_job, propose
from archive.store.documents import DocumentFacts, attach
from archive.store.events import Correction, amend, hold, withdraw
from archive.store.events.cases import CLOSE, add_step, cases, open_case
from archive.store.fixity import fixity
from archive.store.proofs import holds, prove, verify

pytestmark = pytest.mark.filterwarnings("ignore::archive.store.disposed.Disposed")
OLD, NEW = "OLD-JOB-2009", "HARBOUR-2019-04"
TODAY = date(2026, 12, 1)
NAME = "R. Ostrander"


@pytest.fixture(autouse=True)
def the_stopped_program_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(aside, "_runs", lambda _pid, _started: False)


def filled(archive: Archive, folder: Path) -> Archive:
    """Two jobs; the older one with two deposits, a document, a correction, and a retention that is over."""
    folder.mkdir(exist_ok=True)
    for name in ("old.csv", "new.csv", "plan.txt"):
        (folder / name).write_text(f"invented {name} {NAME}\n")
    first = deposit(archive, batch(rows("A-1", source="1" * 64)), job=OLD, originals=[(folder / "old.csv", "old.csv")])
    deposit(archive, batch(rows("A-2", source="2" * 64, shift=1)), job=OLD)
    kept = rows("B-1", source="3" * 64, shift=2)
    deposit(archive, batch(kept), job=NEW, by="S. Wexcombe", originals=[(folder / "new.csv", "new.csv")])
    attach(archive, [folder / "plan.txt"], DocumentFacts(OLD, "drawing"), by=NAME)
    assert first.entry is not None
    amend(archive, [Correction(f"{first.entry['deposit']}/0", "floor", "3")], by=NAME, reason="a slip")
    state(archive, OLD, ["retain_until=2020-01-01", "warranty_end=2019-01-01"], by="A. Clerk")
    return archive


@pytest.fixture
def full(archive: Archive, tmp_path: Path) -> Archive:
    return filled(archive, tmp_path / "in")


def dispose(archive: Archive) -> None:
    propose(archive, OLD, TODAY, by="A. Clerk", reason="retention is over")
    approve(archive, OLD, TODAY, by="B. Counsel", reason="agreed")


def everything(root: Path) -> dict[str, str]:
    return {
        p.relative_to(root).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in root.rglob("*")
        if p.is_file()
    }


def test_what_is_due(full: Archive) -> None:
    told = {j.job: j for j in due(full, TODAY)}
    assert told[OLD].free
    assert told[OLD].records == 2
    assert [h.text for h in told[NEW].hindrances] == ["no day of retention is stated"]
    assert not one_job(full, OLD, date(2020, 1, 1)).free, "its last day is a day of retention"
    assert one_job(full, OLD, date(2020, 1, 2)).free


def test_what_went_is_nowhere_and_all_else_is_as_it_was(full: Archive) -> None:
    (kept,) = full.db.execute("SELECT deposit || '/' || position FROM records WHERE job_id = ?", (NEW,)).fetchone()
    proof, row = prove(full, kept), full.db.execute("SELECT row FROM records WHERE job_id = ?", (NEW,)).fetchone()[0]
    before = everything(full.root)
    dispose(full)
    after = everything(full.root)
    entry = list(full.entries())[-1]
    gone = {g["path"]: g["sha256"] for g in entry["gone"]}
    assert gone == {p: d for p, d in before.items() if p not in after}, "each tombstone is the digest of what went"
    assert {p: after[p] for p in before if p not in gone} == {p: d for p, d in before.items() if p not in gone}
    assert len(gone) > 15
    bags = [full.root / str(full.bag(d)) for d in entry["deposits"]]
    assert all(sorted(p.name for p in (b / "data").iterdir()) == [] for b in bags)
    for depth in ("count", "digest", "deep"):
        report = fixity(store.open(full.root), depth)
        assert report.sound, report.damaged
    assert [tuple(r) for r in full.db.execute("SELECT job_id, row FROM records").fetchall()] == [(NEW, row)]
    assert holds(verify(proof, full.head().root)) or holds(verify(prove(full, kept), full.head().root))
    assert {p.split("/")[0] for p in named_places(full, NAME)} <= {"deposits"}
    assert not [p for p in named_places(full, NAME) if any(d in p for d in entry["deposits"])]
    assert set_aside(full) == []
    with pytest.raises(Trouble, match="disposed of by ledger entry"):
        one_job(full, OLD, TODAY)


def test_every_answer_says_what_was_disposed_of(full: Archive) -> None:
    dispose(full)
    from archive.errors import Remark

    with pytest.warns(Remark, match=f"disposed of, and in no answer: the records of job {OLD} \\(2 records, ledger"):
        store.open(full.root).catch_up()


def test_counts_are_made_anew(full: Archive) -> None:
    import pyarrow.parquet as pq

    def labels(archive: Archive) -> list[str]:
        return sorted(x for f in blocks.counting(archive).records for x in pq.read_table(f)["link_label"].to_pylist())

    assert labels(full) == ["A-1", "A-2", "B-1"]
    other_user = store.open(full.root)
    dispose(full)
    assert labels(other_user) == ["B-1"]
    deposit(full, batch(rows("B-2", source="4" * 64, shift=5)), job=NEW)
    assert labels(full) == ["B-1", "B-2"]


def test_two_people(full: Archive) -> None:
    with pytest.raises(Trouble, match="nobody has proposed"):
        approve(full, OLD, TODAY, by="B. Counsel", reason=None)
    with pytest.raises(Trouble, match="who does this"):
        propose(full, OLD, TODAY, by=None, reason=None)
    propose(full, OLD, TODAY, by="A. Clerk", reason=None)
    with pytest.raises(Trouble, match="proposed already"):
        propose(full, OLD, TODAY, by="B. Counsel", reason=None)
    for same in ("A. Clerk", "a  clerk", "\uff21. Clerk"):
        with pytest.raises(Trouble, match="two people"):
            approve(full, OLD, TODAY, by=same, reason=None)
    assert full.db.execute("SELECT count(*) FROM gone").fetchone()[0] == 0
    approve(full, OLD, TODAY, by="B. Counsel", reason="agreed")
    (made,) = disposals(full)
    assert (made.proposed_by, made.approved_by, made.approved_reason) == ("A. Clerk", "B. Counsel", "agreed")


def test_what_changed_since_is_proposed_anew(full: Archive) -> None:
    propose(full, OLD, TODAY, by="A. Clerk", reason=None)
    deposit(full, batch(rows("A-3", source="5" * 64, shift=7)), job=OLD)
    with pytest.raises(Trouble, match="as the job stands now"):
        approve(full, OLD, TODAY, by="B. Counsel", reason=None)
    dispose(full)


def _held(archive: Archive) -> None:
    hold(archive, OLD, release=False, by=None, reason="claim 17")


def _warranty(archive: Archive) -> None:
    state(archive, OLD, ["warranty_end=2034-01-01"])


def _case(archive: Archive) -> None:
    open_case(archive, "", {"name": "C-1", "day": "2026-01-01", "job_id": OLD}, by=None, reason=None)


def _nameless_case(archive: Archive) -> None:
    open_case(archive, "", {"name": "C-1", "day": "2026-01-01"}, by=None, reason=None)


def _case_of_a_record(archive: Archive) -> None:
    address = archive.db.execute("SELECT deposit || '/0' FROM deposits WHERE job_id = ?", (OLD,)).fetchone()[0]
    open_case(archive, address, {"name": "C-1", "day": "2026-01-01"}, by=None, reason=None)


def _mixed(archive: Archive) -> None:
    mine, other = rows("A-9", source="6" * 64, shift=9, job_id=OLD), rows("Q-1", source="5" * 64, shift=15, job_id=NEW)
    deposit(archive, batch(mine, other), job=None)


def _relied_on(archive: Archive) -> None:
    same = rows("A-1", source="7" * 64, place="row 9")  # the same test under another job, among others
    deposit(archive, batch(same, rows("Q-1", source="5" * 64, shift=15)), job=NEW)


def _originals_relied_on(archive: Archive) -> None:
    original = archive.root.parent / "in" / "old.csv"
    deposit(archive, batch(rows("Z-1", source="8" * 64, shift=11)), job=NEW, originals=[(original, "again.csv")])


HINDERED: dict[str, tuple[Callable[[Archive], None], str]] = {
    "a hold": (_held, "hold"),
    "a warranty": (_warranty, "warranty"),
    "an open case": (_case, "case"),
    "a case that names nothing": (_nameless_case, "case"),
    "a case of one of its records": (_case_of_a_record, "case"),
    "another job in its deposits": (_mixed, "shared"),
    "a copy of its test elsewhere": (_relied_on, "rested-on"),
    "its originals elsewhere": (_originals_relied_on, "rested-on"),
}


@pytest.mark.parametrize("when", ["before it is proposed", "before it is approved", "as it is approved"])
@pytest.mark.parametrize("what", HINDERED)
def test_what_forbids_it(full: Archive, what: str, when: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(aside, "_runs", lambda _pid, _started: True)  # the other writer lets this one's folder be
    hinder, word = HINDERED[what]
    if when == "before it is proposed":
        hinder(full)
        with pytest.raises(Trouble, match="not to be disposed of"):
            propose(full, OLD, TODAY, by="A. Clerk", reason=None)
        assert word in {h.what for h in one_job(full, OLD, TODAY).hindrances}
        return
    propose(full, OLD, TODAY, by="A. Clerk", reason=None)
    other = store.open(full.root)

    def meanwhile(what: str, path: Path, _old: Path | None) -> None:
        if what == "link" and path.parent.parent.name == "ledger":
            disk.watcher = None
            hinder(other)

    if when == "as it is approved":  # right before its entry: another writer is first
        disk.watcher = meanwhile
    else:
        hinder(other)
    try:
        with pytest.raises(Trouble, match=r"not to be disposed of|as the job stands now|changed meanwhile"):
            approve(full, OLD, TODAY, by="B. Counsel", reason=None)
    finally:
        disk.watcher = None
    assert full.db.execute("SELECT count(*) FROM gone").fetchone()[0] == 0
    assert fixity(store.open(full.root)).sound


def test_a_closed_case_forbids_nothing_and_stays(full: Archive) -> None:
    _case(full)
    add_step(full, cases(full)[0], CLOSE, {"day": "2026-02-01"}, by=None, reason=None)
    dispose(full)
    assert [c.state for c in cases(full)] == ["closed"]


def test_a_day_that_is_none_or_a_warranty_without_end_forbids_it(full: Archive) -> None:
    state(full, OLD, ["warranty_start=2010-01-01"])
    assert one_job(full, OLD, TODAY).free
    full.db.execute("DELETE FROM jobs WHERE field = 'warranty_end'")
    assert [h.what for h in one_job(full, OLD, TODAY).hindrances] == ["warranty"]


def test_a_damaged_file_stops_it_before_anything_is_written(full: Archive) -> None:
    propose(full, OLD, TODAY, by="A. Clerk", reason=None)
    bag = full.bag(one_job(full, OLD, TODAY).deposits[0])
    path = bag / "data" / "originals.zip"
    path.chmod(0o644)
    path.write_bytes(b"x")
    count = len(list(full.entries()))
    with pytest.raises(Trouble, match="not the one that the ledger commits"):
        approve(full, OLD, TODAY, by="B. Counsel", reason=None)
    assert len(list(full.entries())) == count


@pytest.mark.parametrize("power", [False, True], ids=["kill", "power-cut"])
def test_stopped_anywhere_the_next_command_ends_it(tmp_path: Path, power: bool, own_cache: Path) -> None:
    template = filled(store.create(tmp_path / "template"), tmp_path / "in")
    propose(template, OLD, TODAY, by="A. Clerk", reason=None)
    count = len(list(template.entries()))

    def fresh(at: object) -> Archive:
        shutil.copytree(template.root, tmp_path / str(at))
        shutil.rmtree(own_cache / "cache", ignore_errors=True)
        return store.open(tmp_path / str(at))

    def work(archive: Archive) -> None:
        approve(archive, OLD, TODAY, by="B. Counsel", reason=None)

    whole = fresh("whole")
    total = steps(lambda: work(whole)).count
    assert total > 40
    for stop in range(0, total, 1 + power):
        stopped = fresh(stop)
        with machine(stop, power=power) as made:
            work(stopped)
        assert made.dead
        shutil.rmtree(own_cache / "cache", ignore_errors=True)
        again = store.open(stopped.root)
        again.catch_up()
        done = len(list(again.entries())) > count
        assert (again.root / str(again.bag(one_deposit(template))) / "data" / "deposit.json").exists() != done
        if not done:
            work(again)
        assert len(list(again.entries())) == count + 1
        assert fixity(store.open(again.root), "deep").sound
        shutil.rmtree(again.root)


def one_deposit(archive: Archive) -> str:
    return str(archive.db.execute("SELECT deposit FROM deposits WHERE job_id = ?", (OLD,)).fetchone()[0])


def test_copies_and_joined_archives_follow(full: Archive, tmp_path: Path) -> None:
    export(full, tmp_path / "copy")
    dispose(full)
    assert repair(full, tmp_path / "copy").repaired == [], "an older copy brings nothing back"
    export(full, tmp_path / "copy")
    copy = store.open(tmp_path / "copy")
    assert fixity(copy, "deep").sound
    assert not (tmp_path / "copy" / full.bag(one_deposit(full)).relative_to(full.root) / "data/deposit.json").exists()
    other = store.create(tmp_path / "other")
    merge(other, full, by=None, reason=None)
    assert [r[0] for r in other.db.execute("SELECT job_id FROM records").fetchall()] == [NEW]
    assert [d.job for d in disposals(other)] == [OLD]
    assert fixity(store.open(other.root), "deep").sound


def test_the_same_file_may_come_again(full: Archive, tmp_path: Path) -> None:
    dispose(full)
    original = tmp_path / "in" / "old.csv"
    made = deposit(full, batch(rows("A-1", source="1" * 64)), job=OLD, originals=[(original, "old.csv")])
    assert made.counts["new"] == 1
    assert made.entry is not None
    assert (full.root / made.entry["path"] / "data/originals.zip").exists()
    assert fixity(store.open(full.root), "deep").sound


def test_a_deposit_that_counted_on_what_goes_is_run_again(
    full: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its original lay in the bag that goes: it would be nowhere."""
    monkeypatch.setattr(aside, "_runs", lambda _pid, _started: True)  # both are at work
    from archive.store.deposits import Deposit, DepositFacts

    making = Deposit(full, DepositFacts(job=NEW))
    making.original(tmp_path / "in" / "old.csv", "old.csv")
    making.add(batch(rows("C-1", source="9" * 64, shift=13)))
    dispose(store.open(full.root))
    with pytest.raises(Trouble, match="nothing was deposited"):
        making.commit()
    making.abandon()
    assert fixity(store.open(full.root)).sound


def test_withdrawn_records_and_other_answers(full: Archive) -> None:
    """A withdrawal or a grading that names what is gone stays, and breaks nothing."""
    from archive.answers.regrade import regrade
    from archive.store.catalogue.filters import Filters

    withdraw(full, deposits=[one_deposit(full)], by=None, reason="x")
    regrade(full, Filters(), against=["tia-568.2-d/cat6/channel"], by=None, reason=None)
    dispose(full)
    regrade(full, Filters(), against=["tia-568.2-d/cat6a/channel"], by=None, reason=None)
    assert fixity(store.open(full.root), "deep").sound


def test_the_index_of_who_disposed_of_it_holds_nothing_of_it(full: Archive, own_cache: Path) -> None:
    """Deleted rows stay in the pages of a database until it is written anew."""
    full.db.execute("PRAGMA secure_delete = OFF")  # as most builds of SQLite have it; Debian's overwrites by itself
    many = [rows(f"GONE-{n:03d}", source=f"{n:064x}", shift=n / 10) for n in range(60)]
    deposit(full, batch(*many), job=OLD)
    dispose(full)
    full.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    held = b"".join(p.read_bytes() for p in (own_cache / "cache").rglob("*") if p.is_file())
    assert b"GONE-0" not in held
    assert b"B-1" in held
