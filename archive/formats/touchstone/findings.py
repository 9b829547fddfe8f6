"""Findings of this reader as rows; their words and tolerances stand in schemas/rules/network-analyser.toml."""

from __future__ import annotations

from functools import partial

from archive import schemas
from archive.formats.base import findings

_FILE = "network-analyser"

finding = partial(findings.finding, _FILE)
"""One row of findings by the name of its rule: archive.formats.base.findings.finding."""


def tolerances(rule: str) -> dict[str, float]:
    """Every number that a rule compares with. Errors: KeyError for a name that is not in the catalogue."""
    return dict(schemas.load(f"rules/{_FILE}.toml")["rules"][rule].get("tolerances", {}))
