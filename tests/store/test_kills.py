"""Stopped at each fsync, link, rename and removal: the archive is before or after, and the next command heals it.

Every case counts its steps first, then runs once for each of them, so that none is left out. Each is done twice:
as a kill (what was written stays) and as a power cut (what was not synced is lost).
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from store_crash import machine, steps
from store_making import batch, deposit, rows

from archive import store
from archive.store import Archive, aside, memory
from archive.store.assessments import RunFacts, assess, graded, records_to_grade
from archive.store.copies import export
from archive.store.events import Correction, amend
from archive.store.events.redact import of_name, redact
from archive.store.fixity import fixity
from archive.tables import Batch

OLD, NEW = "2-TR2-A117", "2-TR2-A118"


@pytest.fixture(autouse=True)
def the_stopped_program_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    """In this test the program that was stopped has the number of this very process."""
    monkeypatch.setattr(aside, "_runs", lambda _pid, _started: False)


def address(archive: Archive, label: str = OLD) -> str:
    archive.catch_up()
    found = archive.db.execute(
        "SELECT deposit || '/' || position FROM records WHERE link_label = ?", (label,)
    ).fetchone()
    return str(found[0])


def do_deposit(archive: Archive) -> None:
    original = archive.root.parent / "export.csv"
    original.write_text("invented,cells\n")
    deposit(archive, batch(rows(NEW, source="b" * 64, shift=1)), originals=[(original, "export.csv")])


def do_assess(archive: Archive) -> None:
    parts = (part for piece in records_to_grade(archive, [address(archive)]) for part in graded(piece, _graded))
    assess(archive, 1, parts, RunFacts(by="R. Ostrander", reason="new edition", facts={"against": None}))


def _graded(given: Batch) -> Batch:
    """Stands for the grading: one verdict for each record."""
    verdicts = [
        {"record_id": r, "verdict": "pass", "provisional": False, "limits_version": "x", "program": "tests"}
        for r in given["records"]["record_id"].to_pylist()
    ]
    return given.replace(verdicts=Batch.from_rows({"verdicts": verdicts})["verdicts"])


def do_amend(archive: Archive) -> None:
    change = Correction(address(archive), "cable_type", "cat6a/u-utp/awg23/solid")
    amend(archive, [change], by="R. Ostrander", reason="typing error")


def do_redact(archive: Archive) -> None:
    redact(archive, of_name(archive, "R. Ostrander"), by="A. Clerk", reason="asked for")


WORK: dict[str, Callable[[Archive], None]] = {
    "deposit": do_deposit,
    "assessment": do_assess,
    "amendment": do_amend,
    "redaction": do_redact,
}


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with one deposit, copied for every run."""
    folder = tmp_path_factory.mktemp("template")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(folder / "cache"))
        made = store.create(folder / "archive")
        deposit(made, batch(rows(OLD)))
    return folder / "archive"


def state(archive: Archive) -> tuple[Any, ...]:
    """What the archive says: entries by kind, records with what is known of them, files that redaction took."""
    archive.catch_up()
    kinds = [(e.kind, e.get("event")) for e in archive.entries()]
    records = archive.db.execute("SELECT link_label, cable_type, kind, withdrawn FROM records ORDER BY row").fetchall()
    return kinds, [tuple(r) for r in records], archive.db.execute("SELECT count(*) FROM gone").fetchone()[0]


@pytest.mark.parametrize("power", [False, True], ids=["kill", "power-cut"])
@pytest.mark.parametrize("name", WORK)
def test_before_or_after(name: str, power: bool, template: Path, tmp_path: Path, own_cache: Path) -> None:
    work = WORK[name]

    def fresh(at: object) -> Archive:
        root = tmp_path / str(at)
        shutil.copytree(template, root)
        shutil.rmtree(own_cache / "cache", ignore_errors=True)
        return store.open(root)

    whole = fresh("whole")
    before = state(whole)
    total = steps(lambda: work(whole)).count
    after = state(whole)
    assert total > 10
    assert before != after
    seen = {"before": 0, "after": 0}
    for stop in range(total):
        stopped = fresh(stop)
        with machine(stop, power=power) as made:
            work(stopped)
        assert made.dead, "the program took fewer steps this time"
        again = store.open(stopped.root)
        found = state(again)
        assert found in (before, after), f"neither before nor after: stopped at {made.seen[-1:]}"
        seen["before" if found == before else "after"] += 1
        report = fixity(again)
        condemned = [d for d in report.damaged if "its bytes are still there" in d.what]
        assert [d for d in report.damaged if d not in condemned] == []
        if found == before:
            work(again)
        else:
            aside.begin(again, "next").end()
        assert state(again) == after
        assert fixity(again).plain()["damaged"] == []
        assert fixity(again).uncommitted == []
        assert list((again.root / "aside").iterdir()) == []
        shutil.rmtree(stopped.root)
    assert seen["before"] > 5
    assert seen["after"] > 0


@pytest.mark.parametrize("name", WORK)
def test_what_was_acknowledged_survives_a_power_cut(name: str, template: Path, tmp_path: Path) -> None:
    """The moment after a command has returned, everything it promised is on the disk."""
    shutil.copytree(template, tmp_path / "a")
    archive = store.open(tmp_path / "a")
    with machine() as made:
        WORK[name](archive)
    after = state(archive)
    made.cut()
    again = store.open(archive.root)
    assert state(again) == after
    assert fixity(again).plain()["damaged"] == []


def test_a_new_archive_is_there_or_not(tmp_path: Path) -> None:
    total = steps(lambda: store.create(tmp_path / "whole")).count
    for stop in range(total):
        root = tmp_path / f"at{stop}"
        with machine(stop):
            store.create(root)
        if not root.exists():
            store.create(root)
        assert fixity(store.open(root)).sound


def test_an_export_goes_on_where_it_stopped(template: Path, tmp_path: Path) -> None:
    source = store.open(template)
    total = steps(lambda: export(source, tmp_path / "whole")).count
    head = source.head()
    for stop in range(total):
        target = tmp_path / f"at{stop}"
        with machine(stop):
            export(source, target)
        export(source, target)
        copy = store.open(target)
        assert copy.head() == head
        assert fixity(copy).plain()["damaged"] == []
        shutil.rmtree(target)


def test_the_head_is_remembered_only_once_it_is_true(template: Path, tmp_path: Path) -> None:
    """A stop right before the entry must not leave a head in the cache that the ledger does not have."""
    shutil.copytree(template, tmp_path / "a")
    archive = store.open(tmp_path / "a")
    head = archive.head()
    with machine() as made:
        do_deposit(archive)
    link = next(i for i, (what, _) in enumerate(made.seen) if what == "link")
    shutil.copytree(template, tmp_path / "b")
    other = store.open(tmp_path / "b")
    memory.remember(other.id, "head", {"size": head.size, "root": head.root})
    with machine(link):
        do_deposit(other)
    assert memory.recall(other.id, "head")["size"] == head.size
