"""Finds labels and tables in rows of cells."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from archive.formats.base import units, words
from archive.formats.draft import cells as cell_kinds
from archive.formats.draft import heading
from archive.formats.draft.rectangles import Body, Kinds, LastRun, body_at, filled, points_at
from archive.formats.mapping import names
from archive.formats.mapping.rows.cutter import IN_BRACKETS
from archive.formats.mapping.rows.labels import labels_of
from archive.vocabulary import phrases


@dataclass
class Item:
    """One thing in the order of the rows: labels, a note (text alone in its row), or a table."""

    row: int
    labels: list[tuple[str, Any]] = field(default_factory=list)
    note: str = ""
    body: Body | None = None
    blank: bool = False


def items(rows: list[list[Any]], ragged: bool) -> list[Item]:
    """Everything in some rows. ragged: rows end with their last cell, as those of sheets do."""
    out: list[Item] = []
    kinds: dict[int, list[str]] = {}

    def kind_row(i: int) -> list[str]:
        if i not in kinds:
            kinds[i] = cell_kinds.kinds(rows[i])
        return kinds[i]

    i, note, last = 0, "", LastRun()
    while i < len(rows):
        here = filled(rows[i])
        body = _body(rows, kind_row, i, out, ragged, last) if here else None
        if not here:
            out.append(Item(i, blank=True))
        elif body is not None:
            said = read_heading((note,)).parameters
            if (out and out[-1].labels and not said) or (body.no_headings and not said):
                note = ""
            body.title = note
            out.append(Item(i, body=body))
            i = body.stop
            continue
        elif labels := _labels(rows[i], kind_row(i)) or _among_labels(rows, kind_row, i, out):
            out.append(Item(i, labels=labels))
            note = note if IN_BRACKETS.match(note) else ""
        else:
            note = " ".join(names.tidy(rows[i][j]) for j in here)
            out.append(Item(i, note=note))
        i += 1
    return out


def _body(rows: list[list[Any]], kinds: Kinds, i: int, before: list[Item], ragged: bool, last: LastRun) -> Body | None:
    found = body_at(rows, kinds, i, ragged, last)
    if found is None and before and (before[-1].labels or before[-1].note):
        found = points_at(rows, kinds, i)
    return found


def _labels(row: list[Any], kinds: list[str]) -> list[tuple[str, Any]]:
    """Names and values of a row, or nothing where it is none of labels."""
    filled = [(j, names.tidy(c)) for j, c in enumerate(row) if c is not None and str(c).strip()]
    colons = [
        t
        for _, t in filled
        if re.match(r"^[#;* ]*[^\W\d_].{0,60}?(?:[:=](?:\s|$)|=\S|(?:\s?(?:\.\s?){2,}|\s\.\s)\s*\S|\.{3,})", t)
    ]
    if not colons:
        # A unit may stand in a cell of its own after its value.
        filled = [(j, t) for n, (j, t) in enumerate(filled) if n < 2 or n % 2 == 1 or units.find(t) is None]
        # Without colons: words of headings and values must alternate.
        first = [kinds[j] for j, _ in filled][0::2]
        second = [kinds[j] for j, _ in filled][1::2]
        if not first or len(first) != len(second) or any(k != "w" for k in first) or any(k == "w" for k in second):
            return []
        return [(filled[n][1], row[filled[n + 1][0]]) for n in range(0, len(filled), 2)]
    found = [(n, v) for n, v in labels_of(row) if n]
    named = sum(1 for n, _ in found if cell_kinds.is_heading(n)) if found else 0
    if not found or (named == 0 and len(filled) > 2):
        return []
    return [(n, v) for n, v in found]


def _among_labels(rows: list[list[Any]], kinds: Kinds, i: int, before: list[Item]) -> list[tuple[str, Any]]:
    """A name and a value among other labels: the name a word that nobody knows, or the value one of headings."""
    here = filled(rows[i])
    if here != [0, 1] or kinds(i)[0] not in ("w", "t") or not str(rows[i][0]).strip()[:1].isalpha():
        return []
    near = i + 1 < len(rows) and bool(_labels(rows[i + 1], kinds(i + 1)))
    beside = near or (bool(before) and bool(before[-1].labels) and before[-1].row == i - 1)
    return [(names.tidy(rows[i][here[0]]).rstrip(" :="), rows[i][here[1]])] if beside else []


def known_again(items: list[Item], rows: list[list[Any]]) -> None:
    """Takes a line of two cells for a name and its value, where its first cell is such a name elsewhere."""
    told = {n for item in items for n, _ in item.labels}
    for item in items:
        here = filled(rows[item.row]) if item.note else []
        name = names.tidy(rows[item.row][here[0]]).rstrip(" :=") if len(here) == 2 else ""
        if name in told:
            item.labels, item.note = [(name, rows[item.row][here[1]])], ""


def summary(row: list[Any]) -> str:
    """The word by which a row sums up, or is page furniture; "" for a row of the table."""
    filled = [names.tidy(c) for c in row if c is not None and str(c).strip()]
    if not filled:
        return ""
    text = phrases.phrase(filled[0].partition(":")[0])
    if heading.read(filled[0]).parameters:
        return ""  # "Suma mocy NEXT" is a power sum.
    listed = text.split()
    for size in range(len(listed), 0, -1):
        part = " ".join(listed[:size])
        if part in words.plain("summary") or part in words.plain("page"):
            return filled[0].partition(":")[0]
    return ""


def read_heading(levels: tuple[str, ...], context: tuple[str, ...] = ()) -> heading.Heading:
    """The reading of a column's heading within its context."""
    return heading.read(*context, *levels)
