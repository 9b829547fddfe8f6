"""What parts the cells of a text: the mark by which its rows form rectangles of one type for each column."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from archive.formats.draft import cells as cell_kinds
from archive.formats.draft.fixed import recut
from archive.formats.draft.rectangles import LastRun, body_at, filled
from archive.formats.mapping.model import SourceFile
from archive.formats.mapping.rows.text_rows import splitter

MARKS = ("\t", ";", "|", ",")
_LINES = 240
"""Lines that are cut by each mark."""
_LONGEST = 4000
"""Letters of a line that are looked at; a longer one holds curves."""


def cut(lines: Sequence[str], other: int = 0) -> tuple[str, str]:
    """The delimiter of some lines, and its quote: a mark, or "blanks" or "space" for report text. other: 1 for the
    second best one, and so on."""
    some = [line for line in lines[:3000] if line.strip()]
    if not some:
        return "blanks", ""
    few = [line[:_LONGEST] for line in lines[:_LINES]]
    scores = {m: _rectangles(few, m) + 0.25 * _runs(some, m) for m in MARKS if any(m in line for line in some)}
    scores["blanks"] = _rectangles(few, "blanks") + 0.1
    ranked = sorted(scores, key=lambda m: (scores[m], m != "blanks"), reverse=True)
    best = ranked[min(other, len(ranked) - 1)]
    if best == "blanks" and _single_blanks(some):
        return "space", ""
    return best, "" if best == "blanks" else '"'


def _rectangles(lines: Sequence[str], mark: str) -> float:
    """Share of the letters of some lines that stand in tables, each weighed by how many of its columns have a type."""
    split = splitter(SourceFile("1", "report" if mark == "blanks" else "delimited", (), delimiter=mark, quote='"'))
    cut_lines = [[str(c) for c in split(line)] for line in lines]
    if mark == "blanks":
        recut(lines, cut_lines)
    kinds = [cell_kinds.kinds(r) for r in cut_lines]
    total = sum(map(len, lines)) or 1
    score, i, last = 0.0, 0, LastRun()
    while i < len(cut_lines):
        body = body_at(cut_lines, kinds.__getitem__, i, False, last) if filled(cut_lines[i]) else None
        if body is None:
            i += 1
            continue
        inside = [k for k in range(body.first, body.stop) if filled(cut_lines[k])]
        clear = sum(k in "ndpv" for r in inside for k in kinds[r] if k)
        words = sum(k in "tw" for r in inside for k in kinds[r] if k)
        score += sum(len(lines[k]) for k in range(i, body.stop)) / total * (clear + 0.3 * words) / (clear + words or 1)
        i = body.stop
    return score


def _runs(lines: Sequence[str], mark: str) -> float:
    """Share of the lines that stand in runs of equally many marks, weighed by how many."""
    counts = [_count(line, mark) for line in lines]
    total = 0.0
    for i, n in enumerate(counts):
        if n and ((i and counts[i - 1] == n) or (i + 1 < len(counts) and counts[i + 1] == n)):
            total += 1 if n > 1 else 0.8
    return total / len(lines)


def _count(line: str, mark: str) -> int:
    if '"' in line:
        try:
            return len(next(csv.reader(io.StringIO(line), delimiter=mark), [])) - 1
        except csv.Error:
            return line.count(mark)
    return line.count(mark)


def _single_blanks(lines: Sequence[str]) -> bool:
    """Rows of numbers that single blanks part."""
    rows = [line.split() for line in lines if re.match(r"^\s*[-+<>]?\d", line)]
    wide = [r for r in rows if len(r) >= 3 and all(re.match(r"^[-+<>]?[\d.,]+(?:[eE][-+]?\d+)?$", c) for c in r)]
    single = [line for line in lines if re.match(r"^\s*[-+<>]?\d\S* \S", line)]
    return len(wide) >= 5 and len(wide) > 0.8 * len(rows) and len(single) > 0.5 * len(wide)
