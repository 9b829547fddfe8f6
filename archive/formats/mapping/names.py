"""Names of columns: headings as they stand, merged ones joined, repeated ones told apart."""

from __future__ import annotations

from collections.abc import Sequence

JOIN = " | "
"""Between the heading of a group and that of its column."""


def tidy(cell: object) -> str:
    """A heading on one line, without blanks around it."""
    return " ".join(str(cell).split()) if cell is not None else ""


def distinct(headings: Sequence[str]) -> list[str]:
    """Headings with repeated ones told apart: "dB", "dB (2)"; an empty one is named by its place: "column 5"."""
    out: list[str] = []
    seen: dict[str, int] = {}
    for i, heading in enumerate(headings, 1):
        name = heading or f"column {i}"
        seen[name] = seen.get(name, 0) + 1
        out.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return out


def merged(rows: Sequence[Sequence[object]]) -> list[str]:
    """One heading per column from several rows of headings; in all but the last an empty cell repeats its left one.

    A group's name holds up to the next one of its row, and no further than the group of the row above.
    """
    width = max(len(r) for r in rows)
    table = [[tidy(c) for c in r] + [""] * (width - len(r)) for r in rows]
    for level, row in enumerate(table[:-1]):
        # A heading with nothing below it names its own column; it is no group that its neighbours belong to.
        groups = [any(t[i] for t in table[level + 1 :]) for i in range(width)]
        for i in range(1, width):
            if not row[i] and row[i - 1] and not groups[i - 1]:
                continue
            new_above = any(table[k][i] and table[k][i] != table[k][i - 1] for k in range(level))
            if not row[i] and not new_above and any(t[i] for t in table[level + 1 :]):
                row[i] = row[i - 1]
    return [JOIN.join(dict.fromkeys(t[i] for t in table if t[i])) for i in range(width)]
