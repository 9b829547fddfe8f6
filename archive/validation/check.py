"""All rules over one batch of records."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.isolation import NOT_GRADED, ProgramFault, isolated
from archive.tables import Batch
from archive.tables.arrow import one_chunk
from archive.validation import catalogue
from archive.validation.catalogue import findings
from archive.validation.catalogue.answering import BUG, CheckOutcome, answers, bug, failed, finding, warn
from archive.validation.catalogue.policy import OFF, Policy
from archive.validation.catalogue.registry import AboutLinks, Raised
from archive.validation.look import RecordLook
from archive.validation.rules import record_rules


def check(batch: Batch, policy: Policy | None = None, *, today: date | None = None) -> pa.Table:
    """Findings of all rules over single records, as a table of the schema "findings".

    What a reader found while reading (batch["findings"]) and what was set aside come first, with the severity that
    the policy gives them. A rule that could not look at a record says so in a row of its own (status "could not
    look", severity information). today: the day that counts as today (default: the day of the clock, UTC).
    A rule that fails by a bug raises the warning RuleFault, and the records that it fails on count as not looked at.
    """
    outcome = run(batch, policy, today=today)
    warn(outcome.faults)
    return outcome.findings


def run(batch: Batch, policy: Policy | None = None, *, today: date | None = None) -> CheckOutcome:
    """As check, with the bugs beside the findings and no warning."""
    policy = policy or Policy()
    look = RecordLook(batch, today or datetime.now(UTC).date())
    tables, faults = _of_readers(batch, policy)
    tables += [_set_aside(batch, policy), _grading_failed(look)]
    tables += [bug(AboutLinks(), fault, look) for fault in faults]
    for name, function in record_rules().items():
        if policy.severity(name) == OFF or not look.size:
            continue
        parts = isolated(range(look.size), lambda rows: answers(name, function, look.part(rows), policy), name)  # noqa: B023
        for rows, made in parts:
            if isinstance(made, ProgramFault):
                faults.append(made)
                made = failed(rows, made, look, policy)
            tables += made
    return CheckOutcome(findings.join(tables), tuple(faults))


def _of_readers(batch: Batch, policy: Policy) -> tuple[list[pa.Table], list[ProgramFault]]:
    """What readers found, and intake into an archive, under the severity of the policy. A rule that the catalogue does
    not have is a bug."""
    given = batch["findings"]
    tables, faults = [], []
    for name in pc.unique(given.column("rule")).to_pylist():
        if name not in catalogue.rules():
            faults.append(ProgramFault(name, "a reader raised a rule that is not in the catalogue"))
            continue
        severity = policy.severity(name)
        if catalogue.rule(name).by not in ("reader", "archive", "program") or severity == OFF:
            continue
        mine = given.filter(pc.equal(given.column("rule"), name))
        blind = pc.equal(mine.column("status"), findings.COULD_NOT_LOOK)
        tables.append(_with(mine, "severity", pc.if_else(blind, "information", severity)))
    return tables, faults


def _set_aside(batch: Batch, policy: Policy) -> pa.Table:
    """What could not be read, each as a finding."""
    name, aside = "record-set-aside", batch["set_aside"]
    if not aside.num_rows or policy.severity(name) == OFF:
        return findings.empty()
    rows = aside.to_pylist()
    said = Raised(
        range(len(rows)),
        where=[", ".join(p for p in (r["path"], r["place"]) if p) or "the file" for r in rows],
        found=[r["reason"] + (f": {r['found']}" if r["found"] else "") for r in rows],
        expected=[r["expected"] or "" for r in rows],
    )
    out = findings.table(name, policy, pa.nulls(len(rows), pa.string()), one_chunk(aside.column("link_label")), said)
    return _with(out, "remedy", pc.coalesce(one_chunk(aside.column("remedy")), out.column("remedy")))


def _grading_failed(look: RecordLook) -> pa.Table:
    """Records that were not graded because a bug struck them, each as a finding."""
    reasons = look.words("reason", "verdicts")
    at = np.flatnonzero([reason.startswith(NOT_GRADED) for reason in reasons])
    found = [reason.removeprefix(f"{NOT_GRADED}grading: ") for reason in reasons[at]]
    return finding(BUG, Raised(look.rows_for("verdicts")[at], where="grading", found=found), look, Policy())


def _with(table: pa.Table, name: str, column: pa.Array | pa.ChunkedArray) -> pa.Table:
    """A table with one column in the place of another."""
    at = table.schema.get_field_index(name)
    return table.set_column(at, table.schema.field(at), column)
