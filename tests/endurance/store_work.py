"""Programs that endurance runs start and kill: each does one kind of work on an archive, over and over.

For every piece of work that was acknowledged it prints one line. What is archived is invented.
"""

from __future__ import annotations

import os
import random
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from multiprocessing.connection import Connection
from pathlib import Path

from archive import store
from archive.answers.intake import Choices, ingest
from archive.answers.jobs import state
from archive.answers.reindex import reindex
from archive.answers.reread import reread
from archive.errors import Remark
from archive.store import Archive
from archive.store.assessments import RunFacts, assess, graded, records_to_grade
from archive.store.copies import export, repair
from archive.store.deposits import Deposit, DepositFacts
from archive.store.disposal import approve, propose
from archive.store.events import Correction, amend, withdraw
from archive.store.events.accept import accept_job, accept_records, decide_identity
from archive.store.events.cables import Settlement, settle_cables
from archive.store.events.cases import CLOSE, DECIDE, NOTE, add_step, cases, open_case
from archive.store.events.redact import of_name, redact
from archive.store.witness import witness
from archive.tables import Batch
from tests.endurance.store_disks import DISKS, ForGood
from tests.store.store_making import batch, rows


def one_deposit(archive: Archive, draw: random.Random) -> str:
    """A deposit of one to three records that nobody has deposited before."""
    made = [_record(draw) for _ in range(draw.randint(1, 3))]
    making = Deposit(archive, DepositFacts(job=f"JOB-{draw.randrange(5)}", by=f"Writer {draw.randrange(10**6)}"))
    making.add(batch(*made))
    receipt = making.commit()
    assert receipt.entry is not None
    return f"deposit {receipt.entry['deposit']} {len(made)}"


def _record(draw: random.Random) -> dict[str, list[dict[str, object]]]:
    day, minute = draw.randint(1, 28), draw.randrange(24 * 60)
    time = f"20{draw.randint(10, 40)}-{draw.randint(1, 12):02d}-{day:02d}T{minute // 60:02d}:{minute % 60:02d}"
    label = f"L{draw.randrange(10**9)}"
    return rows(label, time=time, shift=draw.randrange(400) / 10, source=f"{draw.getrandbits(256):064x}")


def one_amendment(archive: Archive, draw: random.Random) -> str:
    entry, _ = amend(
        archive, [Correction(_any(archive, draw), "site", f"Site {draw.random()}")], by=None, reason="test"
    )
    assert entry is not None
    return f"amend {entry.number}"


def one_withdrawal(archive: Archive, draw: random.Random) -> str:
    entry = None
    while entry is None:  # one that is withdrawn already makes no entry
        print(one_deposit(archive, draw), flush=True)
        entry = withdraw(archive, records=[_any(archive, draw)], by=None, reason="test")
    return f"withdraw {entry.number}"


def one_redaction(archive: Archive, draw: random.Random) -> str:
    """Deposits under a name, then takes the name out."""
    name = f"Gone {draw.getrandbits(64)}"
    making = Deposit(archive, DepositFacts(job="JOB", by=name))
    making.add(batch(_record(draw)))
    receipt = making.commit()
    assert receipt.entry is not None
    print(f"deposit {receipt.entry['deposit']} 1", flush=True)
    return f"redact {redact(archive, of_name(archive, name), by=None, reason='test').number}"


def one_disposal(archive: Archive, draw: random.Random) -> str:
    """Deposits a job whose retention is over, and disposes of it."""
    job, today = f"OLD-{draw.getrandbits(64):x}", date(2026, 12, 1)
    making = Deposit(archive, DepositFacts(job=job, by="A. Clerk"))
    making.add(batch(_record(draw)))
    receipt = making.commit()
    assert receipt.entry is not None
    print(f"deposit {receipt.entry['deposit']} 1", flush=True)
    state(archive, job, ["retain_until=2020-01-01"])
    propose(archive, job, today, by="A. Clerk", reason="test")
    return f"dispose {approve(archive, job, today, by='B. Counsel', reason='test').number}"


