"""Finding: one field that answers while one types, lines that narrow, and the same as a table."""

from __future__ import annotations

import csv
import io
import shlex
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

from starlette.responses import Response

from archive.answers.spreadsheet import guarded
from archive.room.app import PageRequest
from archive.room.downloads import download
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.label_search import LabelMatch, matches
from archive.store.catalogue.search import find, matched

AT_ONCE = 20
"""Links on one page."""

COUNTED = 2_000
"""Records that are looked at for the lines that narrow."""

NARROWING = {
    "site": "Site",
    "job": "Job",
    "verdict": "Verdict",
    "year": "Year",
    "cable_type": "Cable",
    "limit": "Limit",
}
"""Names in the address, and headings."""

_COLUMNS = {"job": "job_id", "limit": "limit_id"}
_MOST_LINES = 8
_FILTERS = ("site", "job", "verdict", "cable_type", "limit", "serial", "since", "until")


@dataclass(frozen=True)
class FoundLink:
    """One link of the answer. row: of the record that shows it, the current one where there is one. tests: its records
    among those looked at. fits: what was matched, in words."""

    row: Mapping[str, Any]
    tests: int
    fits: str


@dataclass(frozen=True)
class Answer:
    """What was found. more: there are links beyond these. records: looked at; cut: there are more than were looked at.
    narrowing: by name in the address, (value, records, chosen) for the most frequent values."""

    links: list[FoundLink]
    more: bool
    records: int
    cut: bool
    narrowing: dict[str, list[tuple[str, int, bool]]]

    @property
    def sentence(self) -> str:
        """One sentence for a reader, also for one who hears it."""
        if not self.links:
            return "Nothing found."
        of = f"more than {self.records}" if self.cut else f"{self.records}"
        links = f"{len(self.links)} link{'s' * (len(self.links) != 1)}"
        first = f"The first {links}" if self.more else links
        return f"{first}, from {of} record{'s' * (self.records != 1)}."


def page(asked: PageRequest) -> Response:
    """The page of finding."""
    return asked.page("find.html", "Find", _command(asked), **_shown(asked))


def rows(asked: PageRequest) -> Response:
    """What changes while one types."""
    return asked.part("find_rows.html", **_shown(asked))


def table(asked: PageRequest) -> Response:
    """The records looked at, as CSV for a spreadsheet."""
    found, _ = _records(asked)
    names = ("link_label", "site", "job_id", "tested_local", "limit_id", "verdict", "leading_margin", "record_id")
    out = io.StringIO()
    csv.writer(out).writerows([names, *([guarded(row[name]) for name in names] for row in found)])
    return download(out.getvalue(), "records.csv", "text/csv")


def help_page(asked: PageRequest) -> Response:
    """Keys, words, licences."""
    return asked.page("help.html", "Help", "muniment --help")


def _shown(asked: PageRequest) -> dict[str, Any]:
    found, among = _records(asked)
    start = max(0, int(asked.text("after") or 0)) if (asked.text("after") or "0").isdecimal() else 0
    links = _links(found, among)
    some = links[start : start + AT_ONCE]
    answer = Answer(
        some,
        len(links) > start + AT_ONCE,
        len(found),
        len(found) >= COUNTED,
        {name: _lines(asked, found, name) for name in NARROWING},
    )
    given = {name: asked.text(name) for name in ("q", *_FILTERS, "year")}
    return {"answer": answer, "given": given, "headings": NARROWING, "after": start + AT_ONCE}


def _records(asked: PageRequest) -> tuple[list[Mapping[str, Any]], list[LabelMatch] | None]:
    """Records that fit, COUNTED at most, and by which labels; None where no label was typed."""
    db, typed = asked.look.archive.db, asked.text("q")
    wanted = _filters(asked)
    among = None if typed is None else matches(db, typed, job=wanted.job, site=wanted.site)
    if among is not None and not among:
        return [dict(r) for r in islice(find(db, wanted, text=typed, most=COUNTED), COUNTED)], None
    return [dict(r) for r in find(db, replace(wanted, link=typed), most=COUNTED, among=among)], among


def _filters(asked: PageRequest) -> Filters:
    given = {name: asked.text(name) for name in _FILTERS}
    year = asked.text("year")
    if year is not None:
        given |= {"since": max(year, given["since"] or ""), "until": min(year, given["until"] or "9999")}
    return Filters(**given)


def _links(found: Iterable[Mapping[str, Any]], among: list[LabelMatch] | None) -> list[FoundLink]:
    """Records of one link together, in the order in which their first one was found."""
    by_link: dict[Any, list[Mapping[str, Any]]] = {}
    for row in found:
        by_link.setdefault((row["link_key"], row["link"]), []).append(row)
    out = []
    for members in by_link.values():
        shown = next((r for r in members if r["unit"] == r["row"]), members[0])
        fits = "" if among is None else str(matched(among, members[0]))
        out.append(FoundLink(shown, len(members), fits))
    return out


def _lines(asked: PageRequest, found: Iterable[Mapping[str, Any]], name: str) -> list[tuple[str, int, bool]]:
    chosen = asked.text(name)
    count = Counter(_value(row, name) for row in found)
    listed = [(value, n, value == chosen) for value, n in count.most_common(_MOST_LINES) if value]
    return listed if len(listed) > 1 or chosen else []


def _value(row: Mapping[str, Any], name: str) -> str:
    if name == "year":
        return str(row["tested_local"] or row["tested_at"] or "")[:4]
    value = row[_COLUMNS.get(name, name)]
    return str(value or "") if name != "verdict" else str(value or "not graded")


def _command(asked: PageRequest) -> str:
    parts = ["muniment", "find", str(asked.root)]
    for name in ("q", *_FILTERS):
        if (value := asked.text(name)) is not None:
            parts += ["--link" if name == "q" else "--" + name.replace("_", "-"), value]
    return shlex.join(parts)
