"""What the acceptance report states, taken from a checked job."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from archive.validation import catalogue
from archive.validation.catalogue.findings import PROGRAM
from archive.validation.job import JobSummary
from archive.validation.report import Collected

LAPSED = "calibration-expired"


@dataclass(frozen=True)
class RuleCount:
    """Findings of one rule: severity, name of the rule, number, and one of them as an example."""

    severity: str
    rule: str
    count: int
    example: Mapping[str, Any]


@dataclass(frozen=True)
class AcceptanceFacts:
    """Everything that stands on the page. lapsed: links with a test by a unit whose calibration had run out."""

    summary: JobSummary
    schedule: str
    made_on: date
    found: tuple[RuleCount, ...]
    blind: tuple[tuple[str, str, int], ...]
    faults: int
    program: str
    rules_version: str
    lapsed: tuple[str, ...] = ()

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
        first = collected.of(rule)[0] if collected.of(rule) else {}
        found.append(RuleCount(collected.severity(rule), rule, collected.totals[rule], first))
    blind = tuple((rule, why, n) for (rule, why), n in sorted(collected.blind.items()))
    lapsed = tuple(sorted({f["link_label"] for f in collected.of(LAPSED) if f["link_label"]}))
    return AcceptanceFacts(
        summary, schedule, made_on, tuple(found), blind, len(collected.faults), PROGRAM, catalogue.version(), lapsed
    )
