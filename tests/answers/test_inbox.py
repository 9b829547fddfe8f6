"""An inbox: what rests is deposited once, nothing in it is touched, and a bad file costs itself alone."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from archive import disk, formats, store
from archive.answers.documents import html
from archive.answers.inbox import InboxChoices, JobTaken, compose, take
from archive.answers.inbox.seen import Lock, Seen
from archive.answers.jobs import state
from archive.answers.wording import Wording
from archive.demo.simulator import simulate
from archive.errors import Trouble
from archive.store import Archive
from archive.store.disposal import approve, propose
from archive.store.events.redact import of_file, redact
from archive.store.fixity import fixity
from archive.tables import concat

pytestmark = pytest.mark.filterwarnings("ignore::archive.store.disposed.Disposed")
JOB = "HARBOUR-2019-04"
NOW = InboxChoices(rest=0)


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("MUNIMENT_CONFIG", str(tmp_path / "config"))
    return store.create(tmp_path / "archive")


@pytest.fixture(scope="module")
def exports(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three exports of the open form, simulated."""
    root = tmp_path_factory.mktemp("exports")
    for number in range(3):
        week = concat(simulate(2, seed=number, category="cat5e"))
        formats.write([week], root / f"week{number}.xml", "xml")
    return root


@pytest.fixture
def inbox(tmp_path: Path, exports: Path) -> Path:
    folder = tmp_path / "inbox"
    (folder / JOB / "day 1").mkdir(parents=True)
    shutil.copy(exports / "week0.xml", folder / JOB / "day 1" / "week0.xml")
    return folder


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[float], None]:
    """The system's clock, which goes on only where a test says so, in minutes."""

    module = sys.modules["archive.answers.inbox.take"]
    at = [1_800_000_000.0]
    monkeypatch.setattr(module.time, "time", lambda: at[0])

    def on(minutes: float) -> None:
        at[0] += minutes * 60

    return on


def everything(root: Path) -> dict[str, Any]:
    return {
        p.relative_to(root).as_posix(): (hashlib.sha256(p.read_bytes()).hexdigest(), p.stat().st_mtime_ns)
        for p in root.rglob("*")
        if p.is_file()
    }


def job(archive: Archive, inbox: Path, how: InboxChoices = NOW, name: str = JOB) -> JobTaken:
    return next(j for j in take(archive, inbox, how).jobs if j.job == name)


def test_a_file_is_taken_once_it_was_seen_unchanged_for_the_span(
    archive: Archive, inbox: Path, clock: Callable[[float], None]
) -> None:
    how = InboxChoices(rest=10)
    path = inbox / JOB / "day 1" / "week0.xml"
    whole, before = path.read_bytes(), everything(inbox)
    assert job(archive, inbox, how).waiting == ["day 1/week0.xml"], "an old date of a file says nothing"
    clock(9)
    assert job(archive, inbox, how).waiting
    path.write_bytes(whole[:-50])  # still being written
    clock(9)
    assert job(archive, inbox, how).waiting, "changed: the span begins anew"
    path.write_bytes(whole)
    os.utime(path, ns=(before[f"{JOB}/day 1/week0.xml"][1],) * 2)
    clock(9)
    assert job(archive, inbox, how).waiting, "the same size and date, and yet another file"
    clock(10)
    made = job(archive, inbox, how)
    assert made.taken == ["day 1/week0.xml"]
    assert made.receipt is not None
    assert made.receipt.counts["new"] == 2
    assert everything(inbox) == before
    clock(10)
    again = job(archive, inbox, how)
    assert (again.here, again.taken, again.receipt) == (["day 1/week0.xml"], [], None)


def test_a_clock_that_goes_back_takes_nothing_early(
    archive: Archive, inbox: Path, clock: Callable[[float], None]
) -> None:
    job(archive, inbox, InboxChoices(rest=10))
    clock(-60)
    assert job(archive, inbox, InboxChoices(rest=10)).waiting
    clock(5)
    assert job(archive, inbox, InboxChoices(rest=10)).waiting


def test_what_is_here_already_is_what_the_archive_says(archive: Archive, inbox: Path, tmp_path: Path) -> None:
    job(archive, inbox)
    count = len(list(archive.entries()))
    for _ in range(2):
        made = job(archive, inbox)
        assert (made.here, made.taken) == (["day 1/week0.xml"], [])
    shutil.rmtree(tmp_path / "cache")  # the memory is lost: the archive still knows
    again = store.open(archive.root)
    assert job(again, inbox).here == ["day 1/week0.xml"]
    assert len(list(again.entries())) == count


