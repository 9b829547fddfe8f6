"""A record of `muniment mapping try`: its source on the left, what became of it on the right, in 80 columns."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest
from typing import Any
from unicodedata import combining, east_asian_width

_LEFT, _RIGHT = 36, 40


def side_by_side(record: dict[str, Any]) -> Iterator[str]:
    """Lines of at most 80 columns."""
    yield from _folded(f"{record['link'] or 'no label'}  ({record['place']})", 80)
    table = None
    yield f"  {'source':<{_LEFT}}  result"
    for row in record["rows"]:
        if row["table"] != table:
            table = row["table"]
            yield f"  table {table}" if table else "  no field takes"
        left = f"{row['from']}: {row['found']}" if row["found"] else ""
        right = f"{row['to']}: {row['value']}" if row["value"] and row["to"] else row["value"] or row["to"]
        for a, b in zip_longest(_folded(left, _LEFT), _folded(right, _RIGHT), fillvalue=""):
            yield f"  {a}{' ' * (_LEFT - width(a))}  {b}".rstrip()


def width(text: str) -> int:
    """Columns of a terminal that a text takes: two for the wide characters of Unicode's annex 11, none for marks that
    are written over another."""
    return sum(0 if combining(c) else 2 if east_asian_width(c) in "WF" else 1 for c in text)


def _folded(text: str, most: int) -> list[str]:
    """A text in lines of so many columns, cut between words where these are not longer than a line."""
    out, line = [], ""
    for word in text.split():
        joined = f"{line} {word}" if line.strip() else line + word
        if width(joined) <= most:
            line = joined
            continue
        out += [line] if line.strip() else []
        line = "  " if out else ""
        for c in word:
            if width(line + c) > most:
                out.append(line)
                line = "  "
            line += c
    return [*out, line] if line.strip() or not out else out
