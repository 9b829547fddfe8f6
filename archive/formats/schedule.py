"""Link schedules: the links that were to be built, as a table of delimited text or a workbook, under any headings.

    batch = archive.formats.schedule.read("links.csv")
    batch["schedule"]

Headings are recognised by the words of schemas/words.toml and schemas/schedule.toml, or named by the caller. A list
with one label a line and no heading is a schedule too. What no column takes stands in the comment of its row.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats import cable_types
from archive.formats.base import dates, text, words
from archive.formats.base.findings import finding
from archive.formats.base.workbook import sheets
from archive.formats.recognition import Entry
from archive.formats.schedule_words import COLUMNS, PLACES, columns_by_heading, declared, not_built
from archive.tables import Batch, with_id
from archive.vocabulary import phrases

_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f]")
"""Characters that no table holds."""
_LOOK_AT = 20
_COUNTED = 4
"""So many labels that count from 1 are taken for row numbers."""
"""Lines in which the headings are looked for."""
_WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".ods", ".xlsb")
_DATES = (("YYYY-MM-DD",), ("DD.MM.YYYY", "DD.MM.YY"), ("DD/MM/YYYY", "DD-MM-YYYY"), ("MM/DD/YYYY", "MM-DD-YYYY"))


def read(
    path: str | Path, columns: Mapping[str, str] | None = None, *, job_id: str | None = None, name: str = ""
) -> Batch:
    """A schedule as a batch with the tables schedule, places and sources.

    columns: heading by column (link_label, required_limit, cable_type, due_on, bundle, version, site, building, floor,
    space, panel, port), where a person names them. job_id: the job that all its links belong to.
    name: what messages call the file. A label that is there twice at one place counts once, and a finding says so.
    Errors: Trouble where it cannot be read, no column holds labels, row numbers stand where labels should, or a date is
    unclear.
    """
    path = Path(path)
    data = path.read_bytes()
    rows = _lines(path, name or str(path))
    if not rows:
        raise Trouble(
            "this schedule is empty",
            code="schedule.empty",
            where=str(path),
            expected="a table with a label of a link in each row",
        )
    place, heads = _headings(rows, columns or {}, str(path))
    body = rows[place + 1 :] if place >= 0 else rows
    source = {
        "source_id": hashlib.sha256(data).hexdigest(),
        "path": path.name,
        "bytes": len(data),
        "layout": "schedule",
    }
    told: list[dict[str, Any]] = []
    made = _rows(body, rows[place][1] if place >= 0 else [], heads, str(path), job_id, told)
    schedule = {r["schedule_id"]: r for r, _ in made}
    places = {p["place_id"]: p for _, p in made if p}
    tables = {"schedule": schedule.values(), "places": places.values(), "sources": [source], "findings": told}
    return Batch.from_rows(tables)


def columns_read(path: Path, columns: Mapping[str, str] | None = None) -> dict[str, str]:
    """The heading that each column of a schedule is read from; of several that hold labels, the first.

    Errors: Trouble as read."""
    rows = _lines(path, str(path))
    place, heads = _headings(rows, columns or {}, str(path))
    return {} if place < 0 else {column: rows[place][1][at[0]].strip() for column, at in heads.items()}


def table(path: Path, name: str) -> tuple[list[str], list[list[str]]]:
    """Headings of a schedule as recognised, and its rows below them. Errors: Trouble where it is no table of links."""
    rows = _lines(path, name)
    if not rows:
        raise Trouble("this schedule is empty", code="schedule.empty", where=name)
    place, _ = _headings(rows, {}, name)
    return ([""], [r for _, r in rows]) if place < 0 else (rows[place][1], [r for _, r in rows[place + 1 :]])


def _lines(path: Path, name: str) -> list[tuple[int, list[str]]]:
    """Rows that hold anything, with their line numbers."""
    rows = _workbook(path, name) if path.suffix.lower() in _WORKBOOKS else _delimited(path.read_bytes(), name)
    return [(n, r) for n, r in rows if any(c.strip() for c in r)]


def _finding(rule: str, label: str, where: str, expected: str) -> dict[str, Any]:
    """Something about a row of a schedule, as a finding."""
    return {**finding("job_schedule", rule, where=where, found=label, expected=expected), "link_label": label}


def _delimited(data: bytes, where: str) -> list[tuple[int, list[str]]]:
    encoding = text.detect(data, whole=True)
    try:
        content = data[encoding.mark :].decode(encoding.name)
    except UnicodeDecodeError as error:
        raise Trouble(
            "this is no text",
            code="schedule.not-text",
            where=where,
            found=str(error),
            remedy="save the schedule as CSV in UTF-8",
        ) from None
    if control := _CONTROL.search(content):
        raise Trouble(
            "this is no text",
            code="schedule.not-text",
            where=where,
            found=f"the character {ord(control[0])} after {content[:20]!r}",
            expected="a table of links",
            remedy="name the list of links; a document is kept with `muniment attach`",
        )
    mark = _delimiter(content)
    reader = csv.reader(io.StringIO(content, newline=""), delimiter=mark, strict=True)
    rows: list[tuple[int, list[str]]] = []
    try:
        for row in reader:
            if any(c.count("\n") > 1 and mark in c for c in row):
                raise csv.Error("a quote is not closed")
            rows.append((reader.line_num, row))
    except csv.Error as error:
        first = rows[-1][0] + 1 if rows else 1
        raise Trouble(
            "this row cannot be read; a quote that is opened is perhaps not closed",
            code="schedule.not-a-table",
            where=f"{where}: line {first}",
            found="the end of the list inside a quote" if "unexpected end" in str(error) else str(error),
            expected="one link a row",
            remedy="hand in a list whose quotes are closed; nothing was taken from this one",
        ) from None
    return rows


def _delimiter(content: str) -> str:
    """The mark that cuts the first lines into equal numbers of cells; of several the one that cuts most."""
    lines = [x for x in content.splitlines()[:_LOOK_AT] if x.strip()]
    best, most = ",", 0
    for mark in (";", "\t", ",", "|"):
        counts = [len(next(csv.reader([x], delimiter=mark), [])) for x in lines]
        usual = max(set(counts), key=counts.count) if counts else 1
        score = counts.count(usual) * (usual - 1)
        if score > most:
            best, most = mark, score
    return best


def _workbook(path: Path, name: str) -> list[tuple[int, list[str]]]:
    """Rows of the first sheet that has any."""
    for _, rows in sheets(Entry(path, name)):
        if any(any(str(c).strip() for c in row if c is not None) for row in rows):
            return [(i + 1, [_cell(c) for c in row]) for i, row in enumerate(rows)]
    return []


def _cell(value: Any) -> str:
    """A cell of a workbook as text: whole numbers without a point, days as ISO 8601."""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if hasattr(value, "isoformat"):
        return str(value.isoformat())[:10]
    return "" if value is None else str(value)


def _headings(
    rows: Sequence[tuple[int, list[str]]], named: Mapping[str, str], where: str
) -> tuple[int, dict[str, list[int]]]:
    """Place of the heading row in rows (-1: there is none) and the cells of each column, best first."""
    for place, (_, row) in enumerate(rows[:_LOOK_AT]):
        heads = _named(row, named) if named else recognised(row)
        if heads.get("link_label"):
            return place, heads
    if named:
        raise Trouble(
            "a heading that was named is not there",
            code="schedule.heading-not-there",
            where=where,
            found=", ".join(c for c in rows[0][1] if c),
            expected=", ".join(named.values()),
        )
    if max(len(row) for _, row in rows) == 1:
        return -1, {"link_label": [0]}
    # of the first rows the one that looks most like headings: a title may stand above them
    line, row = max(rows[:_LOOK_AT], key=lambda numbered: len(recognised(numbered[1])))
    raise Trouble(
        "no column of this schedule is known to hold the labels of links",
        code="schedule.no-labels",
        where=f"{where}: line {line}",
        found=", ".join(c for c in row if c),
        expected="a heading such as link, cable number or label",
        remedy="name the column: --schedule-columns link_label=HEADING",
    )


def _named(row: Sequence[str], named: Mapping[str, str]) -> dict[str, list[int]]:
    cells = {c.strip().casefold(): i for i, c in reversed(list(enumerate(row)))}
    unknown = set(named) - {*COLUMNS, *PLACES}
    if unknown:
        raise Trouble(
            "no such column of a schedule",
            code="schedule.unknown-column",
            found=", ".join(sorted(unknown)),
            expected=", ".join((*COLUMNS, *PLACES)),
        )
    at = {column: cells.get(heading.strip().casefold()) for column, heading in named.items()}
    return {c: [i] for c, i in at.items() if i is not None} if all(i is not None for i in at.values()) else {}


def recognised(row: Sequence[str]) -> dict[str, list[int]]:
    """Cells of each column, the surest first: a word of words.toml before one that only schedules use."""
    fields, by_heading = declared().fields, columns_by_heading()
    found: dict[str, list[tuple[int, int]]] = {}
    for i, cell in enumerate(row):
        if not cell.strip():
            continue
        meant = {m.id for m in words.meanings(cell, "field")}
        said: list[tuple[str, int]]
        said = [(c, rank) for c, ids in fields.items() for rank, f in enumerate(ids) if f in meant]
        for form in (phrases.phrase(cell), " ".join(phrases.tokens(cell))):
            said += [(column, 1) for column in by_heading.get(form, ())]
        for column, rank in said:
            found.setdefault(column, []).append((rank, i))
    taken: set[int] = set()
    out: dict[str, list[int]] = {}
    for column in (*COLUMNS, *PLACES):
        at = [i for _, i in sorted(set(found.get(column, ()))) if i not in taken]
        if at:
            out[column] = at
            taken.add(at[0]) if column != "link_label" else taken.update(at)
    return out


def _rows(
    body: Sequence[tuple[int, list[str]]],
    headings: Sequence[str],
    heads: dict[str, list[int]],
    where: str,
    job_id: str | None,
    told: list[dict[str, Any]],
) -> list[tuple[dict[str, Any], dict[str, Any] | None]]:
    """Rows of schedule and places. told: gets findings about labels that are there twice, and rows without a link."""
    at = {c: i[0] for c, i in heads.items()}
    at["link_label"] = _most_distinct(body, heads["link_label"])
    due = _due(body, at.get("due_on"), where)
    used = set(at.values())
    out: list[tuple[dict[str, Any], dict[str, Any] | None]] = []
    lines: dict[tuple[str, ...], int] = {}
    _not_row_numbers([row[at["link_label"]].strip() for _, row in body if at["link_label"] < len(row)], where, body)
    for number, (line, row) in enumerate(body):
        cells = {c: row[i].strip() if i < len(row) else "" for c, i in at.items()}
        label = row[at["link_label"]] if at["link_label"] < len(row) else ""
        if not label.strip():
            continue
        marked = next((c.strip() for i, c in enumerate(row) if i not in used and phrases.phrase(c) in not_built()), "")
        if marked:
            told.append(_finding("row-not-to-be-built", label.strip(), f"{where}: line {line}", marked))
            continue
        place: dict[str, str] = {c: cells[c] for c in PLACES if cells.get(c)}
        where_to = (place.get("building", ""), place.get("floor", ""), place.get("space", ""))
        earlier = lines.setdefault((label.strip(), cells.get("version", ""), *where_to), line)
        if earlier != line:
            first = f"line {earlier}"
            told.append(_finding("label-twice-in-schedule", label.strip(), f"{where}: line {line}", first))
            continue
        placed = with_id("places", place) if place else None
        rest = [f"{h}: {c.strip()}" for i, (h, c) in enumerate(_pad(headings, row)) if i not in used and c.strip()]
        out.append(
            (
                with_id(
                    "schedule",
                    {
                        "version": cells.get("version") or None,
                        "job_id": job_id,
                        "link_label": label.strip(),
                        "required_limit": cells.get("required_limit") or None,
                        "cable_type": cable_types.neutral(cells["cable_type"]) if cells.get("cable_type") else None,
                        "local_place_id": placed["place_id"] if placed else None,
                        "due_on": due[number],
                        "bundle": cells.get("bundle") or None,
                        "comment": "; ".join(rest) or None,
                    },
                ),
                placed,
            )
        )
    return out


def _not_row_numbers(labels: list[str], where: str, body: Sequence[tuple[int, list[str]]]) -> None:
    """Errors: Trouble where the labels are the numbers of the rows."""
    if len(labels) >= _COUNTED and labels == [str(i + 1) for i in range(len(labels))]:
        raise Trouble(
            "the labels of this schedule are the numbers of its rows",
            code="schedule.row-numbers",
            where=f"{where}: line {body[0][0]}",
            found=", ".join(labels[:3]) + " ...",
            expected="identifiers of links",
            remedy="name the column that holds them: --schedule-columns link_label=HEADING",
        )


def _pad(headings: Sequence[str], row: Sequence[str]) -> list[tuple[str, str]]:
    names = [h.strip() or f"column {i + 1}" for i, h in enumerate(headings)]
    names += [f"column {i + 1}" for i in range(len(names), len(row))]
    return list(zip(names, row, strict=False))


def _most_distinct(body: Sequence[tuple[int, list[str]]], at: Sequence[int]) -> int:
    """Of several columns that may hold the labels, the first whose cells are all there and all different."""

    def distinct(i: int) -> int:
        return len({row[i].strip() for _, row in body if i < len(row) and row[i].strip()})

    most = max(distinct(i) for i in at)
    return next(i for i in at if distinct(i) == most)


def _due(body: Sequence[tuple[int, list[str]]], at: int | None, where: str) -> list[str | None]:
    """Days as ISO 8601. The form is the one that fits every cell; day first or month first is never guessed."""
    cells = [row[at].strip() if at is not None and at < len(row) else "" for _, row in body]
    filled = [c for c in cells if c]
    if not filled:
        return [None] * len(cells)
    fitting = [forms for forms in _DATES if all(any(dates.read(c, f) for f in forms) for c in filled)]
    read = [[_iso(c, forms) for c in cells] for forms in fitting]
    if len(read) == 2 and read[0] != read[1]:
        raise Trouble(
            "these dates can be read in two ways",
            code="schedule.ambiguous-dates",
            where=where,
            found=filled[0],
            expected="dates such as 2019-04-30",
            remedy="write the days as year-month-day",
        )
    if not read:
        bad = next((c, line) for c, (line, _) in zip(cells, body, strict=True) if c and not _iso(c, sum(_DATES, ())))
        raise Trouble(
            "no date",
            code="schedule.not-a-date",
            where=f"{where}: line {bad[1]}",
            found=bad[0],
            expected="a date such as 2019-04-30",
        )
    return read[0]


def _iso(cell: str, forms: Sequence[str]) -> str | None:
    for form in forms:
        when = dates.read(cell, form) if cell else None
        if when:
            return when.local[:10]
    return None
