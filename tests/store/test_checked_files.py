"""Nothing is read unchecked: a file that is not the one in the ledger is an error in every answer that rests on it."""

from __future__ import annotations

import json
import os
import shutil
import warnings
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from store_making import batch, deposit, rows

from archive import store
from archive.answers.history import history
from archive.answers.jobs import facts, state
from archive.answers.link import open_link
from archive.errors import Trouble
from archive.store import Archive
from archive.store.deposits import receipt
from archive.store.documents import DocumentFacts, attach, of_job
from archive.store.events import Correction, amend, withdraw
from archive.store.events.redact import of_file, redact
from archive.store.fixity import fixity
from archive.store.unread import UnreadEntry

JOB, LINK = "HARBOUR-2019-04", "2-TR2-A117"


@pytest.fixture
def full(archive: Archive, tmp_path: Path) -> Archive:
    """An archive with a deposit, a correction, facts of a job and a document."""
    made = deposit(archive, batch(rows(LINK)), originals=[(_file(tmp_path, "export.csv"), "export.csv")])
    assert made.entry is not None
    amend(archive, [Correction(f"{made.entry['deposit']}/0", "site", "West")], by="R. Ostrander", reason="renamed")
    state(archive, JOB, ["warranty_end=2044-04-30"], by="R. Ostrander")
    attach(archive, [_file(tmp_path, "cal.txt")], DocumentFacts(JOB, "certificate"), by="R. Ostrander")
    return archive


def _file(folder: Path, name: str) -> Path:
    path = folder / name
    path.write_text(f"invented {name}\n")
    return path


def event(archive: Archive, kind: str, name: str = "event.json") -> Path:
    entry = next(e for e in archive.entries() if e.get("event") == kind)
    return archive.root / "events" / str(entry["id"]) / name


def bag(archive: Archive, name: str) -> Path:
    return next((archive.root / "deposits").glob("*/*")) / "data" / name


def forge(path: Path, old: str, new: str) -> None:
    """What a text editor does, with the old size and the old times."""
    before, data = path.stat(), path.read_bytes()
    assert old.encode() in data and len(old) == len(new)
    path.chmod(0o644)
    path.write_bytes(data.replace(old.encode(), new.encode()))
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


QUESTIONS: dict[str, Callable[[Archive], Any]] = {
    "catalogue": lambda a: a.catch_up(),
    "history": lambda a: history(a, open_link(a, LINK)),
    "job": lambda a: facts(a, JOB),
    "documents": lambda a: of_job(a, JOB),
    "deposit": lambda a: deposit(a, batch(rows("AFTER", source="e" * 64, shift=6))),
}

FORGED: dict[str, Callable[[Archive], None]] = {
    "a correction": lambda a: forge(event(a, "amend"), '"West"', '"East"'),
    "the end of a warranty": lambda a: forge(event(a, "job"), "2044-04-30", "2014-04-30"),
    "the digest of a document": lambda a: forge(event(a, "attach"), '"certificate"', '"certificatE"'),
    "a cut event": lambda a: event(a, "amend").chmod(0o644) or event(a, "amend").write_bytes(b"{"),
    "an event that is not there": lambda a: event(a, "amend").unlink(),
    "what the depositor said": lambda a: forge(bag(a, "deposit.json"), "export.csv", "report.csv"),
    "an index that is not there": lambda a: bag(a, "index.parquet").unlink(),
    "an index with a byte more": lambda a: (
        bag(a, "index.parquet").chmod(0o644)
        or bag(a, "index.parquet").write_bytes(bag(a, "index.parquet").read_bytes() + b"x")
    ),
    "a ledger entry that was caught up before": lambda a: forge(
        a.root / "ledger" / "0000" / "00000002.json", '"amend"', '"amenD"'
    ),
    "the settings": lambda a: forge(a.root / "archive.toml", "format = 1", "format = 0"),
}


OF_ONE_ENTRY = list(FORGED)[:8]
"""They cost the answers about their job, and are named in all others."""


