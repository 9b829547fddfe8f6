"""Which function answers for which rule across records, and what it may say."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

from archive.validation import catalogue
from archive.validation.job.links import JobLook
from archive.validation.registry import NotLooked, Raised, Tolerances


@dataclass(frozen=True)
class AboutLinks:
    """The rule found something about links, or about the job as a whole ("" for a label), not about one record."""

    labels: Sequence[str]
    where: str | Sequence[str] = ""
    found: str | Sequence[str] = ""
    expected: str | Sequence[str] = ""


@dataclass(frozen=True)
class CouldNot:
    """The rule could not look at the job: what is not there."""

    why: str
    labels: Sequence[str] = field(default=("",))


Said = Raised | NotLooked | AboutLinks | CouldNot
JobRule = Callable[[JobLook, Tolerances], Iterator[Said]]

functions: dict[str, JobRule] = {}


def job_rule(name: str) -> Callable[[JobRule], JobRule]:
    """Says that a function answers for a rule across records. Errors: UnknownRule; ValueError, as for `rule`."""
    entry = catalogue.rule(name)
    if entry.by != "job":
        raise ValueError(f"{name} is raised by {entry.by}")

    def register(function: JobRule) -> JobRule:
        if name in functions:
            raise ValueError(f"two functions answer for {name}")
        functions[name] = function
        return function

    return register


__all__ = ["AboutLinks", "CouldNot", "JobRule", "NotLooked", "Raised", "Said", "functions", "job_rule"]
