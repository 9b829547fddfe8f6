"""Findings in words for a terminal: rule by rule, the gravest first, repeats capped with the total printed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from archive.validation import catalogue
from archive.validation.catalogue.answering import stage
from archive.validation.report.collect import Collected
from archive.vocabulary.ranges import ranges

MOST = 5
"""Different findings of one rule that are shown, unless more are asked for."""
_OWN = re.compile(r"\d{4}-\d\d-\d\dT|^re-[0-9a-f]{32}$")
"""What is found of one record alone: a time, or its id."""
_NAMED = 4
"""Ranges of labels, or files, that are named beside findings that say the same."""


def lines(collected: Collected, most: int = MOST) -> Iterator[str]:
    """Lines about what was found; most: how many findings of one rule are shown."""
    for rule in collected.rules:
        total = collected.totals[rule]
        yield f"{collected.severity(rule)}: {rule} ({count(total, 'finding')})"
        kept = collected.of(rule)
        alike = by_message(kept)
        said = 0
        for message, rows in list(alike.items())[:most]:
            said += len(rows)
            yield f"  {_places(rows)}: {message}" if _places(rows) else f"  {message}"
        if total > said and most:
            yield f"  and {total - said} more; {total} in all"
        elif total > said:
            yield f"  {total} in all"
        remedy = kept[0]["remedy"] if kept else catalogue.rule(rule).remedy
        if remedy:
            yield f"  What to do: {remedy}"
    for (rule, why), number in sorted(collected.blind.items()):
        yield f"could not look: {rule} ({count(number, 'record') if number else 'the job'}): {why}"
    for fault in collected.faults.values():
        yield f"a fault of this program, not of your data: {stage(fault)} failed ({fault.what})"


def by_message(rows: Iterable[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """Findings that say the same but for the label of their link, or the time or id that was found, together, the most
    first: what holds for a whole layout or unit is said once. By the message, in which dots stand for what differs."""
    made: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        said, label, found = row["message"], row["link_label"], row["found"]
        said = said.replace(label, "...") if label else said
        made.setdefault(said.replace(found, "...") if found and _OWN.search(found) else said, []).append(row)
    ordered = sorted(made.items(), key=lambda x: -len(x[1]))
    return {(found[0]["message"] if len(found) == 1 else said): found for said, found in ordered}


def _places(rows: list[dict[str, Any]]) -> str:
    """Where findings that say the same are: the link and its place, or the labels in ranges and the files."""
    if len(rows) == 1:
        return ", ".join(p for p in (rows[0]["link_label"], rows[0]["source"]) if p)
    labels = list(dict.fromkeys(r["link_label"] for r in rows if r["link_label"]))
    files = list(dict.fromkeys((r["source"] or "").split(", ")[0] for r in rows if r["source"]))
    parts = [count(len(rows), "finding")] if not labels else []
    for names in (ranges(sorted(labels)), files):
        more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
        parts += [", ".join(names[:_NAMED]) + more] if names else []
    return "; ".join(parts)


def total(collected: Collected) -> str:
    """One line: how much was looked at and what came of it."""
    words = [count(collected.severities[w], w) for w in ("error", "warning")]
    words.append(f"{collected.severities['information']} for information")
    return f"{count(collected.records, 'record')}, {collected.set_aside} set aside: {', '.join(words)}"


def count(number: int, what: str) -> str:
    """A number with its noun."""
    return f"{number} {what}" + ("" if number == 1 else "s")
