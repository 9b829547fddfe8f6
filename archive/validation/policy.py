"""Policy: which severity and which tolerances hold for an archive or a job.

A policy file:

    [severity]
    zone-missing = "error"        # error, warning, information, or off
    [tolerances.identifier-syntax]
    pattern = "[0-9]-TR[0-9]-[A-Z][0-9]{3}"
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from archive import vocabulary
from archive.errors import Trouble
from archive.validation import catalogue

OFF = "off"
"""A rule that is off is not run; the findings say nothing about it."""


@dataclass(frozen=True)
class Policy:
    """Severities and tolerances that differ from the catalogue. Policy() is the catalogue itself."""

    severities: Mapping[str, str] = field(default_factory=dict)
    tolerances: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def severity(self, rule: str) -> str:
        """Severity of a rule, or "off". Errors: UnknownRule."""
        return self.severities.get(rule) or catalogue.rule(rule).severity

    def tolerance(self, rule: str) -> dict[str, Any]:
        """All tolerances of a rule by name. Errors: UnknownRule."""
        return {**catalogue.rule(rule).tolerances, **self.tolerances.get(rule, {})}


def load(path: str | Path) -> Policy:
    """A policy from a TOML file.

    Errors: Trouble where it is no TOML, or names a rule, a severity or a tolerance that does not exist.
    """
    path = Path(path)
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Trouble(
            "this policy is not TOML", where=str(path), found=str(error), remedy="mend the line it names"
        ) from error
    return of(content, str(path))


def of(content: Mapping[str, Any], where: str = "policy") -> Policy:
    """A policy from a mapping, as in the file. Errors: Trouble, as for load."""
    for key in content:
        if key not in ("severity", "tolerances"):
            raise Trouble(
                "unknown part of a policy", where=where, found=f"[{key}]", expected="[severity], [tolerances]"
            )
    severities = _table(content.get("severity", {}), f"{where}: [severity]")
    words = [*sorted(vocabulary.words("severity")), OFF]
    for rule, word in severities.items():
        _known(rule, where)
        if word not in words:
            raise Trouble("unknown severity", where=f"{where}: {rule}", found=repr(word), expected=", ".join(words))
    tolerances = _table(content.get("tolerances", {}), f"{where}: [tolerances]")
    for rule, values in tolerances.items():
        _known(rule, where)
        _table(values, f"{where}: [tolerances.{rule}]")
        has = catalogue.rule(rule).tolerances
        for name, value in values.items():
            if name not in has:
                raise Trouble(
                    "this rule has no such tolerance",
                    where=f"{where}: {rule}",
                    found=name,
                    expected=", ".join(has) or "none",
                )
            if not _alike(value, has[name]):
                raise Trouble(
                    "a tolerance of another kind",
                    where=f"{where}: {rule}: {name}",
                    found=repr(value),
                    expected=f"a value like {has[name]!r}",
                )
            if name in _PATTERNS:
                _patterns(value, f"{where}: {rule}: {name}")
    return Policy(dict(severities), {k: dict(v) for k, v in tolerances.items()})


_PATTERNS = ("pattern", "forms")
"""Tolerances that hold regular expressions."""


def _table(content: Any, where: str) -> Mapping[str, Any]:
    if not isinstance(content, Mapping):
        raise Trouble(
            "this part of a policy is no table", where=where, found=repr(content), expected="name = value lines"
        )
    return content


def _patterns(value: Any, where: str) -> None:
    for pattern in [value] if isinstance(value, str) else value:
        try:
            re.compile(pattern)
        except re.error as error:
            raise Trouble(
                "this is no regular expression",
                where=where,
                found=repr(pattern),
                expected="a pattern that Python's re module reads",
                remedy=f"it says: {error}",
            ) from None


def _known(rule: str, where: str) -> None:
    if rule not in catalogue.rules():
        near = difflib.get_close_matches(rule, catalogue.rules(), n=3)
        raise Trouble(
            "there is no such rule",
            where=where,
            found=rule,
            expected=" or ".join(near) if near else "a name from `muniment rules list`",
        )


def _alike(value: Any, other: Any) -> bool:
    """True where both are numbers, or both of one kind. A list holds what its example holds, and as many where they
    are numbers; a table (by category, say) values of the kind of the example's; a day is a day."""
    if isinstance(value, list) and isinstance(other, list) and other:
        numbers = all(isinstance(o, int | float) for o in other)
        return bool(value) and (not numbers or len(value) == len(other)) and all(_alike(v, other[0]) for v in value)
    if isinstance(value, Mapping) and isinstance(other, Mapping) and other:
        return all(_alike(v, next(iter(other.values()))) for v in value.values())
    if isinstance(value, bool) or isinstance(other, bool):
        return isinstance(value, bool) and isinstance(other, bool)
    if isinstance(value, int | float) and isinstance(other, int | float):
        return True
    if isinstance(value, str) and isinstance(other, str) and _DAY.fullmatch(other):
        return bool(_DAY.fullmatch(value)) and _is_day(value)
    return isinstance(value, type(other))


_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True
