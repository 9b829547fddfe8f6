"""Finding: one field that answers while one types, lines that narrow, columns of choice, and the same as a table."""

from __future__ import annotations

import csv
import io
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from starlette.responses import Response

from archive.answers.spreadsheet import guarded
from archive.answers.wording import Wording
from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.downloads import download
from archive.room.search import columns
from archive.room.search.columns import MARGIN, ChosenColumn
from archive.room.search.facets import FIELDS, Facets
from archive.room.search.search import ORDERS, SearchResult, Wanted
from archive.room.search.typed import Hit
from archive.store.catalogue.label_search import BEGINS, PART

AT_ONCE = 20
"""Links on one page."""

MOST_LINES = 8
"""Values of a field that are listed beside results."""

MOST_VALUES = 500
MOST_EXPORTED = 50_000

_DAYS = ("since", "until")
_KEPT = ("q", *FIELDS, "serial", *_DAYS, "order", "tests")
"""Names that a search consists of, besides its columns."""


_OPTIONS = {
    "q": "--link",
    "site": "--site",
    "job": "--job",
    "cable_type": "--cable-type",
    "limit": "--limit",
    "verdict": "--verdict",
    "serial": "--serial",
    "since": "--since",
    "until": "--until",
    "year": "",
}
"""Options of the command by names in the address; the year is told by its days."""


@dataclass(frozen=True)
class FoundLink:
    """One line of the answer. row: of the record that shows the link; fits: what was matched, in words; margins: by
    column."""

    row: Mapping[str, Any]
    fits: str
    margins: Mapping[str, float | None]


@dataclass(frozen=True)
class Narrowing:
    """One field beside the results. lines: (word, number, chosen); more: there are further words."""

    name: str
    head: str
    lines: list[tuple[str, int, bool]]
    more: bool


@dataclass(frozen=True)
class Answer:
    """What was found. count: links or tests, as far as they were kept; cut: there are more. after: record id to go on
    from, None on the last page. missed: the record to go on from is not among them any more."""

    sentence: str
    links: list[FoundLink]
    count: int
    cut: bool
    after: str | None
    missed: bool
    narrowing: list[Narrowing]
    notes: list[str]
    near: list[str]


def page(asked: PageRequest) -> Response:
    """The page of finding."""
    return asked.page("find.html", asked.words("Find"), _command(asked), **_shown(asked))


def rows(asked: PageRequest) -> Response:
    """What changes while one types; the lines that narrow follow once nobody types any more."""
    return asked.part("find_rows.html", **_shown(asked, later=True))


def narrow(asked: PageRequest) -> Response:
    """The lines that narrow what was found."""
    return asked.part("narrow.html", **_shown(asked))


def values(asked: PageRequest) -> Response:
    """All words of one field among what was found, with a box to look for one."""
    name, like = asked.needed("name"), (asked.text("like") or "").casefold()
    if name not in FIELDS:
        raise Trouble("no such field", code="room.address", found=name, expected=", ".join(FIELDS))
    wanted = _wanted(asked)
    facets, found = asked.look.searching.search(asked.look.archive, wanted)
    listed = [
        (word, n) for word, n in asked.look.searching.counts(facets, found, wanted, name) if like in word.casefold()
    ]
    return asked.page(
        "find_values.html",
        _heads(asked.words)[name],
        _command(asked),
        name=name,
        listed=listed[:MOST_VALUES],
        more=max(0, len(listed) - MOST_VALUES),
        like=asked.text("like"),
        given=_given(asked),
        count=len(found.rows),
        cut=found.cut,
    )


def table(asked: PageRequest) -> Response:
    """What was found, with the columns chosen, as CSV for a spreadsheet."""
    archive = asked.look.archive
    _, found = asked.look.searching.search(archive, _wanted(asked))
    listed = found.rows[:MOST_EXPORTED].tolist()
    chosen = [c for c in columns.chosen(asked.all("col"), asked.words) if c.name != "record"]
    rows = columns.records(archive, listed)
    margins = columns.margins(archive, asked.look.measured, chosen, listed)
    out = io.StringIO()
    write = csv.writer(out).writerow
    write(["link", *(c.name for c in chosen), "record"])
    for at, row in enumerate(listed):
        line = [cell_text(rows[row], c.name) if c.name not in margins else _nth(margins[c.name], at) for c in chosen]
        write([guarded(cell) for cell in (rows[row]["link_label"], *line, rows[row]["record_id"])])
    return download(out.getvalue(), "records.csv", "text/csv")