@pytest.mark.parametrize("machine_knows", [True, False], ids=["warm", "fresh"])
@pytest.mark.parametrize("what", FORGED)
def test_no_answer_is_made_of_it(full: Archive, what: str, machine_knows: bool, own_cache: Path) -> None:
    full.catch_up()
    FORGED[what](full)
    for name, ask in QUESTIONS.items():
        if not machine_knows:
            shutil.rmtree(own_cache / "cache", ignore_errors=True)
        if name == "catalogue" and what in OF_ONE_ENTRY:
            with pytest.warns(UnreadEntry, match=r"(event\.json|deposit\.json|index\.parquet) is missing or damaged"):
                ask(store.open(full.root))
            continue
        with pytest.raises(Trouble) as raised, warnings.catch_warnings():
            warnings.simplefilter("ignore", UnreadEntry)
            ask(store.open(full.root))
        assert raised.value.code.startswith(("archive.file-", "ledger.entry-")), (name, str(raised.value))
    assert not fixity(store.open_damaged(full.root)).sound


def test_a_disk_that_keeps_no_time_of_change_is_digested_each_time(
    full: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """FAT and exFAT count times in steps of 10 ms or more, and have one time alone: a forger gives it back."""
    real = Path.stat

    def coarse(path: Path, **how: Any) -> Any:
        found = real(path, **how)
        second = int(found.st_mtime)
        return SimpleNamespace(
            **{name: getattr(found, name) for name in ("st_mode", "st_size", "st_dev", "st_ino", "st_atime_ns")},
            **dict.fromkeys(("st_mtime", "st_ctime"), second),
            **dict.fromkeys(("st_mtime_ns", "st_ctime_ns"), second * 10**9),
        )

    monkeypatch.setattr(Path, "stat", coarse)
    full.catch_up()
    assert open_link(full, LINK).rows[0]["site"] == "West"
    forge(event(full, "amend"), '"West"', '"East"')
    with pytest.warns(UnreadEntry), pytest.raises(Trouble, match=r"event\.json"):
        open_link(store.open(full.root), LINK)


@pytest.mark.parametrize("harm", ["forged", "gone"])
def test_no_name_is_taken_from_a_table_of_people_that_was_changed(full: Archive, harm: str) -> None:
    path = event(full, "amend", "people.json")
    if harm == "forged":
        forge(path, "Ostrander", "Ostranger")
    else:
        path.unlink()
    with pytest.raises(Trouble, match=r"people\.json"):
        history(full, open_link(full, LINK))


def test_a_receipt_names_nobody_from_a_changed_table(full: Archive) -> None:
    path = bag(full, "tables/people.parquet")
    path.chmod(0o644)
    path.write_bytes(path.read_bytes().replace(b"Ostrander", b"Ostranger"))
    made = next(e for e in full.entries() if e.kind == "deposit")
    with pytest.raises(Trouble, match=r"people\.parquet"):
        receipt(store.open(full.root), made["deposit"])


@pytest.mark.parametrize("name", ["records", "readings", "sweeps-00000000"])
def test_tables_of_a_record_are_compared_before_they_are_read(full: Archive, name: str) -> None:
    made = next(e for e in full.entries() if e.kind == "deposit")
    path = bag(full, f"tables/{name}.parquet")
    data = path.read_bytes()
    for harmed in (data + b"x", None):
        if harmed is None:
            path.unlink()
        else:
            path.chmod(0o644)
            path.write_bytes(harmed)
        with pytest.raises(Trouble, match=name):
            store.open(full.root).record(f"{made['deposit']}/0")


def test_a_table_that_no_manifest_names_is_none(full: Archive) -> None:
    """Somebody lays grades beside the tables of a bag that came without."""
    made = next(e for e in full.entries() if e.kind == "deposit")
    shutil.copy(bag(full, "tables/readings.parquet"), bag(full, "tables/grades.parquet"))
    assert not store.open(full.root).tables(made["deposit"]).has("grades")


def test_a_file_with_other_times_and_the_same_bytes_is_the_same(full: Archive, tmp_path: Path) -> None:
    """A copied or restored archive has other file ids and other times."""
    full.catch_up()
    for path in full.root.rglob("*"):
        os.utime(path, ns=(1, 1))
    assert store.open(full.root).catch_up() == 5
    shutil.copytree(full.root, tmp_path / "copy")
    assert store.open(tmp_path / "copy").catch_up() == 5
    assert fixity(store.open(tmp_path / "copy"), "deep").sound


def test_files_are_digested_once(full: Archive, monkeypatch: pytest.MonkeyPatch) -> None:
    """A question over files that are unchanged reads none of them."""
    full.catch_up()
    digested = []
    from archive.store import files

    real = files.fingerprint
    monkeypatch.setattr(files, "fingerprint", lambda path: digested.append(path) or real(path))
    again = store.open(full.root)
    again.catch_up()
    assert digested == []


def test_a_redacted_event_counts_as_what_replaced_it_on_every_machine(full: Archive, own_cache: Path) -> None:
    path = event(full, "amend")
    said = json.loads(path.read_bytes())
    better = full.root.parent / "better.json"
    better.write_text(json.dumps({**said, "reason": "taken out"}))
    plan = of_file(full, path.relative_to(full.root).as_posix(), better)
    redact(full, plan, by=None, reason="a name stood in it")
    assert open_link(full, LINK).rows[0]["site"] == "West"
    plan = of_file(full, event(full, "job").relative_to(full.root).as_posix())
    redact(full, plan, by=None, reason="a name stood in it")
    assert "over" not in facts(full, JOB)["retention"] and facts(full, JOB)["warranty_end"] is None
    assert fixity(store.open(full.root), "deep").sound
    shutil.rmtree(own_cache / "cache")
    assert open_link(store.open(full.root), LINK).rows[0]["site"] == "West"
    assert fixity(store.open(full.root), "deep").sound


def test_files_added_to_the_schema_and_elsewhere_are_named(full: Archive) -> None:
    withdraw(full, deposits=[next(e for e in full.entries() if e.kind == "deposit")["deposit"]], by=None, reason="x")
    strays = [
        "schema/x-vocabulary.toml",
        "deposits/notes.txt",
        "deposits/2026/notes.txt",
        "assessments/notes.txt",
        "events/notes.txt",
        "merged/notes.txt",
        "merged/ar-1/ledger/0000/00000000.json",
        "notes.txt",
    ]
    year = next((full.root / "deposits").iterdir()).name
    strays = [s.replace("2026", year) for s in strays]
    for stray in strays:
        path = full.root / stray
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")
    for depth in ("count", "digest", "deep"):
        assert {d.path for d in fixity(store.open(full.root), depth).damaged} == set(strays)


def rotten(archive: Archive, path: Path) -> None:
    """A bit of a file flips on the disk: size, times and number in the file system are what they were."""
    data = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(bytes([data[0] ^ 1]) + data[1:])
    inside = path.relative_to(archive.root).as_posix()
    s = path.stat()
    state = f"{s.st_size} {s.st_mtime_ns} {s.st_ctime_ns} {s.st_dev}:{s.st_ino}"
    done = archive.db.execute("UPDATE checked SET state = ? WHERE path = ?", (state, inside))
    assert done.rowcount == 1


@pytest.mark.parametrize(
    "name", ["tables/records.parquet", "tables/readings.parquet", "originals.zip", "event.json", "ledger"]
)
def test_what_leaves_the_archive_as_evidence_is_digested_again(full: Archive, name: str) -> None:
    from archive.answers.book.gather import gather as of_job
    from archive.answers.claim.gather import gather as of_link

    of_link(full, LINK)
    if name != "originals.zip":
        of_job(full, JOB)
    path = event(full, "amend") if name == "event.json" else bag(full, name)
    rotten(full, full.root / "ledger" / "0000" / "00000002.json" if name == "ledger" else path)
    if name == "originals.zip":  # a book prints none of them, and a claim says why its own is missing
        standing = of_link(store.open(full.root), LINK)[0].standing
        assert standing is not None
        assert (standing.original.why, standing.original.path) == ("damaged", "")
        assert "not the one that the ledger commits" in standing.original.said
        return
    for ask, what in ((of_link, LINK), (of_job, JOB)):
        with pytest.raises(Trouble, match="not the one that the ledger commits"):
            ask(store.open(full.root), what)