def test_uploads_that_are_not_done_wait(archive: Archive, inbox: Path, exports: Path) -> None:
    for name in ("week1.xml.part", ".week1.xml.Xb3kQ9", "week2.csv", "week2.csv.filepart"):
        shutil.copy(exports / "week1.xml", inbox / JOB / name)
    made = job(archive, inbox)
    assert sorted(made.waiting) == [".week1.xml.Xb3kQ9", "week1.xml.part", "week2.csv.filepart"]
    assert made.taken == ["day 1/week0.xml", "week2.csv"]


def test_what_belongs_together_is_taken_together(
    archive: Archive, inbox: Path, exports: Path, clock: Callable[[float], None]
) -> None:
    how = InboxChoices(rest=10)
    (inbox / JOB / "m.s4p").write_text("! x\n")
    job(archive, inbox, how)
    clock(10)
    (inbox / JOB / "m.port-map.toml").write_text("x = 1\n")
    (inbox / JOB / "m.toml").write_text("x = 1\n")
    made = job(archive, inbox, how)
    assert "m.s4p" in made.waiting
    assert made.taken == ["day 1/week0.xml"]


def test_a_hostile_or_broken_file_costs_itself_alone(archive: Archive, inbox: Path, exports: Path) -> None:
    folder = inbox / JOB
    (folder / "broken.zip").write_bytes(b"PK\x03\x04" + bytes(200))
    with zipfile.ZipFile(folder / "out.zip", "w") as packed:
        packed.writestr("../../outside.txt", "x")
    (folder / "link.xml").symlink_to(exports / "week1.xml")
    (folder / "cut.xml").write_bytes((exports / "week1.xml").read_bytes()[:4000])
    os.mkfifo(folder / "pipe")
    (folder / "\x1b[31mred.bin").write_bytes(os.urandom(300))
    (inbox / "OTHER-JOB").mkdir()
    shutil.copy(exports / "week2.xml", inbox / "OTHER-JOB")
    run = take(archive, inbox, NOW)
    made = {j.job: j for j in run.jobs}
    assert made[JOB].receipt is not None
    assert made[JOB].receipt.counts["new"] == 2
    assert made[JOB].receipt.set_aside >= 3
    assert {"link.xml", "pipe"} <= made[JOB].left.keys()
    assert made["OTHER-JOB"].receipt is not None
    assert made["OTHER-JOB"].receipt.counts["new"] == 2
    assert run.look
    assert not (inbox.parent / "outside.txt").exists()
    assert fixity(archive).sound
    second = {j.job: j for j in take(archive, inbox, NOW).jobs}
    assert second[JOB].receipt is None, "what was set aside is kept, and not set aside twice"


def test_a_layout_that_nothing_knows_is_set_aside_unless_drafts_are_accepted(
    archive: Archive, inbox: Path, tmp_path: Path
) -> None:
    text = "Cable,Date,Result,Length (m)\n" + "".join(f"A-{n},2024-03-0{n + 1},PASS,{30 + n}.5\n" for n in range(5))
    (inbox / JOB / "new layout.csv").write_text(text)
    made = job(archive, inbox)
    assert made.receipt is not None
    assert made.receipt.set_aside == 1
    assert "drafted" not in made.receipt.details
    other = store.create(tmp_path / "other")
    accepted = job(other, inbox, InboxChoices(rest=0, accept_draft=True))
    assert accepted.receipt is not None
    assert [d["file"] for d in accepted.receipt.details["drafted"]] == ["new layout.csv"]


def test_a_job_that_is_refused_costs_itself_alone(archive: Archive, inbox: Path, exports: Path) -> None:
    job(archive, inbox)
    slip = inbox / "HARBOUR-2019-O4"
    slip.mkdir()
    shutil.copy(exports / "week1.xml", slip)
    (inbox / "THIRD").mkdir()
    shutil.copy(exports / "week2.xml", inbox / "THIRD")
    made = {j.job: j for j in take(archive, inbox, NOW).jobs}
    assert "nearly the same name" in made[slip.name].trouble
    assert made["THIRD"].receipt is not None
    again = {j.job: j for j in take(archive, inbox, NOW).jobs}
    assert again[slip.name].look, "told again until somebody does something"


def test_what_was_redacted_never_comes_back(archive: Archive, inbox: Path) -> None:
    made = job(archive, inbox)
    assert made.receipt is not None
    assert made.receipt.entry is not None
    bag = made.receipt.entry["path"]
    redact(archive, of_file(archive, f"{bag}/data/originals.zip: day 1/week0.xml"), by=None, reason=None)
    again = job(archive, inbox)
    assert "redacted" in again.left["day 1/week0.xml"]
    assert again.receipt is None


