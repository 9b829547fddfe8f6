"""Cables that are not what their words say, planted in simulated links: how many are found, how many invented."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from archive.demo.simulator import planted, simulate
from archive.validation.check import check

RULES = {
    "copper-clad": "copper-clad-suspected",
    "thin": "gauge-not-as-stated",
    "stranded": "stranded-not-solid",
}
"""What is planted, and the rule that is to find it."""

UNBALANCED = "pair-resistance-unbalanced"
"""Looked at beside them: no simulated pair is unbalanced."""

LEAST_FOUND = 0.95
MOST_FALSE = 0.001


def detection(planted_links: int, clean_links: int, seed: int) -> Iterator[dict[str, Any]]:
    """Figures by category and what was planted; breaks where fewer are found or more are false than promised."""
    for category in ("cat5e", "cat6", "cat6a"):
        for kind, rule in RULES.items():
            options: dict[str, Any] = {"category": category, "cable_is": kind, "cable_is_share": 1.0}
            assert (planted(planted_links, seed, **options)["cable_is"] == kind).all()
            by_rule = _raised(planted_links, seed, **options)
            others = set().union(*(links for other, links in by_rule.items() if other != rule))
            found = len(by_rule[rule])
            yield {
                "run": "cables",
                "category": category,
                "planted": kind,
                "links": planted_links,
                "found": found,
                "by another rule": len(others),
            }
            assert found >= LEAST_FOUND * planted_links, f"{kind} in {category}: {found} of {planted_links} found"
        false = {rule: len(links) for rule, links in _raised(clean_links, seed + 1, category=category).items()}
        yield {"run": "cables", "category": category, "planted": "nothing", "links": clean_links, **false}
        assert max(false.values()) <= MOST_FALSE * clean_links, f"false in clean {category}: {false}"


def _raised(count: int, seed: int, **options: Any) -> dict[str, set[str]]:
    """Links that each rule warns of."""
    found: dict[str, set[str]] = {rule: set() for rule in (*RULES.values(), UNBALANCED)}
    for batch in simulate(count, seed, **options):
        for finding in check(batch).to_pylist():
            if finding["rule"] in found and finding["severity"] == "warning":
                found[finding["rule"]].add(finding["record_id"])
    return found
