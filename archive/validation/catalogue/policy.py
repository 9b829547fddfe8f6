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
from datetime import date
from pathlib import Path
from typing import Any, get_args

from msgspec import Struct

from archive import schemas
from archive.errors import Trouble
from archive.structs import convert
from archive.validation.catalogue.declared_rules import Severity, rule, rules

OFF = "off"
"""A rule that is off is not run; the findings say nothing about it."""
_PATTERNS = ("pattern", "forms")
"""Tolerances that hold regular expressions."""
_DAY = re.compile(r"\d{4}-\d\d-\d\d")


class Policy(Struct, frozen=True, forbid_unknown_fields=True, rename={"severities": "severity"}):
    """Severities and tolerances that differ from the catalogue. Policy() is the catalogue itself."""

    severities: dict[str, str] = {}
    tolerances: dict[str, dict[str, Any]] = {}

    def severity(self, name: str) -> str:
        """Severity of a rule, or "off". Errors: UnknownRule."""
        return self.severities.get(name) or rule(name).severity

    def tolerance(self, name: str) -> dict[str, Any]:
        """All tolerances of a rule by name. Errors: UnknownRule."""
        return {**rule(name).tolerances, **self.tolerances.get(name, {})}


def load(path: str | Path) -> Policy:
    """A policy from a TOML file.

    Errors: Trouble where it is not TOML, or names a rule, a severity or a tolerance that does not exist.
    """
    path = Path(path)
    try:
        content = schemas.toml(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Trouble(
            "this policy is not TOML",
            code="policy.not-toml",
            where=str(path),
            found=str(error),
            remedy="correct the line it names",
        ) from error
    return of(content, str(path))


def of(content: Mapping[str, Any], where: str = "policy") -> Policy:
    """A policy from a mapping, as in the file. Errors: Trouble, as for load."""
    policy = convert(content, Policy, where, code="policy.unreadable")
    words = [*sorted(get_args(Severity)), OFF]
    for name, word in policy.severities.items():
        _known(name, where)
        if word not in words:
            raise Trouble(
                "unknown severity",
                code="policy.unknown-severity",
                where=f"{where}: {name}",
                found=repr(word),
                expected=", ".join(words),
            )
    for name, values in policy.tolerances.items():
        _known(name, where)
        for key, value in values.items():
            _tolerance(value, rule(name).tolerances, key, f"{where}: {name}")
    return policy


def _tolerance(value: Any, declared: Mapping[str, Any], key: str, where: str) -> None:
    """A tolerance of a policy, checked against those that the catalogue declares for the rule."""
    if key not in declared:
        raise Trouble(
            "this rule has no such tolerance",
            code="policy.unknown-tolerance",
            where=where,
            found=key,
            expected=", ".join(declared) or "none",
        )
    where = f"{where}: {key}"
    if not _alike(value, declared[key]):
        raise Trouble(
            "a tolerance of another kind",
            code="policy.other-kind",
            where=where,
            found=repr(value),
            expected=f"a value like {declared[key]!r}",
        )
    if key not in _PATTERNS:
        return
    for pattern in [value] if isinstance(value, str) else value:
        try:
            re.compile(pattern)
        except re.error as error:
            raise Trouble(
                "this is no regular expression",
                code="policy.not-a-pattern",
                where=where,
                found=repr(pattern),
                expected="a pattern that Python's re module reads",
                remedy=f"it says: {error}",
            ) from None


def _known(name: str, where: str) -> None:
    if name not in rules():
        near = difflib.get_close_matches(name, rules(), n=3)
        raise Trouble(
            "there is no such rule",
            code="rules.unknown",
            where=where,
            found=name,
            expected=" or ".join(near) if near else "a name from `muniment rules list`",
        )


def _alike(value: Any, other: Any) -> bool:
    """True where both are numbers, or both of one kind. A list has items like those of its example, and as many where
    they are numbers; a table (by category, say) has values like those of its example; a day is a day."""
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


def _is_day(text: str) -> bool:
    try:
        return bool(date.fromisoformat(text))
    except ValueError:
        return False