def help_page(asked: PageRequest) -> Response:
    """Keys, words, licences."""
    return asked.page("help.html", asked.words("Help"), "muniment --help")


def cell_text(row: Mapping[str, Any], name: str) -> Any:
    """What stands in a column of facts; None where nothing is stated."""
    if name == "tested":
        return row["tested_local"] or row["tested_at"]
    if name == "role":
        return role_of(row)
    taken = {
        "job": "job_id",
        "limit": "limit_id",
        "reported": "reported_verdict",
        "unit": "local_serial",
        "far_unit": "remote_serial",
        "record": "record_id",
    }
    value = row[taken.get(name, name)]
    return (value or row["limit_found"]) if name == "limit" else (value or "not graded") if name == "verdict" else value


def role_of(row: Mapping[str, Any]) -> str:
    """Roles of a record: words of the field role."""
    now, then = row["unit"] == row["row"], row["accepted_unit"] == row["row"]
    return "accepted and current" if now and then else "current" if now else "accepted" if then else "in no role"


def _shown(asked: PageRequest, *, later: bool = False) -> dict[str, Any]:
    wanted, words = _wanted(asked), asked.words
    facets, found = asked.look.searching.search(asked.look.archive, wanted)
    chosen = columns.chosen(asked.all("col"), words)
    order = found.rows
    if (name := asked.text("order") or "").startswith(MARGIN) and not found.hits:
        order = _by_margin(asked, order, name.removeprefix(MARGIN))
    start, missed = _start(asked, order)
    listed = order[start : start + AT_ONCE].tolist()
    kept = columns.records(asked.look.archive, listed)
    margins = columns.margins(asked.look.archive, asked.look.measured, chosen, listed)
    links = [
        FoundLink(kept[row], _fit(found.hits.get(row), words), {name: _nth(v, at) for name, v in margins.items()})
        for at, row in enumerate(listed)
    ]
    more = len(order) > start + AT_ONCE
    answer = Answer(
        _sentence(found, wanted, start, len(listed), words),
        links,
        len(order),
        found.cut,
        links[-1].row["record_id"] if more and links else None,
        missed,
        [] if later else _narrowing(asked, facets, found, wanted),
        _notes(facets, found, asked, waiting=[c for c in chosen if margins.get(c.name, ()) is None]),
        found.near,
    )
    return {
        "answer": answer,
        "given": _given(asked),
        "later": later,
        "columns": chosen,
        "every_column": list(columns.headings(words).values()),
        "parameters": asked.look.measured.parameters(asked.look.archive) if not asked.partial else None,
        "orders": _orders(words),
        "cell": cell_text,
        "exported": MOST_EXPORTED,
        "exact": not any(asked.text(n) for n in FIELDS if n not in _OPTIONS) and not asked.text("order"),
    }


def _wanted(asked: PageRequest) -> Wanted:
    words = [(name, value) for name, value in asked.several if name in FIELDS]
    chosen = tuple(sorted((n, "" if v.strip() == NOT_STATED else v.strip()) for n, v in words if v.strip()))
    order = asked.text("order")
    days = {}
    for name in _DAYS:
        given = asked.text(name)
        if given is not None and not _is_day(given):
            raise Trouble(
                "this is no day", code="room.address", found=given, expected="such as 2019-05-02, 2019-05 or 2019"
            )
        days[name] = given
    return Wanted(
        asked.text("q") or "",
        chosen,
        asked.text("serial"),
        days["since"],
        days["until"],
        next((o for o in ORDERS if o == order), ORDERS[0]),
        asked.text("tests") is not None,
    )


NOT_STATED = "-"
"""In an address: the record states nothing."""


def _is_day(text: str) -> bool:
    from datetime import date

    try:
        date.fromisoformat(text + "-01-01"[len(text) - 4 :] if len(text) in (4, 7) else text)
    except ValueError:
        return False
    return len(text) in (4, 7, 10)


def _by_margin(asked: PageRequest, rows: Any, parameter: str) -> Any:
    values = asked.look.measured.margins(asked.look.archive, parameter)
    if values is None:
        return rows
    held = np.full(int(rows.max()) + 1 if len(rows) else 0, np.nan, np.float32)
    held[: min(len(held), len(values))] = values[: len(held)]
    return rows[np.argsort(held[rows], kind="stable")]


