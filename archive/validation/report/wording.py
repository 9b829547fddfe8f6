"""Findings in words for a terminal: rule by rule, the gravest first, repeats capped with the total printed."""

from __future__ import annotations

from collections.abc import Iterator

from archive.validation import catalogue
from archive.validation.catalogue.answering import stage
from archive.validation.report.collect import Collected

MOST = 5
"""Findings of one rule that are shown, unless more are asked for."""


def lines(collected: Collected, most: int = MOST) -> Iterator[str]:
    """Lines about what was found; most: how many findings of one rule are shown."""
    for rule in collected.rules:
        total = collected.totals[rule]
        yield f"{collected.severity(rule)}: {rule} ({count(total, 'finding')})"
        shown = collected.of(rule)[:most]
        for row in shown:
            place = ", ".join(p for p in (row["link_label"], row["source"]) if p)
            yield f"  {place}: {row['message']}" if place else f"  {row['message']}"
        if total > len(shown):
            yield f"  and {total - len(shown)} more; {total} in all"
        remedy = shown[0]["remedy"] if shown else catalogue.rule(rule).remedy
        if remedy:
            yield f"  What to do: {remedy}"
    for (rule, why), number in sorted(collected.blind.items()):
        yield f"could not look: {rule} ({count(number, 'record') if number else 'the job'}): {why}"
    for fault in collected.faults.values():
        yield f"a fault of this program, not of your data: {stage(fault)} failed ({fault.what})"


def total(collected: Collected) -> str:
    """One line: how much was looked at and what came of it."""
    words = [count(collected.severities[w], w) for w in ("error", "warning")]
    words.append(f"{collected.severities['information']} for information")
    return f"{count(collected.records, 'record')}, {collected.set_aside} set aside: {', '.join(words)}"


def count(number: int, what: str) -> str:
    """A number with its noun."""
    return f"{number} {what}" + ("" if number == 1 else "s")
