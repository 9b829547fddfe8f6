"""A rule asked about a batch or a job: what it says as tables of findings, and the bug that stopped it."""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pyarrow as pa

from archive.isolation import ProgramFault
from archive.tables.arrow import Ints
from archive.validation.catalogue import findings
from archive.validation.catalogue.declared_rules import rules
from archive.validation.catalogue.policy import Policy
from archive.validation.catalogue.registry import AboutLinks, Answer, NotLooked, Raised, RuleFunction, Subjects

FAILED = "the rule failed by a fault of this program, not of the data"
BUG = "fault-of-this-program"
"""The rule under which bugs are found; its severity cannot be turned off."""


class RuleFault(Warning):
    """A rule failed: a bug of this program, never of the data."""


@dataclass(frozen=True)
class CheckOutcome:
    """findings: the table; faults: rules that failed by a bug of this program."""

    findings: pa.Table
    faults: tuple[ProgramFault, ...]


class Named(Protocol):
    """Records that rules look at."""

    def names(self, rows: Ints) -> tuple[pa.Array, pa.Array]:
        """Record ids and link labels of rows, two text arrays."""


def answers(name: str, function: RuleFunction, look: Named, policy: Policy) -> list[pa.Table]:
    """What one rule says of a look, as tables of findings."""
    tables = (finding(name, said, look, policy) for said in function(look, policy.tolerance(name)))
    return [t for t in tables if t.num_rows]


def finding(name: str, said: Answer, look: Named, policy: Policy) -> pa.Table:
    """One thing that a rule says, as a table of findings."""
    if isinstance(said.about, AboutLinks):
        labels = pa.array([x or None for x in said.about.labels], type=pa.string())
        ids = pa.nulls(len(labels), pa.string())
    else:
        ids, labels = look.names(np.asarray(said.about, dtype=np.int64))
    return findings.table(name, policy, ids, labels, said) if len(ids) else findings.empty()


def failed(about: Subjects, fault: ProgramFault, look: Named, policy: Policy) -> list[pa.Table]:
    """A rule that a bug stopped: it could not look at its subjects, and the bug is a finding of its own."""
    tables = [bug(about, fault, look)]
    if fault.where in rules():
        tables.append(finding(fault.where, NotLooked(about, FAILED), look, policy))
    return tables


def bug(about: Subjects, fault: ProgramFault, look: Named) -> pa.Table:
    """A bug of this program as findings, one for each subject."""
    return finding(BUG, Raised(about, where=fault.where, found=fault.what), look, Policy())


def warn(faults: Iterable[ProgramFault]) -> None:
    """Each bug as the warning RuleFault, at the line that called whoever calls this."""
    for fault in faults:
        text = f"{stage(fault)} failed, a fault of this program: {fault.what}"
        warnings.warn(text, RuleFault, stacklevel=3)


def stage(fault: ProgramFault) -> str:
    """Where a bug struck, in words."""
    return f"the rule {fault.where}" if fault.where in rules() else fault.where
