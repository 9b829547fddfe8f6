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
    """Everything that stands on the page. late: links that were tested, or are missing, after their day."""

    summary: JobSummary
    schedule: str
    made_on: date
    found: tuple[RuleCount, ...]
    blind: tuple[tuple[str, str, int], ...]
    faults: int
    late: tuple[str, ...]
    program: str
    rules_version: str

    @property
    def errors(self) -> int:
        """Findings of severity error about records and labels; missing links are counted apart."""
        return sum(
            f.count for f in self.found if f.severity == "error" and f.rule not in ("link-missing", "record-set-aside")
        )

    @property
    def failing(self) -> tuple[str, ...]:
        """Links whose latest test fails."""
        return tuple(link.label for link in self.summary.links if link.verdict == "fail")

    @property
    def unjudged(self) -> tuple[str, ...]:
        """Links whose latest test has no verdict."""
        return tuple(link.label for link in self.summary.links if link.verdict not in ("pass", "fail"))

    @property
    def complete(self) -> bool:
        """Every scheduled link is there and passes, and nothing is open."""
        s = self.summary
        return not (s.missing or self.failing or self.unjudged or self.errors or s.set_aside or self.faults)


def facts(summary: JobSummary, collected: Collected, *, made_on: date, schedule: str = "") -> AcceptanceFacts:
    """The facts of a job that was checked. schedule: name of its file, "" where there is none."""
    found = []
    for rule in collected.rules:
        first = collected.of(rule)[0] if collected.of(rule) else {"link_label": "", "message": ""}
        severity, count = collected.severity(rule), collected.totals[rule]
        found.append(RuleCount(severity, rule, count, first["link_label"] or "", first["message"]))
    late = tuple(dict.fromkeys(f["link_label"] for f in collected.of("link-late") if f["link_label"]))
    blind = tuple((rule, why, n) for (rule, why), n in sorted(collected.blind.items()))
    return AcceptanceFacts(
        summary, schedule, made_on, tuple(found), blind, len(collected.faults), late, PROGRAM, catalogue.version()
    )
