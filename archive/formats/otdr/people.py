"""Who took a trace, as a row of people."""

from __future__ import annotations

import secrets
from functools import cache
from typing import Any

from archive.tables import person_key


def operator(name: str, record: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """The shared row of the operator, whose key goes into the record; nothing where nobody is named."""
    text = name.strip()
    if text in ("", "0"):
        return {}
    salt = _salt(text)
    record["operator_key"] = person_key(salt, text)
    return {"people": [{"person_key": record["operator_key"], "salt": salt, "name": text, "role": "operator"}]}


@cache
def _salt(name: str) -> str:
    """A random salt for each person, the same for all files of one run, so that one person stands once."""
    return secrets.token_hex(16)
