"""What every answer says of jobs whose records were disposed of: they are in no answer any more."""

from __future__ import annotations

import json
import sqlite3

from archive.errors import Remark
from archive.vocabulary.counted import counted

_SHOWN = 5
"""Jobs that are named."""


class Disposed(Remark):
    """Records were disposed of, and no answer counts or shows them."""


def sentence(db: sqlite3.Connection) -> str:
    """Which jobs' records were disposed of, by which ledger entries; "" where none were."""
    rows = db.execute("SELECT job_id, records, number FROM disposals ORDER BY number DESC").fetchall()
    if not rows:
        return ""
    named = [f"{job} ({counted(count, 'record')}, ledger entry {number})" for job, count, number in rows[:_SHOWN]]
    more = f" and {len(rows) - _SHOWN} more" if len(rows) > _SHOWN else ""
    return f"disposed of, and in no answer: the records of job {', '.join(named)}{more}"


def of_job(db: sqlite3.Connection, job: str) -> str:
    """That records of one job were disposed of, by which ledger entries; "" where none were. It names no other job, so
    that it may leave the house."""
    rows = db.execute("SELECT number, records FROM disposals WHERE job_id = ? ORDER BY number", (job,)).fetchall()
    if not rows:
        return ""
    told = ", ".join(f"{counted(count, 'record')} by ledger entry {number}" for number, count in rows)
    return f"earlier records of this job were disposed of and are on no page: {told}"


def count(db: sqlite3.Connection) -> str:
    """How many jobs' records were disposed of, without their names; "" where none were."""
    jobs, records = db.execute("SELECT count(DISTINCT job_id), coalesce(sum(records), 0) FROM disposals").fetchone()
    if not jobs:
        return ""
    return f"{counted(records, 'record')} of {counted(jobs, 'job')} disposed of: they are in nothing of this"


def deposits(db: sqlite3.Connection) -> set[str]:
    """Deposits whose records were disposed of."""
    rows = db.execute("SELECT p.deposits FROM disposals d JOIN disposal_proposals p ON p.id = d.proposal").fetchall()
    return {deposit for (listed,) in rows for deposit in json.loads(listed)}


def remedy(db: sqlite3.Connection, job: str | None) -> str:
    """What to say to whoever asks for the records of a job: by which ledger entry they were disposed of; "" where they
    were not."""
    row = db.execute("SELECT max(number) FROM disposals WHERE job_id = ?", (job,)).fetchone()
    return "" if row[0] is None else f"its records were disposed of by ledger entry {row[0]}"
