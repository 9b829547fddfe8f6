"""Finds labels and tables in rows of cells."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from archive.formats.base import numbers, units, words
from archive.formats.draft import cells as cell_kinds
from archive.formats.draft import heading
from archive.formats.mapping import names
from archive.formats.mapping.headings import frequency_of
from archive.formats.mapping.rows.cutter import IN_BRACKETS
from archive.formats.mapping.rows.labels import labels_of
from archive.vocabulary import phrases

_VALUES = frozenset("ndv")

MOST_CAREFUL = 60_000
"""Cells of a table that are looked at one by one for its end; after that a number in its place is enough."""


@dataclass
class Body:
    """A table: rows of headings from `head`, its rows from `first` to `stop`, what stands right above."""

    head: int
    header_rows: int
    units_row: bool
    first: int
    stop: int
    headings: list[str]
    levels: list[tuple[str, ...]]
    title: str = ""
    cross: bool = False
    no_headings: bool = False


@dataclass
class Item:
    """One thing in the order of the rows: labels, a note (text alone in its row), or a table."""

    row: int
    labels: list[tuple[str, Any]] = field(default_factory=list)
    note: str = ""
    body: Body | None = None
    blank: bool = False


def items(rows: list[list[Any]], most_body: int = 100_000) -> list[Item]:
    """Everything in some rows."""
    out: list[Item] = []
    kinds = [cell_kinds.kinds(r) if i < 4000 else None for i, r in enumerate(rows)]

    def kind_row(i: int) -> list[str]:
        found = kinds[i]
        if found is None:
            found = kinds[i] = cell_kinds.kinds(rows[i])
        return found

    i, note = 0, ""
    while i < len(rows):
        k = kind_row(i)
        filled = [j for j, x in enumerate(rows[i]) if x is not None and str(x).strip()]
        if not filled:
            out.append(Item(i, blank=True))
            i += 1
            continue
        body = _table(rows, kind_row, i)
        if body is None and out and (out[-1].labels or out[-1].note):
            body = _points(rows, kind_row, i)
        if body is not None and out and out[-1].labels and not read_heading((note,)).parameters:
            note = ""
        if body is not None:
            body.title = note if not body.no_headings or read_heading((note,)).parameters else ""
            body.stop = _end(rows, kind_row, body, most_body)
            out.append(Item(i, body=body))
            i = body.stop
            continue
        labels = _labels(rows[i], k) or _among_labels(rows, kind_row, i, bool(out) and bool(out[-1].labels))
        if labels:
            out.append(Item(i, labels=labels))
            note = note if IN_BRACKETS.match(note) else ""
        else:
            note = " ".join(names.tidy(rows[i][j]) for j in filled)
            out.append(Item(i, note=note))
        i += 1
    return out


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


def _among_labels(rows: list[list[Any]], kind_row: Any, i: int, after: bool) -> list[tuple[str, Any]]:
    """A name and a value that is a word of headings itself ("Measurement", "Insertion loss"), among other labels."""
    filled = [j for j, c in enumerate(rows[i]) if c is not None and str(c).strip()]
    if len(filled) != 2 or kind_row(i)[filled[0]] != "w":
        return []
    before = after
    below = i + 1 < len(rows) and bool(_labels(rows[i + 1], kind_row(i + 1)))
    return [(names.tidy(rows[i][filled[0]]), rows[i][filled[1]])] if before or below else []


def _table(rows: list[list[Any]], kind_row: Any, i: int) -> Body | None:
    """A table whose headings begin at a row, or None."""
    if not _heading_like(rows, kind_row, i) or _name_and_value(rows, kind_row, i):
        return None
    if _title_of_cells(rows, kind_row, i) or any(_furniture(c) for c in rows[i]):
        return None
    for size in (1, 2, 3):
        last = i + size - 1
        if last >= len(rows) or not _heading_like(rows, kind_row, last, lower=size > 1):
            break
        below = last + 1
        unit_row = below < len(rows) and _unit_row(rows[below])
        first = below + unit_row
        while first < len(rows) and first <= below + unit_row + 1 and _rule(rows[first]):
            first += 1
        if first >= len(rows) or not _body_like(rows, kind_row, rows[last], first, rows[i : i + size]):
            continue
        block = list(rows[i : i + size])
        merged = names.merged(block)
        width = max(len(merged), len(rows[first]))
        merged += [""] * (width - len(merged))
        if sum(bool(h) for h in merged) < 2:
            continue
        heads = names.distinct(merged)
        levels = [tuple(h.split(names.JOIN)) for h in merged]
        if unit_row:
            levels = with_units(levels, rows[below])
        return Body(i, size, bool(unit_row), first, first, heads, levels)
    return None


_NAMED = re.compile(r"^[^\W\d_].{0,60}?(?::(\s|$)|(?:\s?(?:\.\s?){2,}|\s\.\s)\s*\S)")
"""A name and a colon, or dots that lead to a value."""

_RISING = 5


def _points(rows: list[list[Any]], kind_row: Any, i: int) -> Body | None:
    """A table without headings below a label or a title: rows of as many numbers each, of which the first rises."""
    before = -float("inf")
    width = len(rows[i])
    for k in range(i, i + _RISING):
        if k >= len(rows) or not 2 <= len(rows[k]) == width or set(kind_row(k)) != {"n"}:
            return None
        first = numbers.cell_number(str(rows[k][0]).strip().replace(",", "."))
        if first is None or first[0] <= before:
            return None
        before = first[0]
    heads = names.distinct([""] * width)
    return Body(i, 0, False, i, i, heads, [("",)] * width, no_headings=True)


def _furniture(cell: Any) -> bool:
    """Words of a page, with its number or date: "Page 3 of 9", "Printed on 2021-03-04"."""
    if not isinstance(cell, str) or len(cell) > 60 or not re.search(r"\d", cell):
        return False
    listed = phrases.phrase(cell).split()
    return any(" ".join(listed[:n]) in words.plain("page") for n in range(1, min(4, len(listed) + 1)))


def with_units(levels: list[tuple[str, ...]], row: Sequence[Any]) -> list[tuple[str, ...]]:
    """Headings with the units that stand in a row of their own."""
    said = [names.tidy(u) for u in row] + [""] * len(levels)
    out = [(*lv[:-1], f"{lv[-1]} [{u}]") if u and lv[-1] else lv for lv, u in zip(levels, said, strict=False)]
    return [(*lv[:-1], re.sub(r"\[[\[(](.*)[\])]\]$", r"[\1]", lv[-1])) for lv in out]


def _title_of_cells(rows: list[list[Any]], kind_row: Any, i: int) -> bool:
    """A title that its own commas cut into cells: a few at the left, above a much wider row of headings."""
    filled = [j for j, c in enumerate(rows[i]) if c is not None and str(c).strip()]
    if i + 1 >= len(rows) or filled != list(range(len(filled))):
        return False
    below = [j for j, c in enumerate(rows[i + 1]) if c is not None and str(c).strip()]
    return len(filled) <= 3 and len(below) > 2 * len(filled) and _heading_like(rows, kind_row, i + 1)


def _name_and_value(rows: list[list[Any]], kind_row: Any, i: int) -> bool:
    """Two cells in a row of which the first is a name, and the next row begins with a name too: labels. So are several
    names with a value each, where the row above or below is of such pairs too."""
    filled = [j for j, c in enumerate(rows[i]) if c is not None and str(c).strip()]
    if len(filled) > 2 and _pairs_of(rows, kind_row, i):
        return any(0 <= k < len(rows) and _pairs_of(rows, kind_row, k, 2) for k in (i - 1, i + 1))
    if len(filled) != 2 or kind_row(i)[filled[0]] != "w" or i + 1 >= len(rows):
        return False
    if _pairs_of(rows, kind_row, i + 1):
        return True
    below = [j for j, c in enumerate(rows[i + 1]) if c is not None and str(c).strip()]
    if len(below) < 2 or kind_row(i + 1)[below[0]] != "w":
        return False
    value = kind_row(i)[filled[1]] != "w" and len(below) == 2
    return value or (len(below) in (2, 3, 4) and kind_row(i + 1)[below[1]] != "n")


def _pairs_of(rows: list[list[Any]], kind_row: Any, i: int, least: int = 4) -> bool:
    """Whether a row is of names of facts, each with a value beside it that is no heading."""
    kinds = [k for k, c in zip(kind_row(i), rows[i], strict=False) if c is not None and str(c).strip()]
    cells = [names.tidy(c) for c in rows[i] if c is not None and str(c).strip()]
    if len(kinds) < least or len(kinds) % 2 or kinds[0] != "w" or any(k not in "wt" for k in kinds[0::2]):
        return False
    named = [read_heading((c.rstrip(" :"),)) for c in cells[0::2]]
    return any(h.fields for h in named) and not any(k in "wp" for k in kinds[1::2])


def _heading_like(rows: list[list[Any]], kind_row: Any, i: int, lower: bool = False) -> bool:
    row, kinds = rows[i], kind_row(i)
    filled = [j for j, c in enumerate(row) if c is not None and str(c).strip()]
    if len(filled) < (1 if lower else 2) and not (len(filled) == 1 and filled[0] > 0):
        return False
    some = [kinds[j] for j in filled]
    words_ = some.count("w") + some.count("p")
    if _frequencies([row[j] for j in filled]):
        return True
    if any(k in "nd" for k in some):
        return False
    spelt = [row[j] for j, k in zip(filled, some, strict=True) if k == "v" and len(str(row[j]).strip()) > 1]
    if spelt and some.count("w") <= len(spelt):
        return False
    if any(isinstance(row[j], str) and _NAMED.match(row[j].strip()) for j in filled[:1]):
        return False
    if words_ >= 0.4 * len(filled):
        return True
    # Headings in words that nobody knows: text above a row of numbers.
    if i + 1 < len(rows) and _frequencies([c for c in rows[i + 1] if c is not None and str(c).strip()]):
        return False
    nxt = kind_row(i + 1) if i + 1 < len(rows) else []
    numbers = sum(1 for j in filled if j < len(nxt) and nxt[j] == "n")
    return len(filled) >= 2 and numbers >= 0.5 * len(filled)


def _frequencies(cells: list[Any]) -> bool:
    """Headings of which most are rising frequencies."""
    found = [frequency_of(names.tidy(c)) for c in cells[1:]]
    rising = [f for f in found if f is not None]
    return len(rising) >= 8 and len(rising) >= 0.5 * len(found) and all(a < b for a, b in pairwise(rising))


def _unit_row(row: list[Any]) -> int:
    """1 where every filled cell of a row is a unit."""
    filled = [names.tidy(c).strip("[]() ") for c in row if c is not None and str(c).strip()]
    return int(len(filled) >= 1 and all(not c[:1].isdigit() and (units.find(c) or c in ("-", "–")) for c in filled))


def _rule(row: list[Any]) -> bool:
    """A line of dashes under the headings."""
    filled = [str(c).strip() for c in row if c is not None and str(c).strip()]
    return bool(filled) and all(re.fullmatch(r"[-=_+|. ]{2,}", c) for c in filled)


def _body_like(rows: list[list[Any]], kind_row: Any, last: list[Any], first: int, heads: list[list[Any]]) -> bool:
    """Whether a row can be the first of a table with these headings."""
    row, kinds = rows[first], kind_row(first)
    filled = {j for j, c in enumerate(row) if c is not None and str(c).strip()}
    above = {j for h in heads for j, c in enumerate(h) if c is not None and str(c).strip()}
    if len(filled) < 2 or not filled:
        return False
    covered = {j for j in filled if j in above or any(a <= j for a in above)}
    if len(covered) < 0.7 * len(filled):
        return False
    values = sum(kinds[j] in _VALUES for j in filled)
    same = [names.tidy(c) for c in row if c is not None] == [names.tidy(c) for c in last if c is not None]
    heading_words = sum(kinds[j] == "w" for j in filled)
    if same or (_labels(row, kinds) and any(str(c).strip().endswith(":") for c in row if isinstance(c, str))):
        return False
    if not values and any(k == "p" for k in kinds) and _heading_like(rows, kind_row, first, lower=True):
        return False
    return values >= 1 or (heading_words < 0.5 * len(filled) and len(filled) >= 0.5 * len(above))


def _end(rows: list[list[Any]], kind_row: Any, body: Body, most: int) -> int:
    """The row after the last one of a table."""
    pattern = kind_row(body.first)
    numeric_first = next((j for j, k in enumerate(pattern) if k == "n"), None)
    i, blank = body.first, 0
    width = len(body.headings)
    while i < len(rows) and i - body.first < most:
        row = rows[i]
        if not any(c is not None and str(c).strip() for c in row):
            blank += 1
            if blank > 1 or not _goes_on(rows, kind_row, i, pattern):
                break
            i += 1
            continue
        blank = 0
        if i - body.first > 40 and (i - body.first) * width > MOST_CAREFUL and _quick(row, numeric_first):
            i += 1
            continue
        kinds = kind_row(i)
        if body.no_headings and (len(row) != width or set(kinds) != {"n"}):
            break
        if i > body.first and not _member(rows, kind_row, i, body, pattern, kinds, width):
            break
        i += 1
    while i > body.first and not any(c is not None and str(c).strip() for c in rows[i - 1]):
        i -= 1
    return i


def _quick(row: list[Any], at: int | None) -> bool:
    if at is None or at >= len(row) or row[at] is None:
        return False
    cell = row[at]
    return not isinstance(cell, str) or cell.strip()[:1].isdigit()


def _goes_on(rows: list[list[Any]], kind_row: Any, i: int, pattern: list[str]) -> bool:
    if i + 1 >= len(rows) or summary(rows[i + 1]):
        return False
    below = kind_row(i + 1)
    common = [(a, b) for a, b in zip(pattern, below, strict=False) if a or b]
    return bool(common) and sum(a == b for a, b in common) >= 0.9 * len(common) and "n" in below


def _member(
    rows: list[list[Any]], kind_row: Any, i: int, body: Body, pattern: list[str], kinds: list[str], width: int
) -> bool:
    """Whether a row belongs to the table above it."""
    row = rows[i]
    filled = [j for j, c in enumerate(row) if c is not None and str(c).strip()]
    if len(filled) == 1 and width > 2 and kinds[filled[0]] != "n":
        return False
    first = row[filled[0]]
    if isinstance(first, str) and re.match(r"^[^\W\d_][^:]{0,60}?:(\s|$)", first.strip()) and kinds[filled[0]] != "d":
        return False
    tidy = [names.tidy(c) for c in row if c is not None and str(c).strip()]
    if tidy == [names.tidy(c) for c in rows[body.head + body.header_rows - 1] if c is not None and str(c).strip()]:
        return True  # The headings again, as on a new page.
    if _rule(row):
        return True
    begun = [j for j, p in enumerate(pattern) if p in ("n", "d", "v")]
    if begun and not any(j < len(kinds) and kinds[j] in ("n", "d", "v", "p") for j in begun):
        return any(k in _VALUES for k in kinds) and not _labels(row, kinds)
    if pattern[:1] == ["n"] and kinds[:1] not in (["n"], ["p"], [""]):
        return False
    return not (_alternates(row, kinds) and not _alternates(rows[body.first], pattern))


def _alternates(row: list[Any], kinds: list[str]) -> bool:
    filled = [k for k, c in zip(kinds, row, strict=False) if c is not None and str(c).strip()]
    return len(filled) >= 2 and len(filled) % 2 == 0 and all(k == "w" for k in filled[0::2]) and "w" not in filled[1::2]


def summary(row: list[Any]) -> str:
    """The word by which a row sums up, or is page furniture; "" for a row of the table."""
    filled = [names.tidy(c) for c in row if c is not None and str(c).strip()]
    if not filled:
        return ""
    text = phrases.phrase(filled[0].partition(":")[0])
    listed = text.split()
    for size in range(len(listed), 0, -1):
        part = " ".join(listed[:size])
        if part in words.plain("summary") or part in words.plain("page"):
            return filled[0].partition(":")[0]
    return ""


def read_heading(levels: tuple[str, ...], context: tuple[str, ...] = ()) -> heading.Heading:
    """The reading of a column's heading within its context."""
    return heading.read(*context, *levels)