def _start(asked: PageRequest, order: Any) -> tuple[int, bool]:
    """Where the page begins: after the record that the address names; at the top, and that it is missed, where it is
    no more."""
    after = asked.text("after")
    if after is None:
        return 0, False
    found = asked.look.archive.db.execute("SELECT row FROM records WHERE record_id = ?", (after,)).fetchall()
    at = np.flatnonzero(np.isin(order, [r[0] for r in found]))
    return (int(at[0]) + 1, False) if len(at) else (0, True)


def _sentence(found: SearchResult, wanted: Wanted, start: int, shown: int, words: Wording) -> str:
    """One sentence for a reader, also for one who hears it."""
    count = len(found.rows)
    if not count:
        return words("Nothing found.")
    if wanted.tests:
        told = words.counted(count, "{count} test", "{count} tests")
    else:
        told = words.counted(count, "{count} link", "{count} links")
    if found.cut:
        told = words("More than {number}", number=told)
    if start or count > shown:
        return words("{number}; {first} to {last} are shown.", number=told, first=start + 1, last=start + shown)
    return told + "."


def _fit(hit: Hit | None, words: Wording) -> str:
    if hit is None or not hit.label:
        return words("by its words") if hit is not None else ""
    if hit.former:
        return words("former label {label}", label=hit.label)
    said = {BEGINS: words("beginning of the label"), PART: words("part of the label")}
    return said.get(hit.how, "")


def _notes(facets: Facets, found: SearchResult, asked: PageRequest, waiting: Sequence[ChosenColumn]) -> list[str]:
    words, told = asked.words, []
    hits = found.typed
    if hits is not None and hits.begun_alone:
        told.append(words("Of so short a text only beginnings of labels were looked at; type three letters or more."))
    if hits is not None and hits.slow:
        told.append(words("Looking took too long and was ended; give more of the label."))
    if hits is not None and hits.since is not None:
        told.append(words("Read as days: {first} to {last}.", first=hits.since, last=hits.until))
    if facets.upto < asked.look.head.size:
        told.append(words("Shows ledger entries to {number} of {all}.", number=facets.upto, all=asked.look.head.size))
    told += [words("{column} is still being worked out; look again in a while.", column=c.head) for c in waiting]
    return told


def _narrowing(asked: PageRequest, facets: Facets, found: SearchResult, wanted: Wanted) -> list[Narrowing]:
    out, chosen = [], dict(wanted.chosen)
    for name, head in _heads(asked.words).items():
        counts = asked.look.searching.counts(facets, found, wanted, name)
        listed = [(word, n, chosen.get(name) == word) for word, n in counts]
        if len(listed) > 1 or name in chosen:
            out.append(Narrowing(name, head, listed[:MOST_LINES], len(listed) > MOST_LINES))
    return out


def _heads(words: Wording) -> dict[str, str]:
    return {
        "site": words("Site"),
        "building": words("Building"),
        "floor": words("Floor"),
        "space": words("Space"),
        "job": words("Job"),
        "year": words("Year"),
        "cable_type": words("Cable"),
        "limit": words("Limit"),
        "verdict": words("Verdict"),
        "role": words("Role"),
        "medium": words("Medium"),
        "evidence": words("Evidence"),
        "unit": words("Unit, local end"),
    }


def _orders(words: Wording) -> dict[str, str]:
    heads = {"newest": words("newest test first"), "oldest": words("oldest test first")}
    return {**heads, "least margin": words("smallest leading margin first")}


def _given(asked: PageRequest) -> dict[str, Any]:
    listed = asked.all("col")
    return {**{n: asked.text(n) for n in _KEPT}, "col": [] if listed == list(columns.USUAL) else listed}


def _nth(values: Sequence[float | None] | None, at: int) -> float | None:
    return None if values is None else values[at]


def _command(asked: PageRequest) -> str:
    """The command that finds the same records, as far as it has the options."""
    parts = ["muniment", "find", str(asked.root)]
    given = {name: asked.text(name) for name in _OPTIONS}
    if year := asked.text("year"):
        given |= {"since": max(year, given["since"] or ""), "until": min(year, given["until"] or "9999")}
    for name, option in _OPTIONS.items():
        if option and (value := given.get(name)):
            parts += [option, value]
    return shlex.join(parts)
