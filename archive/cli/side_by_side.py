"""A record of `muniment mapping try`: its source on the left, what became of it on the right, in 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from itertools import zip_longest
from typing import Any

_LEFT, _RIGHT = 36, 40


def side_by_side(record: dict[str, Any]) -> Iterator[str]:
    """Lines of at most 80 columns."""
    yield f"{record['link'] or 'no label'}  ({record['place']})"
    table = None
    yield f"  {'source':<{_LEFT}}  result"
    for row in record["rows"]:
        if row["table"] != table:
            table = row["table"]
            yield f"  table {table}" if table else "  no field takes"
        left = f"{row['from']}: {row['found']}" if row["found"] else ""
        right = f"{row['to']}: {row['value']}" if row["value"] and row["to"] else row["value"] or row["to"]
        for a, b in zip_longest(_folded(left, _LEFT), _folded(right, _RIGHT), fillvalue=""):
            yield f"  {a:<{_LEFT}}  {b}".rstrip()


def _folded(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent="  ", break_on_hyphens=False) or [""]
