"""Some rules across records alone, over records without their curves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from functools import partial

import pyarrow as pa

from archive.isolation import ProgramFault, attempt
from archive.tables import Batch
from archive.validation.catalogue import findings
from archive.validation.catalogue.answering import answers, failed
from archive.validation.catalogue.policy import OFF, Policy
from archive.validation.catalogue.registry import AboutLinks
from archive.validation.look import JobLook, RecordLook
from archive.validation.look.job_facts import JobFacts
from archive.validation.rules import job_rules


def across(batches: Iterable[Batch], names: Sequence[str], today: date, policy: Policy | None = None) -> pa.Table:
    """Findings of the named rules across the records of all batches, as a table of the schema "findings"."""
    policy, facts = policy or Policy(), JobFacts()
    for batch in batches:
        facts.add(RecordLook(batch, today))
    look, tables = JobLook(facts, None, today), []
    for name in names:
        if policy.severity(name) == OFF:
            continue
        made = attempt(partial(answers, name, job_rules()[name], look, policy), name)
        tables += failed(AboutLinks(), made, look, policy) if isinstance(made, ProgramFault) else made
    return findings.join(tables)
