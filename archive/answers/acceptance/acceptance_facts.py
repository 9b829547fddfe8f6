"""What the acceptance report states, taken from a checked job."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from archive.validation import catalogue
from archive.validation.catalogue.findings import PROGRAM
from archive.validation.job import JobSummary
from archive.validation.report import Collected


@dataclass(frozen=True)
class RuleCount:
    """Findings of one rule: severity, name of the rule, number, and one of them as an example."""

    severity: str
    rule: str
    count: int
    link: str
    message: str


@dataclass(frozen=True)
class AcceptanceFacts:
    """Everything that stands on the page."""

    summary: JobSummary
    schedule: str
    made_on: date
    found: tuple[RuleCount, ...]
    blind: tuple[tuple[str, str, int], ...]
    faults: int
    program: str
    rules_version: str

    @property
    def errors(self) -> int:
        """Findings of severity error about records and labels; missing links are counted apart."""
        return sum(
            f.count for f in self.found if f.severity == "error" and f.rule not in ("link-missing", "record-set-aside")
        )

    @property
    def complete(self) -> bool:
        """Every scheduled link is there and passes, and nothing is open."""
        return self.summary.counts.complete and not (self.errors or self.summary.set_aside or self.faults)


def facts(summary: JobSummary, collected: Collected, *, made_on: date, schedule: str = "") -> AcceptanceFacts:
    """The facts of a job that was checked. schedule: name of its file, "" where there is none."""
    found = []
    for rule in collected.rules:
        first = collected.of(rule)[0] if collected.of(rule) else {"link_label": "", "message": ""}
        severity, count = collected.severity(rule), collected.totals[rule]
        found.append(RuleCount(severity, rule, count, first["link_label"] or "", first["message"]))
    blind = tuple((rule, why, n) for (rule, why), n in sorted(collected.blind.items()))
    return AcceptanceFacts(
        summary, schedule, made_on, tuple(found), blind, len(collected.faults), PROGRAM, catalogue.version()
    )