def test_what_was_disposed_of_never_comes_back(archive: Archive, inbox: Path) -> None:
    from datetime import date

    job(archive, inbox)
    state(archive, JOB, ["retain_until=2020-01-01"])
    propose(archive, JOB, date(2026, 12, 1), by="A. Clerk", reason=None)
    approve(archive, JOB, date(2026, 12, 1), by="B. Counsel", reason=None)
    again = job(archive, inbox)
    assert "disposed of by ledger entry" in again.trouble
    assert again.receipt is None


def test_a_file_that_changes_while_it_is_read_is_told(
    archive: Archive, inbox: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = sys.modules["archive.answers.inbox.take"]
    real = module.ingest

    def meanwhile(*given: Any) -> Any:
        made = real(*given)
        with (inbox / JOB / "day 1" / "week0.xml").open("ab") as file:
            file.write(b"<!-- more -->")
        return made

    monkeypatch.setattr(module, "ingest", meanwhile)
    assert "changed while it was read" in job(archive, inbox).left["day 1/week0.xml"]


def test_two_runs_do_not_overlap(archive: Archive, inbox: Path) -> None:
    seen = Seen.of(archive, inbox)
    code = (
        "import sys\nfrom archive.answers.inbox.seen import Lock\n"
        f"with Lock({archive.id!r}, {seen.name!r}):\n print('held', flush=True)\n sys.stdin.read()"
    )
    other = subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    with pytest.raises(Trouble, match="another run"):
        take(archive, inbox, NOW)
    other.kill()  # whoever held it is dead: nobody must clear anything away
    other.wait()
    assert take(archive, inbox, NOW).jobs[0].taken
    with Lock(archive.id, seen.name):
        pass


def test_stopped_at_any_step_the_next_run_ends_it(
    archive: Archive, inbox: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from archive.store import aside
    from tests.store.store_crash import machine, steps

    monkeypatch.setattr(aside, "_runs", lambda _pid, _started: False)

    def fresh(at: object) -> Archive:
        shutil.rmtree(tmp_path / "cache", ignore_errors=True)
        shutil.copytree(archive.root, tmp_path / str(at))
        return store.open(tmp_path / str(at))

    whole = fresh("whole")
    total = steps(lambda: take(whole, inbox, NOW)).count
    assert total > 20
    for stop in range(0, total, 5):
        stopped = fresh(stop)
        with machine(stop) as made:
            take(stopped, inbox, NOW)
        assert made.dead
        again = store.open(stopped.root)
        take(again, inbox, NOW)
        assert again.db.execute("SELECT count(*) FROM records").fetchone()[0] == 2
        assert fixity(store.open(again.root)).sound
        shutil.rmtree(again.root)


def test_a_full_disk_costs_nothing(archive: Archive, inbox: Path) -> None:
    def full(what: str, path: Path, _old: Path | None) -> None:
        if what == "create" and "aside" in path.parts:
            raise OSError(errno.ENOSPC, "No space left on device", str(path))

    disk.watcher = full
    try:
        made = job(archive, inbox)
    finally:
        disk.watcher = None
    assert "No space left" in made.trouble
    assert job(archive, inbox).taken == ["day 1/week0.xml"]


def test_what_an_inbox_cannot_be(
    archive: Archive, inbox: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for folder in (tmp_path / "never", archive.root, archive.root / "deposits", tmp_path):
        with pytest.raises(Trouble, match=r"no such folder|apart from the archive"):
            take(archive, folder, NOW)
    monkeypatch.setenv("MUNIMENT_CACHE", "/proc/never")
    with pytest.raises(Trouble, match="must remember"):
        take(store.open(archive.root), inbox, NOW)


@pytest.mark.parametrize("locale", ["en", "de", "fr", "es"])
def test_the_summary(archive: Archive, inbox: Path, locale: str) -> None:
    (inbox / "loose.csv").write_text("x")
    (inbox / JOB / "<b>.part").write_text("x")
    run = take(archive, inbox, NOW)
    words = Wording(locale)
    page = html(compose(run, "certificates", "2026-12-01T10:00:00Z", words))
    for wanted in (JOB, "loose.csv", words("Inbox"), "&lt;b&gt;.part"):
        assert wanted in page
    assert run.loose == {"loose.csv": "in no folder of a job"}
    assert json.dumps([j.plain() for j in run.jobs])
