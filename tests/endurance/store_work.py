"""Programs that endurance runs start and kill: each does one kind of work on an archive, over and over.

    python -m tests.endurance.store_work KIND ARCHIVE SEED

For every piece of work that was acknowledged it prints one line. What is archived is invented.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Callable
from pathlib import Path

from archive import store
from archive.answers.reindex import reindex
from archive.store import Archive
from archive.store.assessments import Assessment, RunFacts, assess
from archive.store.copies import export
from archive.store.deposits import Deposit, DepositFacts
from archive.store.events import Correction, amend, withdraw
from archive.store.events.redact import of_name, redact
from archive.tables import Batch
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


def one_assessment(archive: Archive, draw: random.Random) -> str:
    chosen = sorted({_any(archive, draw) for _ in range(3)})
    run = Assessment(archive, chosen)
    parts = (part for d in run.work for part in run.graded(d, _graded))
    return f"assess {assess(run, parts, RunFacts(facts={'against': None})).entry.number}"


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


def _any(archive: Archive, draw: random.Random) -> str:
    archive.catch_up()
    found = archive.db.execute("SELECT deposit || '/' || position FROM records").fetchall()
    return str(draw.choice(found)[0])


WORK: dict[str, Callable[[Archive, random.Random], str]] = {
    "deposit": one_deposit,
    "amendment": one_amendment,
    "withdrawal": one_withdrawal,
    "redaction": one_redaction,
    "assessment": one_assessment,
    "export": one_export,
    "reindex": one_reindex,
}


def main() -> None:
    """Works until it is killed."""
    kind, root, seed = sys.argv[1:4]
    archive, draw = store.open(Path(root)), random.Random(seed)
    print("ready", flush=True)
    while True:
        print(WORK[kind](archive, draw), flush=True)


if __name__ == "__main__":
    main()
