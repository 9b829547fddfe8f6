"""Optical records of one link that came apart: graded together, and looked at by the rules across records.

The two ends of a fiber are often handed in on two days, in two folders, or stand in two batches of one. No record is
changed: the later one is graded with the earlier one beside it, and its verdict names the record that it rests on.
Traces go without their points here: events, readings and facts are enough.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

import pyarrow as pa
import pyarrow.compute as pc

from archive import grading
from archive.answers.amended import amended
from archive.grading.fiber import BOTH_ENDS, BOTH_WAYS, optical
from archive.store import Archive
from archive.tables import MOST_RECORDS as MOST_IN_BATCH
from archive.tables import Batch, no_rows
from archive.tables.order import concat, ordered
from archive.validation.job.across import across

MOST_RECORDS = 10_000
"""Optical records of a job that are looked at beside new ones; of a larger job those of the same links alone."""
RULES = (
    "traces-contradict-loss-test",
    "traces-of-both-ends-differ",
    "fiber-types-of-link-differ",
    "fibers-of-cable-unlike",
    "polarity-of-cable-contradicts",
    "optical-losses-under-two-links",
)
"""Rules across optical records that a deposit looks at."""
_AT_ONCE = 50
_STATEMENTS = ("grades", "verdicts", "findings", "set_aside", "extras", "sweeps", "axes")


class OpticalLinks:
    """Takes batches in, gives them back graded with the records that came before. archive: of which the records of
    their jobs stand beside them, as corrected; None: the batches alone."""

    def __init__(self, archive: Archive | None = None) -> None:
        self._archive = archive
        self._jobs: set[str | None] = set()
        self._read: set[tuple[str, int]] = set()
        self._before: list[Batch] = []
        self._new: list[Batch] = []
        self._by_link: dict[tuple[str | None, str], dict[str, Batch]] = defaultdict(dict)
        self.left_out = 0
        """Optical records of the job that were too many to be looked at."""

    def add(self, batch: Batch) -> Batch:
        """The batch, with optical records graded anew where the other end or direction came before."""
        glass = optical(batch)
        if not glass.any():
            return batch
        ids = batch["records"]["record_id"].filter(pa.array(glass)).to_pylist()
        mine = _light(batch).select(ids)
        for job in set(mine["records"]["job_id"].to_pylist()) - self._jobs:
            for before in self._archived(job, set(mine["records"]["link_label"].to_pylist())):
                self._before.append(before)
                self._know(before)
        made = self._graded(mine, batch)
        self._new.append(mine)
        self._know(mine)
        return made

    def findings(self) -> Batch | None:
        """What the rules across records find that they did not find before these batches came."""
        if not self._new:
            return None
        today = datetime.now(UTC).date()
        known = {_key(row) for row in across(self._before, RULES, today).to_pylist()} if self._before else set()
        found = across([*self._before, *self._new], RULES, today)
        new = (row for row in found.to_pylist() if row["status"] == "raised" and _key(row) not in known)
        raised = [{**row, "record_id": None} for row in new]  # of links: what they rest on may be in another deposit
        return Batch.from_rows({"findings": raised}) if raised else None

    def _know(self, batch: Batch) -> None:
        for row in batch["records"].select(["job_id", "link_label", "record_id"]).to_pylist():
            if row["link_label"] is not None:
                self._by_link[row["job_id"], row["link_label"]][row["record_id"]] = batch

    def _archived(self, job: str | None, labels: set[str | None]) -> Iterator[Batch]:
        """Optical records of the job that count, without their points; of a large job those with these labels."""
        if self._archive is None:
            return
        self._archive.catch_up()
        rows = self._archive.db.execute(
            "SELECT deposit, position, link_label FROM records WHERE job_id IS ?1 AND medium = 'fiber' "
            "AND NOT withdrawn AND NOT replaced AND kind NOT IN ('same_file', 'same_content') ORDER BY row",
            (job,),
        ).fetchall()
        if len(rows) > MOST_RECORDS:
            self.left_out = max(self.left_out, len(rows))
            rows = [row for row in rows if row["link_label"] in labels]
        else:
            self._jobs.add(job)
        at: dict[str, list[int]] = defaultdict(list)
        for deposit, position, _ in rows:
            if (deposit, position) not in self._read:
                self._read.add((deposit, position))
                at[deposit].append(position)
        for deposit, positions in at.items():
            for some, batch in self._archive.tables(deposit).facts(positions, _AT_ONCE):
                yield amended(self._archive, deposit, some, batch)

    def _graded(self, mine: Batch, batch: Batch) -> Batch:
        """The batch with verdicts that rest on records that came before, where there are such."""
        links: dict[tuple[str | None, str], list[str]] = defaultdict(list)
        for row in mine["records"].select(["job_id", "link_label", "record_id"]).to_pylist():
            if (link := (row["job_id"], row["link_label"])) in self._by_link:
                links[link].append(row["record_id"])
        replaced: list[Batch] = []
        for start in range(0, len(links), _AT_ONCE):
            some = list(links)[start : start + _AT_ONCE]
            own = [record for link in some for record in links[link]]
            beside = self._beside(some, set(own))
            if len(own) + sum(map(len, beside)) > MOST_IN_BATCH:
                self.left_out += len(own)
                continue
            found = grading.grade(concat([mine.select(own), *beside]))
            replaced.append(found.select(_resting(found, own)))
        return _with(batch, [r for r in replaced if len(r)])

    def _beside(self, links: Sequence[tuple[str | None, str]], own: set[str]) -> list[Batch]:
        by: dict[int, tuple[Batch, list[str]]] = {}
        for link in links:
            for record, batch in self._by_link[link].items():
                if record not in own:
                    by.setdefault(id(batch), (batch, []))[1].append(record)
        return [batch.select(records) for batch, records in by.values()]


def _resting(found: Batch, own: Sequence[str]) -> list[str]:
    """Records whose verdict names another record."""
    rows = found["verdicts"].select(["record_id", "reason"]).to_pylist()
    marks = (BOTH_ENDS, BOTH_WAYS)
    said = {r["record_id"] for r in rows if any(mark in (r["reason"] or "") for mark in marks)}
    return [i for i in own if i in said]


def _with(batch: Batch, replaced: Sequence[Batch]) -> Batch:
    if not replaced:
        return batch
    ids = pa.chunked_array([r["records"]["record_id"].combine_chunks() for r in replaced], pa.string())
    tables = {}
    for name in ("grades", "verdicts"):
        kept = batch[name].filter(pc.invert(pc.is_in(batch[name]["record_id"], value_set=ids)))
        tables[name] = pa.concat_tables([kept, *(r[name] for r in replaced)])
    return ordered(batch.replace(**tables))


def _light(batch: Batch) -> Batch:
    """The batch without points, extras and what was said of it."""
    return batch.replace(**{name: no_rows(name) for name in _STATEMENTS})


def _key(row: dict[str, object]) -> tuple[object, ...]:
    return tuple(row[name] for name in ("rule", "record_id", "link_label", "message"))
