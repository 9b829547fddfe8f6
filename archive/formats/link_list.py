"""Lists of links that lie among exports: what was to be built, and no test. They are read as schedules."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from typing import Any

from archive.errors import Trouble
from archive.formats import schedule
from archive.formats.base import words
from archive.formats.base.kinds import kind_of
from archive.formats.description import Description
from archive.formats.recognition import Entry, Recognition
from archive.formats.schedule_words import declared
from archive.tables import Batch
from archive.vocabulary.counted import counted

LAST = True
"""Asked where no other reader knows the file; a mapping that fits it is surer."""

LAYOUT = "link list"
SCORE = 0.6
_MOST_BYTES = 32 << 20
_UNIT = re.compile(r"[(\[].*?[)\]]")
_FRACTION = re.compile(r"[<>]?[+-]?\d+[.,]\d+")
"""A measured value, as far as one cell can say: a number with a fraction."""
_SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".ods", ".xlsb")


def recognise(entry: Entry) -> Recognition | None:
    """Whether a table lists links and says nothing of a test: no verdict, date of a test, unit or measured value."""
    if entry.suffix not in _SUFFIXES or not 0 < entry.size <= _MOST_BYTES:
        return None
    try:
        if kind_of(entry) not in ("text", "workbook"):
            return None
        heads, rows = schedule.table(entry.path, entry.name)
    except (Trouble, OSError, ValueError, csv.Error):
        return None
    if len(rows) < 2 or not _lists_links(heads, rows):
        return None
    return Recognition(SCORE, f"a list of {counted(len(rows), 'link')}, with no test in it", LAYOUT)


def read(entry: Entry, *, mapping: Any = None, draft: bool = True) -> Iterator[Batch]:
    """The list as a schedule. Errors: as schedule.read."""
    made = schedule.read(entry.path, name=entry.name)
    source = {**entry.source(layout=LAYOUT, reader="link list")}
    yield made.replace(sources=Batch.from_rows({"sources": [source]})["sources"])


def describe(entry: Entry, *, mapping: Any = None) -> Description:
    """What is in it: links to be built, no record."""
    out = Description(entry.name, LAYOUT)
    made = schedule.read(entry.path, name=entry.name)
    out.notes = [f"to be built: {counted(made['schedule'].num_rows, 'link')}; no test"]
    return out


def _lists_links(heads: list[str], rows: list[list[str]]) -> bool:
    """Whether headings name a link and what a schedule says of it, and nothing that only a test says."""
    of_tests = set(declared().tests)
    known = schedule.recognised(heads)
    if "link_label" not in known or (len(known) < 2 and sum(1 for h in heads if h.strip()) > 1):
        return False
    placed = {i for column, at in known.items() if column != "link_label" for i in at}
    for i, head in enumerate(heads):
        meant = words.meanings(_UNIT.sub("", head).strip())
        if i not in placed and any(m.kind in ("parameter", "generic") or m.id in of_tests for m in meant):
            return False
        cells = [row[i].strip() for row in rows if i < len(row) and row[i].strip()]
        if cells and sum(bool(words.meanings(c, "verdict")) for c in cells) > len(cells) / 2:
            return False
        if i not in placed and cells and sum(bool(_FRACTION.fullmatch(c)) for c in cells) > len(cells) / 2:
            return False
    at = [known[c][0] for c in ("link_label", "building", "floor", "space") if c in known]
    keys = [[row[i].strip() if i < len(row) else "" for i in at] for row in rows]
    links = [tuple(key) for key in keys if key[0]]
    return len(links) >= 0.8 * len(rows) and len(set(links)) >= 0.8 * len(links)