def one_assessment(archive: Archive, draw: random.Random) -> str:
    chosen = sorted({_any(archive, draw) for _ in range(3)})
    parts = (part for piece in records_to_grade(archive, chosen) for part in graded(piece, _graded))
    return f"assess {assess(archive, len(chosen), parts, RunFacts(facts={'against': None})).entry.number}"


def _graded(given: Batch) -> Batch:
    verdicts = [
        {"record_id": r, "verdict": "pass", "provisional": False, "limits_version": "x", "program": "tests"}
        for r in given["records"]["record_id"].to_pylist()
    ]
    return given.replace(verdicts=Batch.from_rows({"verdicts": verdicts})["verdicts"])


def one_export(archive: Archive, draw: random.Random) -> str:
    """Deposits, then brings the second copy up to it."""
    print(one_deposit(archive, draw), flush=True)
    return f"export {export(archive, archive.root.parent / 'copy').head}"


def one_reindex(archive: Archive, draw: random.Random) -> str:
    """Deposits, then derives what the user's cache holds anew."""
    print(one_deposit(archive, draw), flush=True)
    return f"reindex {reindex(archive)['records']}"


def one_rereading(archive: Archive, draw: random.Random) -> str:
    """Deposits an export by one mapping, then reads its stored original again by one that says more."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        lines = [f"L{draw.randrange(10**9)};2019-03-04;pass" for _ in range(draw.randint(1, 3))]
        (folder / "export.csv").write_text("\n".join(["Link;Day;Verdict", *lines, ""]))
        (folder / "first.toml").write_text(f"{_MAPPING}]\n")
        (folder / "better.toml").write_text(f"{_MAPPING}{_VERDICT}]\n")
        facts = DepositFacts(job="JOB-3", by=f"Writer {draw.randrange(10**6)}")
        made = ingest(archive, [folder / "export.csv"], facts, Choices(mapping=folder / "first.toml", new=True))
        assert made.entry is not None
        print(f"deposit {made.entry['deposit']} {len(lines)}", flush=True)
        again = reread(archive, made.entry["deposit"], folder / "better.toml", by=None, reason="test")
    assert again.entry is not None
    assert again.counts["reread"] == len(lines)
    return f"deposit {again.entry['deposit']} {len(lines)}"


_MAPPING = """
[mapping]
layout = "lines"
[[file]]
kind = "delimited"
delimiter = ";"
[[file.table]]
rows = "links"
fields = [
  { from = "Link", to = "records.link_label" },
  { from = "Day", to = "records.tested_found", format = "YYYY-MM-DD" },
"""
_VERDICT = '  { from = "Verdict", to = "records.reported_verdict" },\n'


def one_acceptance(archive: Archive, draw: random.Random) -> str:
    """Deposits, then accepts the job as it stands, or names a record as accepted."""
    print(one_deposit(archive, draw), flush=True)
    if draw.random() < 0.5:
        job = archive.db.execute("SELECT job_id FROM records WHERE unit IS NOT NULL ORDER BY row DESC").fetchone()[0]
        return f"accept {accept_job(archive, job, date(2041, 1, 1), by=None, reason='test').number}"
    archive.catch_up()
    found = archive.db.execute(
        "SELECT deposit || '/' || position FROM records WHERE unit IS NOT NULL AND job_id IS NOT NULL"
    ).fetchall()
    return f"accept {accept_records(archive, [str(draw.choice(found)[0])], by=None, reason='test').number}"


def one_settlement(archive: Archive, draw: random.Random) -> str:
    """Settles words about cables, or whether two tests of one label are of one link."""
    if draw.random() < 0.5:
        settled = [Settlement(f"drum {draw.getrandbits(64):x}", "cat6/u-utp/awg23/solid")]
        entry, _ = settle_cables(archive, settled, by=None, reason="test")
        assert entry is not None
        return f"cables {entry.number}"
    label = f"L{draw.randrange(10**9)}"
    made = [
        rows(
            label, time=f"201{year}-03-04T10:15", shift=draw.randrange(400) / 10, source=f"{draw.getrandbits(256):064x}"
        )
        for year in (1, 5)
    ]
    making = Deposit(archive, DepositFacts(job="JOB", by=None))
    making.add(batch(*made))
    receipt = making.commit()
    assert receipt.entry is not None
    print(f"deposit {receipt.entry['deposit']} 2", flush=True)
    pair = (f"{receipt.entry['deposit']}/0", f"{receipt.entry['deposit']}/1")
    same = draw.random() < 0.5
    return f"identity {decide_identity(archive, [pair], same=same, by=None, reason='test').number}"


def one_case_step(archive: Archive, draw: random.Random) -> str:
    """Opens a case over a link, or goes on with one."""
    known = cases(archive)
    if not known or draw.random() < 0.3:
        print(one_deposit(archive, draw), flush=True)
        said = {"name": f"C-{draw.randrange(10**9)}", "link_label": "L1", "text": "an invented complaint"}
        return f"case {open_case(archive, _any(archive, draw), said, by=None, reason='test').number}"
    chosen = draw.choice(known)
    action = draw.choice((NOTE, DECIDE, CLOSE)) if chosen.state != "closed" else NOTE
    said = {"text": f"{draw.random()}"}
    return f"case {add_step(archive, chosen, action, said, by=None, reason='test').number}"


def one_witnessing(archive: Archive, draw: random.Random) -> str:
    """Deposits; then a witness on another machine remembers the head and countersigns it."""
    print(one_deposit(archive, draw), flush=True)
    seen = witness(archive.root.parent / "witness", archive.root, archive.id, "witness.example")
    assert seen.broken == []
    return f"witness {seen.size} {seen.root}"


def one_repair(archive: Archive, draw: random.Random) -> str:
    """Deposits, copies, loses a file, and repairs it; begins with what a stopped repair left."""
    copy = archive.root.parent / "copy"
    if copy.is_dir():
        repair(archive, copy)
    print(one_deposit(archive, draw), flush=True)
    head = export(archive, copy).head
    lost = draw.choice(sorted(p for p in (archive.root / "deposits").rglob("*") if p.is_file()))
    lost.unlink()
    mended = repair(archive, copy)
    assert mended.left == []
    return f"repair {head}"


def _any(archive: Archive, draw: random.Random) -> str:
    archive.catch_up()
    found = archive.db.execute("SELECT deposit || '/' || position FROM records").fetchall()
    return str(draw.choice(found)[0])


WORK: dict[str, Callable[[Archive, random.Random], str]] = {
    "deposit": one_deposit,
    "amendment": one_amendment,
    "withdrawal": one_withdrawal,
    "redaction": one_redaction,
    "disposal": one_disposal,
    "assessment": one_assessment,
    "export": one_export,
    "reindex": one_reindex,
    "rereading": one_rereading,
    "acceptance": one_acceptance,
    "settlement": one_settlement,
    "case": one_case_step,
    "witness": one_witnessing,
    "repair": one_repair,
}


@dataclass(frozen=True)
class Task:
    """What a program does: a kind of work on an archive, on a kind of disk. user: variables of the environment."""

    kind: str
    root: str
    seed: str
    warm: bool
    disk: str
    user: dict[str, str]


def started(pipes: list[Connection], task: Task) -> None:
    """Works until it is killed. pipes: its standard output and error."""
    for number, pipe in enumerate(pipes, 1):
        os.dup2(pipe.fileno(), number)
    os.environ.update(task.user)
    DISKS[task.disk](ForGood())
    warnings.simplefilter("ignore", Remark)
    archive, draw = store.open(Path(task.root)), random.Random(task.seed)
    if task.warm:
        print(WORK[task.kind](archive, draw), flush=True)
    print("ready", flush=True)
    while True:
        print(WORK[task.kind](archive, draw), flush=True)
