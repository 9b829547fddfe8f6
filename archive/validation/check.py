"""All rules over one batch of records."""

from __future__ import annotations

import traceback
import warnings
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables import Batch
from archive.validation import catalogue, findings
from archive.validation.arrow import one
from archive.validation.look import Look
from archive.validation.policy import OFF, Policy
from archive.validation.registry import NotLooked, Raised, RecordRule, record_rules


class RuleFault(Warning):
    """A rule failed: a fault of this program, never of the data."""


@dataclass(frozen=True)
class Fault:
    """A fault of this program: the rule, what went wrong, and the traceback for the report to us."""

    rule: str
    what: str
    traceback: str


@dataclass(frozen=True)
class Outcome:
    """findings: the table; faults: rules that failed by our own fault."""

    findings: Any
    faults: tuple[Fault, ...]


def check(batch: Batch, policy: Policy | None = None, *, today: date | None = None) -> Any:
    """Findings of all rules over single records, as a table of the schema "findings".

    What a reader found while reading (batch["findings"]) and what was set aside come first, with the severity that
    the policy gives them. A rule that could not look at a record says so in a row of its own (status "could not
    look", severity information). today: the day that counts as today (default: the day of the clock, UTC).
    A rule that fails by our own fault raises the warning RuleFault, and its records count as not looked at.
    """
    outcome = run(batch, policy, today=today)
    for fault in outcome.faults:
        warnings.warn(f"the rule {fault.rule} failed, a fault of this program: {fault.what}", RuleFault, stacklevel=2)
    return outcome.findings


def run(batch: Batch, policy: Policy | None = None, *, today: date | None = None) -> Outcome:
    """As check, with our own faults beside the findings and no warning."""
    policy = policy or Policy()
    look = Look(batch, today or datetime.now(UTC).date())
    faults: list[Fault] = []
    tables = _of_readers(batch, policy, faults)
    tables.append(_set_aside(batch, policy))
    for name, function in record_rules().items():
        if policy.severity(name) == OFF or not look.size:
            continue
        said, fault = _ask(name, function, look, policy)
        tables.extend(said)
        if fault:
            faults.append(fault)
    return Outcome(findings.join(tables), tuple(faults))


def _ask(name: str, function: RecordRule, look: Look, policy: Policy) -> tuple[list[Any], Fault | None]:
    """Tables of what one rule says; where it fails, all records count as not looked at."""
    try:
        return [t for said in function(look, policy.tolerance(name)) if (t := _table(name, said, look, policy))], None
    except Exception as error:  # noqa: BLE001 - a fault in one rule must not cost the others
        fault = Fault(name, f"{type(error).__name__}: {error}", traceback.format_exc())
    why = "the rule failed by a fault of this program, not of the data"
    return [_table(name, NotLooked(look.all_rows, why), look, policy)], fault


def _table(name: str, said: Raised | NotLooked, look: Look, policy: Policy) -> Any:
    rows = np.asarray(said.rows, dtype=np.int64)
    if not len(rows):
        return None
    at = pa.array(rows)
    ids, labels = look.ids.take(at), one(look.records.column("link_label")).take(at)
    if isinstance(said, NotLooked):
        return findings.table(name, policy, ids, labels, status=findings.COULD_NOT_LOOK, message=said.why)
    return findings.table(name, policy, ids, labels, where=said.where, found=said.found, expected=said.expected)


def _of_readers(batch: Batch, policy: Policy, faults: list[Fault]) -> list[Any]:
    """What readers found, under the severity of the policy. A rule that the catalogue does not have is our fault."""
    given = batch["findings"]
    kept = []
    for name in pc.unique(given.column("rule")).to_pylist():
        if name not in catalogue.rules():
            faults.append(Fault(name, "a reader raised a rule that is not in the catalogue", ""))
            continue
        severity = policy.severity(name)
        if catalogue.rule(name).by != "reader" or severity == OFF:
            continue
        mine = given.filter(pc.equal(given.column("rule"), name))
        at = mine.schema.get_field_index("severity")
        said = pc.if_else(pc.equal(mine.column("status"), findings.COULD_NOT_LOOK), "information", severity)
        kept.append(mine.set_column(at, mine.schema.field(at), said))
    return kept


def _set_aside(batch: Batch, policy: Policy) -> Any:
    """What could not be read, each as a finding."""
    name, aside = "record-set-aside", batch["set_aside"]
    if not aside.num_rows or policy.severity(name) == OFF:
        return findings.empty()
    rows = aside.to_pylist()
    out = findings.table(
        name,
        policy,
        pa.nulls(len(rows), pa.string()),
        one(aside.column("link_label")),
        where=[", ".join(p for p in (r["path"], r["place"]) if p) or "the file" for r in rows],
        found=[r["reason"] + (f": {r['found']}" if r["found"] else "") for r in rows],
        expected=[r["expected"] or "" for r in rows],
    )
    at = out.schema.get_field_index("remedy")
    remedies = pc.coalesce(one(aside.column("remedy")), out.column("remedy"))
    return out.set_column(at, out.schema.field(at), remedies)
