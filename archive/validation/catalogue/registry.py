"""What a rule may say, and which function answers for which rule.

A rule function looks at a whole batch, or at a whole job, and yields Raised and NotLooked. It never returns a verdict
"passed": silence about a record it could look at is all that a pass is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from archive.validation.catalogue.declared_rules import rule as declared
from archive.validation.catalogue.declared_rules import rules

Text = str | Sequence[str]
"""One text for all rows, or one per row."""


@dataclass(frozen=True)
class AboutLinks:
    """Labels of links, where a rule speaks of links and not of records; "" is the job as a whole."""

    labels: Sequence[str] = ("",)


Row = int | np.integer[Any]
Subjects = npt.NDArray[np.integer[Any]] | Sequence[Row] | AboutLinks
"""Row numbers of the records that a rule speaks of, one per finding, or links."""


@dataclass(frozen=True)
class Raised:
    """The rule found something. about: one subject per finding; texts as in a finding."""

    about: Subjects
    where: Text = ""
    found: Text = ""
    expected: Text = ""

    @classmethod
    def each(cls, hits: Sequence[tuple[Row, str, str]], names: npt.NDArray[np.object_] | None = None) -> Raised:
        """One finding per (row, found, expected). names: the place in words, by row."""
        rows, found, expected = zip(*hits, strict=True) if hits else ((), (), ())
        return cls(rows, "" if names is None else [str(names[row]) for row in rows], found, expected)


@dataclass(frozen=True)
class NotLooked:
    """The rule could not look at these subjects. why: what is not there."""

    about: Subjects
    why: Text


Answer = Raised | NotLooked
Tolerances = Mapping[str, Any]
RuleFunction = Callable[..., Iterator[Answer]]
"""Takes the look at a batch or at a job, and the tolerances of the rule."""
Function = TypeVar("Function", bound=RuleFunction)

_functions: dict[str, RuleFunction] = {}


def rule(name: str) -> Callable[[Function], Function]:
    """Says that a function answers for a rule over single records or across those of a job.

    Errors: UnknownRule where the catalogue has no such rule; ValueError where readers or commands raise it, or two
    functions answer for it.
    """
    by = declared(name).by
    if by not in ("record", "job"):
        raise ValueError(f"{name} is raised by {by}")

    def register(function: Function) -> Function:
        if name in _functions:
            raise ValueError(f"two functions answer for {name}")
        _functions[name] = function
        return function

    return register


def registered(by: str) -> dict[str, RuleFunction]:
    """The functions of all rules over records ("record") or across a job ("job"), in the order of the catalogue."""
    return {n: _functions[n] for n, r in rules().items() if r.by == by and n in _functions}
