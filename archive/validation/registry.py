"""Which function answers for which rule, and what a rule may say.

A rule function looks at a whole batch and yields Raised and NotLooked. It never returns a verdict "passed":
silence about a record it could look at is all that a pass is.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from archive.validation import catalogue

if TYPE_CHECKING:
    from archive.validation.look import Look

Text = str | Sequence[str]
"""One text for all rows, or one per row."""


@dataclass(frozen=True)
class Raised:
    """The rule found something. rows: rows of the records table, one per finding; texts as in a finding."""

    rows: Any
    where: Text = ""
    found: Text = ""
    expected: Text = ""


@dataclass(frozen=True)
class NotLooked:
    """The rule could not look at these records. rows: rows of the records table; why: what is not there."""

    rows: Any
    why: Text


Said = Raised | NotLooked
Tolerances = Mapping[str, Any]
RecordRule = Callable[["Look", Tolerances], Iterator[Said]]

_functions: dict[str, RecordRule] = {}


def rule(name: str) -> Callable[[RecordRule], RecordRule]:
    """Says that a function answers for a rule over single records.

    Errors: UnknownRule where the catalogue has no such rule; ValueError where it is not one over single records,
    or two functions answer for one rule.
    """
    entry = catalogue.rule(name)
    if entry.by != "record":
        raise ValueError(f"{name} is raised by {entry.by}")

    def register(function: RecordRule) -> RecordRule:
        if name in _functions:
            raise ValueError(f"two functions answer for {name}")
        _functions[name] = function
        return function

    return register


@cache
def record_rules() -> dict[str, RecordRule]:
    """The functions of all rules over single records, in the order of the catalogue."""
    from archive.validation import rules as package

    for module in pkgutil.iter_modules(package.__path__):
        importlib.import_module(f"{package.__name__}.{module.name}")
    return {name: _functions[name] for name in catalogue.rules() if name in _functions}


def rows_of(mask: Any) -> Any:
    """Row numbers where a boolean array is true."""
    return np.flatnonzero(mask)
