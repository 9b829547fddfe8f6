"""All rules across the records of a job, and what the job comes to."""

from __future__ import annotations

import importlib
import pkgutil
import traceback
import warnings
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from typing import Any

import numpy as np
import pyarrow as pa

from archive.errors import Trouble
from archive.tables import Batch
from archive.validation import catalogue, findings
from archive.validation.check import Fault, Outcome, RuleFault
from archive.validation.copies import detector
from archive.validation.copies.detector import Copies, Fetch
from archive.validation.job import registry
from archive.validation.job.facts import Facts
from archive.validation.job.links import JobLook
from archive.validation.job.registry import AboutLinks, CouldNot, JobRule, Said
from archive.validation.job.rules.schedule import missing, unexpected
from archive.validation.job.schedule import Schedule
from archive.validation.job.summary import Summary, summarise
from archive.validation.look import Look
from archive.validation.policy import OFF, Policy
from archive.validation.registry import NotLooked, Raised

_OURS = "the rule failed by a fault of this program, not of the data"
_COPIES = (detector.EXACT, detector.SOME, detector.NEAR)


@dataclass(frozen=True)
class JobOutcome(Outcome):
    """findings and faults as of Outcome; missing and unexpected: labels; copies: pairs that agree, None where nothing
    was compared; summary: the job in numbers."""

    missing: tuple[str, ...]
    unexpected: tuple[str, ...]
    copies: Copies | None
    summary: Summary
    facts: Facts

    def places(self, record_ids: Sequence[str]) -> dict[str, str]:
        """File and place in it by record id."""
        wanted = set(record_ids)
        both = zip(self.facts["record_id"], self.facts["source"], strict=True)
        return {record: place for record, place in both if record in wanted}


class Job:
    """Takes in the records of a job batch by batch, and says at the end what holds across them.

    schedule: a table of the schema "schedule", or None; with_copies: compare curves too.
    """

    def __init__(
        self,
        policy: Policy | None = None,
        *,
        schedule: Any = None,
        today: date | None = None,
        with_copies: bool = True,
    ) -> None:
        self.policy = policy or Policy()
        self.today = today or datetime.now(UTC).date()
        self._schedules = [schedule] if schedule is not None else []
        self._facts = Facts()
        wanted = with_copies and any(self.policy.severity(r) != OFF for r in _COPIES)
        self._sketches = detector.sketches_for(self.policy) if wanted else None
        self._set_aside = 0
        self._faults: list[Fault] = []

    def add(self, batch: Batch) -> None:
        """Takes in one batch."""
        self._facts.add(Look(batch, self.today))
        if self._sketches is not None:
            try:
                self._sketches.add(batch)
            except Exception as error:  # noqa: BLE001 - a fault in comparing curves must not cost the rules
                self._give_up(error)
        if batch["schedule"].num_rows:
            self._schedules.append(batch["schedule"])
        self._set_aside += batch["set_aside"].num_rows

    def _give_up(self, error: Exception) -> None:
        """Curves are not compared any more: a fault of ours."""
        what = f"{type(error).__name__}: {error}"
        self._faults = [Fault(name, what, traceback.format_exc()) for name in _COPIES]
        self._sketches = None

    def finish(self, fetch: Fetch | None = None) -> JobOutcome:
        """What holds across all records taken in.

        fetch(record_ids): reads records again, for near copies; without it only equal curves are told.
        """
        schedule = Schedule(pa.concat_tables(self._schedules)) if self._schedules else None
        look = JobLook(self._facts, schedule, self.today)
        tables: list[Any] = []
        faults: list[Fault] = []
        for name, function in job_rules().items():
            if self.policy.severity(name) != OFF:
                made, fault = _ask(name, function, look, self.policy)
                tables += made
                faults += [fault] if fault else []
        copies = self._compared(fetch)
        if copies is not None:
            tables += _copies(look, copies, fetch is not None, self.policy)
        tables += [_table(f.rule, CouldNot(_OURS), look, self.policy) for f in self._faults]
        return JobOutcome(
            findings.join(tables),
            (*faults, *self._faults),
            missing=tuple(missing(look)),
            unexpected=tuple(unexpected(look)),
            copies=copies,
            summary=summarise(look, self._set_aside),
            facts=self._facts,
        )

    def _compared(self, fetch: Fetch | None) -> Copies | None:
        if self._sketches is None:
            return None
        try:
            return detector.find(self._sketches, fetch, self.policy)
        except Trouble:
            raise
        except Exception as error:  # noqa: BLE001 - as in add
            self._give_up(error)
            return None


