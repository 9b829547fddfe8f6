"""All rules across the records of a job, and what the job comes to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial
from typing import Any

import pyarrow as pa

from archive.isolation import ProgramFault, attempt, isolated
from archive.tables import Batch
from archive.validation.catalogue import findings
from archive.validation.catalogue.answering import FAILED, CheckOutcome, answers, bug, failed, finding, warn
from archive.validation.catalogue.policy import OFF, Policy
from archive.validation.catalogue.registry import AboutLinks, NotLooked
from archive.validation.copies import detector
from archive.validation.copies.detector import Copies, Fetch
from archive.validation.job.copied import copied
from archive.validation.job.job_summary import JobSummary, summarise
from archive.validation.look import JobLook, RecordLook
from archive.validation.look.job_facts import JobFacts
from archive.validation.look.scheduled_links import ScheduledLinks, lines_of
from archive.validation.rules import job_rules

_FACTS, _CURVES = "the facts of a job", "comparing curves"
"""Stages at which a bug may strike, in words."""


@dataclass(frozen=True)
class JobOutcome(CheckOutcome):
    """findings and faults as of CheckOutcome; missing and unexpected: labels, one for each link;
    copies: pairs that agree, None where nothing was compared; summary: the job in numbers."""

    missing: tuple[str, ...]
    unexpected: tuple[str, ...]
    copies: Copies | None
    summary: JobSummary
    facts: JobFacts

    def places(self, record_ids: Sequence[str]) -> dict[str, str]:
        """File and place in it by record id."""
        wanted = set(record_ids)
        both = zip(self.facts["record_id"], self.facts["source"], strict=True)
        return {record: place for record, place in both if record in wanted}


class JobCheck:
    """Takes in the records of a job batch by batch, and says at the end what is found across them.

    schedule: a table of the schema "schedule", or None; places: of its links, of the schema "places"; with_copies:
    compare curves too.
    """

    def __init__(
        self,
        policy: Policy | None = None,
        *,
        schedule: pa.Table | None = None,
        places: pa.Table | None = None,
        today: date | None = None,
        with_copies: bool = True,
    ) -> None:
        self.policy = policy or Policy()
        self.today = today or datetime.now(UTC).date()
        self._scheduled: list[dict[str, Any]] | None = None
        if schedule is not None:
            self._schedule(schedule, places if places is not None else Batch({})["places"])
        self._facts = JobFacts()
        wanted = with_copies and any(self.policy.severity(r) != OFF for r in detector.RULES)
        self._sketches = detector.sketches_for(self.policy) if wanted else None
        self._set_aside = 0
        self._faults: list[ProgramFault] = []
        self._lost: list[pa.Table] = []

    def add(self, batch: Batch) -> None:
        """Takes in one batch."""
        look = RecordLook(batch, self.today)
        self._add(look, self._facts.add, _FACTS, ())
        if self._sketches is not None:
            sketches = self._sketches
            self._add(look, lambda part: sketches.add(part.batch), _CURVES, detector.RULES)
        if batch["schedule"].num_rows:
            self._schedule(batch["schedule"], batch["places"])
        self._set_aside += batch["set_aside"].num_rows

    def _schedule(self, schedule: pa.Table, places: pa.Table) -> None:
        self._scheduled = [*(self._scheduled or ()), *lines_of(schedule, places)]

    def _add(self, look: RecordLook, take: Callable[[RecordLook], None], where: str, names: Sequence[str]) -> None:
        """Records taken in. Those that a bug keeps out are findings, and the named rules could not look at them."""
        for rows, made in isolated(range(look.size), lambda rows: take(look.part(rows)), where):
            if isinstance(made, ProgramFault):
                self._faults.append(made)
                self._lost.append(bug(rows, made, look))
                self._lost += [finding(name, NotLooked(rows, FAILED), look, self.policy) for name in names]

    def finish(self, fetch: Fetch | None = None) -> JobOutcome:
        """What is found across all records taken in.

        fetch(record_ids): reads records again, for near copies; without it only equal curves are reported.
        """
        policy = self.policy
        schedule = ScheduledLinks(self._scheduled) if self._scheduled is not None else None
        look = JobLook(self._facts, schedule, self.today)
        tables, faults = list(self._lost), list(self._faults)
        for name, function in job_rules().items():
            if policy.severity(name) == OFF:
                continue
            made = attempt(partial(answers, name, function, look, policy), name)
            if isinstance(made, ProgramFault):
                faults.append(made)
                made = failed(AboutLinks(), made, look, policy)
            tables += made
        copies = None
        if self._sketches is not None:
            found = attempt(partial(detector.find, self._sketches, fetch, policy), _CURVES)
            if isinstance(found, ProgramFault):
                faults.append(found)
                tables += failed(AboutLinks(), found, look, policy)
                tables += [finding(name, NotLooked(AboutLinks(), FAILED), look, policy) for name in detector.RULES]
            else:
                copies = found
                tables += copied(look, copies, fetch is not None, policy)
        return JobOutcome(
            findings.join(tables),
            tuple(faults),
            missing=tuple(line[0] for line in look.missing),
            unexpected=tuple(look.label[i] for i in look.unexpected),
            copies=copies,
            summary=summarise(look, self._set_aside, copies),
            facts=self._facts,
        )


def check_job(
    batches: Iterable[Batch] | Callable[[], Iterable[Batch]],
    schedule: pa.Table | None = None,
    policy: Policy | None = None,
    *,
    places: pa.Table | None = None,
    today: date | None = None,
) -> pa.Table:
    """Findings of all rules across records, as a table of the schema "findings".

    batches: a list of batches, or a function that begins anew each time it is called; of an iterator, which can be gone
    through only once, near copies are not looked for, and the findings say so. schedule: a table of the schema
    "schedule"; places: of its links, of the schema "places". A rule that fails by a bug raises the warning RuleFault.
    """
    again = batches if callable(batches) else (lambda: batches) if isinstance(batches, Sequence) else None
    job = JobCheck(policy, schedule=schedule, places=places, today=today)
    for batch in again() if again else batches:  # type: ignore[union-attr]
        job.add(batch)
    outcome = job.finish((lambda _: again()) if again else None)
    warn(outcome.faults)
    return outcome.findings
