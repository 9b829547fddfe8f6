"""Findings as the table of the link record."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pyarrow as pa

from archive.tables import no_rows, schema
from archive.validation import catalogue
from archive.validation.policy import Policy
from archive.version import __version__

PROGRAM = f"muniment {__version__}"
RAISED, COULD_NOT_LOOK, INPUT_CHANGED = "raised", "could not look", "input changed"

Text = str | Sequence[str]


def empty() -> Any:
    """No findings."""
    return no_rows("findings")


def table(
    name: str,
    policy: Policy,
    record_ids: Any,
    link_labels: Any,
    *,
    where: Text = "",
    found: Text = "",
    expected: Text = "",
    status: str = RAISED,
    message: Text | None = None,
) -> Any:
    """Findings of one rule as a table. record_ids, link_labels: Arrow arrays of equal length n; each text is one for
    all rows or n. The message is the rule's own, filled in, unless one is given.

    Errors: UnknownRule where the catalogue has no such rule.
    """
    rule = catalogue.rule(name)
    rows = len(record_ids)
    if message is None:
        if all(isinstance(t, str) for t in (where, found, expected)):
            message = rule.message.format(where=where, found=found, expected=expected)
        else:
            three = zip(_spread(where, rows), _spread(found, rows), _spread(expected, rows), strict=True)
            message = [rule.message.format(where=w, found=f, expected=e) for w, f, e in three]
    severity = policy.severity(name) if status != COULD_NOT_LOOK else "information"
    columns = {
        "rule": _column(name, rows),
        "severity": _column(severity, rows),
        "status": _column(status, rows),
        "record_id": record_ids,
        "link_label": link_labels,
        "where": _column(where, rows),
        "found": _column(found, rows),
        "expected": _column(expected, rows),
        "message": _column(message, rows, keep_empty=True),
        "remedy": _column(rule.remedy if status != COULD_NOT_LOOK else "", rows),
        "program": _column(PROGRAM, rows),
        "rules_version": _column(catalogue.version(), rows),
    }
    want = schema("findings")
    return pa.table([columns[f.name] for f in want], schema=want)


def spoken(name: str, *, where: str = "", found: str = "", expected: str = "") -> dict[str, Any]:
    """One finding about an archive as a whole, with the keys that findings have in the documents of commands.

    Errors: UnknownRule where the catalogue has no such rule.
    """
    rule = catalogue.rule(name)
    return {
        "rule": name,
        "severity": rule.severity,
        "record": None,
        "link": None,
        "where": where or None,
        "found": found or None,
        "expected": expected or None,
        "message": rule.message.format(where=where, found=found, expected=expected),
        "remedy": rule.remedy,
    }


def join(tables: Sequence[Any]) -> Any:
    """Several tables of findings as one."""
    return pa.concat_tables([empty(), *tables]).combine_chunks()


def _spread(text: Text, rows: int) -> Sequence[str]:
    return [text] * rows if isinstance(text, str) else text


def _column(text: Text, rows: int, *, keep_empty: bool = False) -> Any:
    """A text column; "" is null."""
    if isinstance(text, str):
        return pa.repeat(pa.scalar(text if text or keep_empty else None, type=pa.string()), rows)
    return pa.array([t if t or keep_empty else None for t in text], type=pa.string())