def check_job(
    batches: Iterable[Batch] | Callable[[], Iterable[Batch]],
    schedule: Any = None,
    policy: Policy | None = None,
    *,
    today: date | None = None,
) -> Any:
    """Findings of all rules across records, as a table of the schema "findings".

    batches: a list of batches, or a function that begins anew each time it is called; of an iterator, which can be gone
    through only once, near copies are not looked for, and the findings say so. schedule: a table of the schema
    "schedule". A rule that fails by our own fault raises the warning RuleFault.
    """
    again = batches if callable(batches) else (lambda: batches) if isinstance(batches, Sequence) else None
    job = Job(policy, schedule=schedule, today=today)
    for batch in again() if again else batches:  # type: ignore[union-attr]
        job.add(batch)
    outcome = job.finish((lambda _: again()) if again else None)
    for fault in outcome.faults:
        warnings.warn(f"the rule {fault.rule} failed, a fault of this program: {fault.what}", RuleFault, stacklevel=2)
    return outcome.findings


@cache
def job_rules() -> dict[str, JobRule]:
    """The functions of all rules across records, in the order of the catalogue."""
    package = importlib.import_module("archive.validation.job.rules")
    for module in pkgutil.iter_modules(package.__path__):
        importlib.import_module(f"{package.__name__}.{module.name}")
    return {name: registry.functions[name] for name in catalogue.rules() if name in registry.functions}


def _ask(name: str, function: JobRule, look: JobLook, policy: Policy) -> tuple[list[Any], Fault | None]:
    try:
        return [t for said in function(look, policy.tolerance(name)) if (t := _table(name, said, look, policy))], None
    except Exception as error:  # noqa: BLE001 - a fault in one rule must not cost the others
        fault = Fault(name, f"{type(error).__name__}: {error}", traceback.format_exc())
    why = CouldNot(_OURS)
    return [_table(name, why, look, policy)], fault


def _table(name: str, said: Said, look: JobLook, policy: Policy) -> Any:
    if isinstance(said, AboutLinks | CouldNot):
        labels = pa.array([x or None for x in said.labels], type=pa.string())
        ids = pa.nulls(len(labels), pa.string())
        if isinstance(said, CouldNot):
            return findings.table(name, policy, ids, labels, status=findings.COULD_NOT_LOOK, message=said.why)
        return (
            findings.table(name, policy, ids, labels, where=said.where, found=said.found, expected=said.expected)
            if len(labels)
            else None
        )
    rows = np.asarray(said.rows, dtype=np.int64)
    if not len(rows):
        return None
    labels = pa.array([x or None for x in look["link_label"][rows]], type=pa.string())
    if isinstance(said, NotLooked):
        return findings.table(name, policy, look.ids(rows), labels, status=findings.COULD_NOT_LOOK, message=said.why)
    assert isinstance(said, Raised)
    return findings.table(
        name, policy, look.ids(rows), labels, where=said.where, found=said.found, expected=said.expected
    )


def _copies(look: JobLook, copies: Copies, looked_near: bool, policy: Policy) -> list[Any]:
    """Pairs as findings, one for each record of a pair and rule."""
    out = []
    for name in _COPIES:
        if policy.severity(name) == OFF:
            continue
        mine = [p for p in copies.pairs if p.rule == name]
        partners: dict[str, list[tuple[Any, str]]] = {}
        labels: dict[str, str] = {}
        for pair in mine:
            partners.setdefault(pair.a, []).append((pair, pair.label_b))
            partners.setdefault(pair.b, []).append((pair, pair.label_a))
            labels |= {pair.a: pair.label_a, pair.b: pair.label_b}
        if partners:
            found = [_curves(p[0][0]) for p in partners.values()]
            where = [f"{p[0][0].kind}, correlation {p[0][0].score:.3f}" for p in partners.values()]
            others = [_others([label for _, label in p]) for p in partners.values()]
            ids = pa.array(list(partners), type=pa.string())
            names = pa.array([labels[i] or None for i in partners], type=pa.string())
            out.append(findings.table(name, policy, ids, names, where=where, found=found, expected=others))
        if name == detector.NEAR and not looked_near and len(look.facts):
            why = "the records cannot be read a second time, which near copies need"
            out.append(_table(name, CouldNot(why), look, policy))
    return out


def _curves(pair: Any) -> str:
    names = " and ".join(p.replace("_", " ").replace("next", "NEXT") for p in pair.parameters)
    return f"{pair.curves} of {pair.of} curves of {names}"


def _others(labels: list[str]) -> str:
    named = list(dict.fromkeys(x or "a record without a label" for x in labels))
    return ", ".join(named[:3]) + (f" and {len(named) - 3} more" if len(named) > 3 else "")
