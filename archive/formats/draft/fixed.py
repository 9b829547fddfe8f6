"""Columns of fixed width in report text: where they begin, and lines cut there."""

from __future__ import annotations

import re
from collections.abc import Sequence

from archive.formats.mapping.rows.text_rows import fixed

_LEAST = 3
"""Cells from which on a line may be a row of a table."""


def recut(lines: Sequence[str], rows: list[list[str]]) -> None:
    """Cuts neighbouring lines of several cells at the columns that they share, in place, where some leave cells out."""
    i = 0
    while i < len(lines):
        stop = i
        while stop < len(lines) and len(rows[stop]) >= _LEAST:
            stop += 1
        counts = {len(r) for r in rows[i:stop]}
        if stop - i > 1 and len(counts) > 1:
            part = [line.expandtabs() for line in lines[i:stop]]
            starts = columns(part[:1], part[1:])
            if len(starts) >= max(counts):
                rows[i:stop] = [list(fixed(line, starts)) for line in part]
        i = max(stop, i + 1)


def columns(heads: list[str], lines: list[str]) -> tuple[int, ...]:
    """Where columns begin: where a line that underlines them says, or else between them no line has a character. What
    one blank parts is one column where only the rows, or only the headings, have a word there: "07-Jan-2019 08:00",
    "NEXT MRG"."""
    ruled = [line for line in [*heads, *lines] if re.fullmatch(r"\s*(?:[-=_]{2,}\s+){2,}[-=_]{2,}\s*", line)]
    if ruled:
        return tuple(m.start() for m in re.finditer(r"[-=_]{2,}", ruled[0]))
    width = max(map(len, [*heads, *lines]))
    above, below = ([any(i < len(r) and r[i] != " " for r in part) for i in range(width)] for part in (heads, lines))
    filled = [a or b for a, b in zip(above, below, strict=True)]
    spans: list[list[int]] = []
    for i in range(width):
        if filled[i] and (i == 0 or not filled[i - 1]):
            spans.append([i, i])
        if filled[i]:
            spans[-1][1] = i + 1
    out: list[list[int]] = []
    for low, high in spans:
        headed, used = any(above[low:high]), any(below[low:high])
        near = bool(out) and low - out[-1][1] == 1
        alone = bool(out) and not any(below[out[-1][0] : out[-1][1]])
        if near and (not headed or not used or alone):
            out[-1][1] = high
        else:
            out.append([low, high])
    return tuple(low for low, _ in out)
