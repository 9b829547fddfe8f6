"""Findings of this reader as rows; their words and tolerances stand in schemas/rules/network-analyser.toml."""

from __future__ import annotations

from typing import Any

from archive import schemas
from archive.version import __version__

_FILE = "rules/network-analyser.toml"


def tolerances(rule: str) -> dict[str, float]:
    """Every number that a rule compares with. Errors: KeyError for a name that is not in the catalogue."""
    return dict(schemas.load(_FILE)["rules"][rule].get("tolerances", {}))


def finding(
    rule: str, *, where: str = "", found: str = "", expected: str = "", status: str = "raised", message: str = ""
) -> dict[str, Any]:
    """One row of findings, without record and link. Errors: KeyError for a name that is not in the catalogue."""
    catalogue = schemas.load(_FILE)
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
        "program": f"muniment {__version__}",
        "rules_version": catalogue["group"]["version"],
    }
