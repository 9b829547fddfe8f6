"""Findings as one JSON document."""

from __future__ import annotations

from typing import Any

from archive.validation import catalogue
from archive.validation.catalogue.findings import PROGRAM
from archive.validation.report.collect import Collected
from archive.vocabulary.link_counts import LinkCounts

FINDING = ("rule", "severity", "status", "record", "link", "where", "found", "expected", "message", "remedy")


def document(collected: Collected, counts: LinkCounts) -> dict[str, Any]:
    """The document of `muniment check --json`.

    The counts of the links have the names of schemas/counts.toml.
    where: file and place in it, and the place in the record. counts: findings by rule, all of them, even where fewer
    are listed. could_not_look: rules that had nothing to look at, which is no pass. faults: bugs of this program.
    """
    return {
        "records": collected.records,
        "set_aside": collected.set_aside,
        "findings": [_finding(f) for rule in collected.rules for f in collected.of(rule)],
        "missing_links": counts.of("missing"),
        "unexpected_links": counts.of("unexpected"),
        **counts.plain(),
        "counts": {rule: collected.totals[rule] for rule in collected.rules},
        "severities": {word: collected.severities[word] for word in ("error", "warning", "information")},
        "could_not_look": [
            {"rule": rule, "records": count, "why": why} for (rule, why), count in sorted(collected.blind.items())
        ],
        "faults": [{"rule": f.where, "what": f.what} for f in collected.faults.values()],
        "rules_version": catalogue.version(),
        "program": PROGRAM,
    }


def _finding(row: dict[str, Any]) -> dict[str, Any]:
    said = {**row, "record": row["record_id"], "link": row["link_label"], "where": where(row)}
    return {key: said[key] for key in FINDING}


def where(row: dict[str, Any]) -> str | None:
    """File, place in it, and place in the record: week9/links.csv, row 118: NEXT local 1-2/3-6."""
    inside = row["where"] if row["where"] != row["link_label"] else None
    return ": ".join(p for p in (row["source"], inside) if p) or None
