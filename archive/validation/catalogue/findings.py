"""Findings as the table of the link record."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pyarrow as pa

from archive.tables import no_rows, schema
from archive.validation.catalogue.declared_rules import rule, version
from archive.validation.catalogue.policy import Policy
from archive.validation.catalogue.registry import Answer, NotLooked, Text
from archive.version import __version__

PROGRAM = f"muniment {__version__}"
RAISED, COULD_NOT_LOOK, INPUT_CHANGED = "raised", "could not look", "input changed"


def empty() -> pa.Table:
    """No findings."""
    return no_rows("findings")


def table(name: str, policy: Policy, record_ids: pa.Array, link_labels: pa.Array, said: Answer) -> pa.Table:
    """Findings of one rule as a table of the schema "findings".

    record_ids, link_labels: texts of equal length n, null where there is none. What could not be looked at has the
    severity information and no remedy. Errors: UnknownRule where the catalogue has no such rule.
    """
    declared = rule(name)
    rows = len(record_ids)
    if isinstance(said, NotLooked):
        texts: dict[str, Text] = {"message": said.why, "remedy": "", "where": "", "found": "", "expected": ""}
        severity, status = "information", COULD_NOT_LOOK
    else:
        three = (said.where, said.found, said.expected)
        message: Text
        if all(isinstance(t, str) for t in three):
            message = _message(declared.message, *three)
        else:
            spread = ([t] * rows if isinstance(t, str) else t for t in three)
            message = [_message(declared.message, *each) for each in zip(*spread, strict=True)]
        texts = dict(zip(("where", "found", "expected"), three, strict=True))
        texts |= {"message": message, "remedy": declared.remedy}
        severity, status = policy.severity(name), RAISED
    texts |= {"rule": name, "severity": severity, "status": status, "program": PROGRAM, "rules_version": version()}
    columns = {key: _column(text, rows, keep_empty=key == "message") for key, text in texts.items()}
    columns |= {"record_id": record_ids, "link_label": link_labels}
    want = schema("findings")
    return pa.table([columns[f.name] for f in want], schema=want)


def about_archive(name: str, *, where: str = "", found: str = "", expected: str = "") -> dict[str, Any]:
    """One finding about an archive as a whole, with the keys that findings have in the documents of commands.

    Errors: UnknownRule where the catalogue has no such rule.
    """
    declared = rule(name)
    return {
        "rule": name,
        "severity": declared.severity,
        "record": None,
        "link": None,
        "where": where or None,
        "found": found or None,
        "expected": expected or None,
        "message": _message(declared.message, where, found, expected),
        "remedy": declared.remedy,
    }


def join(tables: Sequence[pa.Table]) -> pa.Table:
    """Several tables of findings as one."""
    return pa.concat_tables([empty(), *tables]).combine_chunks()


def _message(form: str, where: Text, found: Text, expected: Text) -> str:
    return form.format(where=where, found=found, expected=expected)


def _column(text: Text, rows: int, *, keep_empty: bool = False) -> pa.Array:
    """A text column; "" is null."""
    if isinstance(text, str):
        return pa.repeat(pa.scalar(text if text or keep_empty else None, type=pa.string()), rows)
    return pa.array([t if t or keep_empty else None for t in text], type=pa.string())
