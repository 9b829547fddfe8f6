"""Findings of readers as rows of the table; their words stand in schemas/rules/."""

from __future__ import annotations

from typing import Any

from archive import schemas
from archive.version import PROGRAM


def finding(
    file: str,
    rule: str,
    *,
    where: str = "",
    found: str = "",
    expected: str = "",
    status: str = "raised",
    message: str = "",
) -> dict[str, Any]:
    """One row of findings, without record and link. file: that of the rule, without its ending.

    Errors: KeyError for a name that is not in the catalogue.
    """
    catalogue = schemas.load(f"rules/{file}.toml")
    entry = catalogue["rules"][rule]
    blind = status == "could not look"
    return {
        "rule": rule,
        "severity": "information" if blind else entry["severity"],
        "status": status,
        "where": where or None,
        "found": found or None,
        "expected": expected or None,
        "message": message or entry["message"].format(where=where, found=found, expected=expected),
        "remedy": None if blind else entry["remedy"],
        "program": PROGRAM,
        "rules_version": catalogue["group"]["version"],
    }
