"""The structure of rows of cells: delimited text, report text, sheets."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from archive.formats.base import words
from archive.formats.draft import cells as cell_kinds
from archive.formats.draft import rows as found_rows
from archive.formats.draft.fixed import columns
from archive.formats.draft.layout import Column, Found, Layout
from archive.formats.draft.rectangles import Body, with_units
from archive.formats.draft.rows import Item
from archive.formats.mapping import names
from archive.formats.mapping.headings import frequency_of
from archive.formats.mapping.model import SourceField, SourceFile, SourceTable
from archive.formats.mapping.rows.blocks import blocks, stripes, transposed
from archive.formats.mapping.rows.cutter import Cutter, ParsedBlock
from archive.formats.mapping.rows.text_rows import splitter
from archive.formats.mapping.target import Target
from archive.vocabulary import phrases

MOST_ROWS = 20_000
_ANY = Target("row", "value")

Sheets = list[tuple[str, list[list[Any]], list[str] | None]]
"""Name of a sheet, its rows, and the raw lines of text they come from."""


def analyse(sheets: Sheets, layout: Layout, turned: bool = False, block: str = "") -> Layout:
    """Fills a layout with what the rows show. turned: rows are columns against all likelihood, or are none. block: the
    label with which records begin, instead of the likeliest."""
    sheets = [(n, r[:MOST_ROWS], raw) for n, r, raw in sheets if any(_filled(x) for x in r[:MOST_ROWS])]
    if _transposed(sheets) != turned:
        layout.transpose = True
        sheets = [(n, transposed(r), None) for n, r, _ in sheets]
    width = _beside(sheets)
    if width:
        layout.side_by_side = width
        sheets = [(n, part, None) for n, r, _ in sheets for part in stripes(r, width)]
    listed = [(name, found_rows.items(rows, layout.kind == "workbook")) for name, rows, _ in sheets]
    layout.skip = _skips(sheets, listed)
    if layout.skip:
        sheets = [_without(name, rows, raw, re.compile("|".join(layout.skip))) for name, rows, raw in sheets]
        listed = [(name, found_rows.items(rows, layout.kind == "workbook")) for name, rows, _ in sheets]
    for (_, items), (_, rows, _) in zip(listed, sheets, strict=True):
        found_rows.known_again(items, rows)
    mark = block or _mark(listed)
    layout.others = _other_marks(listed, mark)
    layout.block = mark or _single(listed)
    layout.groups = _groups(listed, layout.block)
    numbered = [g for g in layout.groups if _SECTION.match(g) and re.search(r"\d", g) and not _says(g)]
    layout.groups = [g for g in layout.groups if g not in numbered]
    layout.skip += dict.fromkeys("^" + re.sub(r"\d+", r"\\d+", re.escape(g)) + "$" for g in numbered)
    tables = _tables(listed, sheets, layout)
    bodies = [item.body for _, items in listed for item in items if item.body is not None]
    if any(b.first > b.head + b.header_rows + b.units_row for b in bodies):
        layout.skip.append(_UNDERLINES)
    known = list(dict.fromkeys(n for _, items in listed for item in items for n, _ in item.labels))
    file = provisional(layout, tables, known)
    _fill(layout, file, tables, sheets)
    layout.text = "\n".join(_joined(r) for _, rows, _ in sheets for r in rows[:400])
    return layout


_UNDERLINES = r"^(?=.*[-=_]{3})[-=_+| ]+$"
"""A line that underlines the headings of a table."""


def _without(
    name: str, rows: list[list[Any]], raw: list[str] | None, skip: re.Pattern[str]
) -> tuple[str, list[list[Any]], list[str] | None]:
    """Rows, and their raw lines, without those that are skipped."""
    keep = [i for i, r in enumerate(rows) if not skip.search(_joined(r))]
    return name, [rows[i] for i in keep], None if raw is None else [raw[i] for i in keep]


def _filled(row: Sequence[Any]) -> list[int]:
    return [j for j, c in enumerate(row) if c is not None and str(c).strip()]


def _joined(row: Sequence[Any]) -> str:
    return " ".join(names.tidy(c) for c in row if c is not None and str(c).strip())


def _transposed(sheets: Sheets) -> bool:
    """Headings down the first column, a record in each further one."""
    for _, rows, _ in sheets[:1]:
        body = [r for r in rows if len(_filled(r)) >= 3]
        if len(body) < 4 or len(body) < 0.7 * sum(bool(_filled(r)) for r in rows):
            return False
        first = [cell_kinds.of(r[0]) == "w" for r in body]
        if sum(first) < 0.7 * len(first):
            return False
        top = [cell_kinds.of(c) for c in body[0][1:] if c is not None and str(c).strip()]
        if not top or any(k in "wp" for k in top):
            return False
        # A readings table has its parameter first too: there the same words come again and again.
        distinct = {names.tidy(r[0]) for r in body}
        return len(distinct) > 0.8 * len(body)
    return False


def _beside(sheets: Sheets) -> int:
    """Width of blocks that stand side by side, or 0."""
    for _, rows, _ in sheets[:1]:
        for row in rows[:200]:
            heads = [names.tidy(c) for c in row]
            at = [j for j, h in enumerate(heads) if h and h == next((x for x in heads if x), "")]
            if len(at) < 2 or not cell_kinds.is_heading(heads[at[0]]):
                continue
            width = at[1] - at[0]
            if width < 2 or any(b - a != width for a, b in pairwise(at)):
                continue
            parts = [heads[a : a + width] for a in at]
            parts = [p + [""] * (width - len(p)) for p in parts]
            if all(p == parts[0] for p in parts) and at[0] == 0 and _mostly_beside(rows, width):
                return width
    return 0


def _mostly_beside(rows: list[list[Any]], width: int) -> bool:
    """Whether most rows go beyond the first of the blocks: a single wide table is no block beside others."""
    filled = [_filled(r) for r in rows[:400]]
    filled = [f for f in filled if f]
    return sum(f[-1] >= width for f in filled) > 0.6 * len(filled)


def _skips(sheets: Sheets, listed: list[tuple[str, list[Item]]]) -> list[str]:
    """Patterns of page furniture and of rows that sum up."""
    found: Counter[str] = Counter()
    for (_, rows, _), (_, items) in zip(sheets, listed, strict=True):
        ends = [item.body.stop for item in items if item.body is not None]
        for item in items:
            if item.note or item.labels:
                if any(_page([c]) for c in rows[item.row] if c is not None):
                    found[_joined(rows[item.row])] += 1
                    continue
                word = found_rows.summary(rows[item.row])
                below = item.row > 0.8 * len(rows) or (ends and item.row >= ends[-1])
                if word and (below or phrases.phrase(word) in words.plain("page") or _page(rows[item.row])):
                    found[word] += 1
            if item.body is not None:
                for i in range(max(item.body.first, item.body.stop - 40), item.body.stop):
                    word = found_rows.summary(rows[i])
                    if word and len(_filled(rows[i])) < 0.6 * len(_filled(rows[item.body.first])):
                        found[word] += 1
        for row in rows[:2000]:
            filled = _filled(row)
            if filled and all(re.fullmatch(r"[-=_*+~#]{3,}", str(row[j]).strip()) for j in filled):
                found["-"] += 1
    out = list(dict.fromkeys("^" + re.sub(r"\d+", r"\\d+", re.escape(w)) + r"\b" for w in found if w != "-"))
    return [*out, r"^[-=_*+~# ]{3,}$"] if found["-"] else out


def _page(row: Sequence[Any]) -> bool:
    text = phrases.phrase(_joined(row))
    return any(text == w or re.match(rf"{re.escape(w)} \d+(\D+\d+)?$", text) for w in words.plain("page"))


def _mark(listed: list[tuple[str, list[Item]]]) -> str:
    """The label, or the shape of a line, with which each record begins; "" where records have none."""
    count: Counter[str] = Counter()
    order: dict[str, int] = {}
    values: dict[str, list[str]] = {}
    at: dict[str, list[tuple[int, int]]] = {}
    for s, (_, items) in enumerate(listed):
        for n, item in enumerate(items):
            for name, value in item.labels:
                count[name] += 1
                order.setdefault(name, len(order))
                values.setdefault(name, []).append(names.tidy(value))
                at.setdefault(name, []).append((s, n))
    if (sections := _sections(listed)) is not None:
        return sections
    repeated = {n: c for n, c in count.items() if c >= 2}
    if not repeated:
        return _note_mark(listed)
    named = {n for n in repeated if "link_label" in found_rows.read_heading((n,)).fields}
    most = max((repeated[n] for n in named), default=0) or Counter(repeated.values()).most_common(1)[0][0]
    if len(listed) >= most > 1 and all(max(_count_labels(items).values(), default=1) == 1 for _, items in listed):
        return ""
    often = [n for n, c in repeated.items() if 0.8 * most <= c <= 1.2 * most]
    cost = {n: _cost(listed, n, often) for n in often}
    first = min(often, key=lambda n: (cost[n], order[n]))
    lead = _lead(listed, at[first])
    return lead or first


def _count_labels(items: list[Item]) -> Counter[str]:
    """How often each label comes."""
    return Counter(n for item in items for n, _ in item.labels)


_MOST_MARKS = 3


def _other_marks(listed: list[tuple[str, list[Item]]], mark: str) -> list[str]:
    """Labels that come as often as a record may, but for the one with which records are thought to begin."""
    count = sum((_count_labels(items) for _, items in listed), Counter())
    often = [n for n, c in count.items() if c > 1]
    often.sort(key=lambda n: _cost(listed, n, often))
    return [n for n in often if n != mark][:_MOST_MARKS]


def _cost(listed: list[tuple[str, list[Item]]], mark: str, often: list[str]) -> int:
    """How badly a label parts records: labels that come twice in a record, or before the first one."""
    out = 0
    for _, items in listed:
        seen: Counter[str] = Counter()
        begun = False
        for name in (n for item in items for n, _ in item.labels if n in often):
            if name == mark:
                seen.clear()
                begun = True
            out += not begun or seen[name] > 0
            seen[name] += 1
    return out


_SECTION = re.compile(r"^\[\s*([^\W\d_][^\W\d_-]*)[^\]]*\]$|^<\s*([^\W\d_][^\W\d_-]*)[^>]*>$")


def _sections(listed: list[tuple[str, list[Item]]]) -> str | None:
    """The section with which each record begins, where lines in brackets name sections of several kinds, such as
    [LINK] and [CURVE]; "" where all sections are of one record, None where there are none."""
    notes: dict[str, list[str]] = {}
    labelled: dict[str, set[str]] = {}
    for _, items in listed:
        kind = ""
        for item in items:
            match = _SECTION.match(item.note) if item.note else None
            if match:
                kind = match.group(1) or match.group(2)
                notes.setdefault(kind, []).append(item.note)
            labelled.setdefault(kind, set()).update(n for n, _ in item.labels)
    times = {k: len(v) for k, v in notes.items()}
    if len(notes) < 2 or max(times.values()) < 2:
        return None
    naming = [
        k for k in notes if any("link_label" in found_rows.read_heading((n,)).fields for n in labelled.get(k, set()))
    ]
    first = next((k for k in naming), "") or next(k for k, c in times.items() if c > 1)
    if times[first] == 1:
        return ""
    if any(1 < c < times[first] for c in times.values()):
        return None  # Something comes less often than what would be the record.
    return _shape(notes[first]) or None


def _lead(listed: list[tuple[str, list[Item]]], at: list[tuple[int, int]]) -> str:
    """The shape of a line alone above each record's first label, where there is one each time.

    Of several such lines the one that names the link, else the uppermost.
    """
    found: list[str] = []
    for up in range(1, 5):
        notes = [listed[s][1][n - up].note if n >= up else "" for s, n in at]
        shape = _shape(notes) if all(notes) else ""
        if not shape:
            break
        found.append(shape)
    naming = [x for x in found if any(g in x for g in (_ANYTHING, _NUMBERED)) and _names_links(x)]
    return (naming or found or [""])[-1]


_ANYTHING, _NUMBERED = "(.+?)", r"(\S*\d\S*)"
"""What differs in the lines that begin records: any words, or a label with a number in it."""


def _names_links(shape: str) -> bool:
    plain = shape.strip("/^$").replace(_ANYTHING, " ").replace(f"{_NUMBERED}.*", " ").replace(_NUMBERED, " ")
    said = found_rows.read_heading((re.sub(r"\\(.)", r"\1", plain),))
    return bool({"link_label", "cable"} & set(said.fields))


def _shape(notes: list[str]) -> str:
    """A regular expression for lines that begin and end alike; what differs is caught."""
    if len(set(notes)) == 1:
        return f"/^{re.escape(notes[0])}$/"
    head = _common(notes)
    tail = _common([n[len(head) :][::-1] for n in notes])[::-1]
    head = re.sub(r"\w[\w./-]*$", "", head)
    tail = re.sub(r"^[\w./-]*\w", "", tail)
    if not re.search(r"[^\W\d_]{2,}|[=#*-]{2,}", head + tail):
        return ""
    caught = [n[len(head) : len(n) - len(tail)].split() for n in notes]
    first, rest = [c[0] if c else "" for c in caught], {" ".join(c[1:]) for c in caught}
    if len(rest) <= 3 and len(set(first)) == len(first) and all(re.search(r"\d", f) for f in first):
        # A label with a number in it: so "Link type" is no link. A word or two behind it, such as PASS, is none of it.
        return f"/^{_blanks(head)}{_NUMBERED}{'' if rest == {''} else '.*'}{_blanks(tail)}$/"
    return f"/^{_blanks(head)}{_ANYTHING}{_blanks(tail)}$/"


def _blanks(text: str) -> str:
    """A regular expression for a text in which a blank may be a tab, or several."""
    return re.sub(r"(?:\\ )+", r"\\s+", re.escape(text))


def _common(texts: list[str]) -> str:
    out = texts[0]
    for t in texts[1:]:
        while not t.startswith(out):
            out = out[:-1]
    return out


def _note_mark(listed: list[tuple[str, list[Item]]]) -> str:
    """Records that begin with a line alone, such as "Link A-101", above a table without a label column."""
    notes = []
    for _, items in listed:
        before = None
        for item in items:
            if item.body is not None and before is not None:
                notes.append(before)
            before = item.note or (before if item.blank else None)
    if len(notes) < 2 or len(set(notes)) < len(notes):
        return ""
    shape = _shape(notes)
    head = shape[2:].partition("(")[0].replace("\\", "")
    found = found_rows.read_heading((head,)) if head.strip() else None
    return shape if found is not None and "link_label" in found.fields else ""


def _single(listed: list[tuple[str, list[Item]]]) -> str:
    """file or sheet where each holds one record, else ""."""
    bodies = [(name, item.body) for name, items in listed for item in items if item.body is not None]
    labels = [n for _, items in listed for item in items for n, _ in item.labels]
    with_key = [
        b
        for _, b in bodies
        if any("link_label" in found_rows.read_heading(lv).fields for lv in b.levels)
        or found_rows.read_heading(b.levels[0]).fields[:1] == ["cable"]
    ]
    per_sheet = [sum(len(i.labels) for i in items) for _, items in listed]
    if len(listed) > 1 and sum(1 for c in per_sheet if c >= 2) >= 2 and not with_key:
        told = [frozenset(n for i in items for n, _ in i.labels) for _, items in listed]
        told = [t for t in told if len(t) >= 2]
        alike = [sum(len(t & u) >= 0.5 * len(t | u) for u in told) for t in told]
        if told and max(alike) >= max(2, 0.5 * len(told)):
            # A cover sheet may stand among them.
            return "sheet"
    heads = [tuple(b.headings) for _, b in bodies]
    if len(listed) > 2 and not with_key and len(set(heads)) < len(heads) and len({n for n, _ in bodies}) == len(listed):
        return "sheet"
    named = any("link_label" in found_rows.read_heading((n,)).fields for n in labels)
    if not with_key and (named or (labels and bodies and len(labels) >= 2)):
        return "file"
    if not bodies and labels:
        return "file"
    return ""


def _groups(listed: list[tuple[str, list[Item]]], mark: str) -> list[str]:
    """Lines alone above labels that would be taken for each other without them."""
    by: dict[str, set[str]] = {}
    for _, items in listed:
        group = ""
        for item in items:
            if item.blank or item.body is not None:
                group = ""
            elif item.note:
                group = item.note
            else:
                for name, _ in item.labels:
                    by.setdefault(name, set()).add(group)
    out: dict[str, None] = {}
    for groups in by.values():
        real = {g for g in groups if g}
        if len(groups) >= 2 and real:
            for g in sorted(real):
                out[g] = None
    seen = Counter(i.note for _, items in listed for i in items if i.note)
    marks = re.compile(mark.strip("/")) if mark.startswith("/") else None
    return [g for g in out if not (marks and marks.search(g)) and (seen[g] > 1 or (len(listed) == 1 and not mark))]


def _tables(listed: list[tuple[str, list[Item]]], sheets: Sheets, layout: Layout) -> list[Found]:
    """The distinct tables, by their headings and, where headings come again, their titles."""
    by: dict[tuple[str, ...], list[tuple[str, Body, list[list[Any]], list[str] | None]]] = {}
    for (sheet, items), (_, rows, raw) in zip(listed, sheets, strict=True):
        for item in items:
            if item.body is not None:
                key = tuple(item.body.headings)
                apart = len(listed) > 1 and layout.block != "sheet" and _says(sheet)
                by.setdefault((sheet if apart else "", *key), []).append((sheet, item.body, rows, raw))
    out: list[Found] = []
    for (sheet, *_), bodies in by.items():
        titles = Counter(b.title for _, b, _, _ in bodies)
        constant = [t for t, c in titles.items() if t and (c > 1 or len(bodies) == 1 or _says(t))]
        whole = sum(titles[t] for t in constant) >= 0.8 * len(bodies) and (
            layout.block or len(by) > 1 or len(listed) > 1
        )
        for title in constant if constant and whole else [""]:
            own = [x for x in bodies if not title or x[1].title == title]
            mine = [(b, raw) for _, b, _, raw in own]
            first = mine[0][0]
            found = Found(
                columns=[Column(h, lv, []) for h, lv in zip(first.headings, first.levels, strict=True)],
                record=[],
                name=f"table {len(out) + 1}",
                title=title,
                sheet=sheet,
                context=tuple(x for x in (sheet, title) if x and _says(x)),
                header_rows=first.header_rows,
                units_row=first.units_row,
                no_headings=first.no_headings,
                times=len(mine),
                cross=bool(layout.block)
                and _cross([(b, rows) for _, b, rows, _ in bodies if not title or b.title == title]),
            )
            if layout.kind == "report" and mine[0][1] is not None and not first.no_headings:
                found.widths = _widths(mine)
                if found.widths:
                    _fixed_headings(found, mine[0][0], mine[0][1])
            if sum(frequency_of(h) is not None for h in first.headings[1:]) >= 8:
                found.headings_are = "frequencies"
            out.append(found)
    return out


def _says(title: str) -> bool:
    """Whether a name of a sheet or a title says which quantity or end a table is about."""
    said = found_rows.read_heading((title,))
    return bool(
        said.parameters
        or said.generics
        or said.ends
        or "power_sum" in said.modifiers
        or ("wiremap" in said.fields and not said.unknown)
    )


def _cross(bodies: list[tuple[Body, list[list[Any]]]]) -> bool:
    """A small table within a record whose first column names what its rows are: each cell is a fact of its own."""
    for body, rows in bodies[:20]:
        if sum(frequency_of(h) is not None for h in body.headings[1:]) >= 8:
            return False  # Each row is a curve.
        part = [r for r in rows[body.first : body.stop] if _filled(r)]
        names_ = [names.tidy(r[0]) if r else "" for r in part]
        if not part or len(part) > 60 or len(set(names_)) < len(names_):
            return False
        if sum(cell_kinds.of(r[0]) == "w" for r in part) < 0.7 * len(part):
            return False
        first = found_rows.read_heading(body.levels[0])
        if "parameter" in first.modifiers and any(
            "value" in found_rows.read_heading(lv).modifiers for lv in body.levels[1:]
        ):
            return False
        if any(
            "pair" in found_rows.read_heading(lv).modifiers and not found_rows.read_heading(lv).pairs
            for lv in body.levels[1:]
        ):
            return False
    return True


def _widths(mine: list[tuple[Body, list[str] | None]]) -> tuple[int, ...]:
    """Where the columns begin, for tables whose rows leave cells out; () where cutting at blanks does."""
    lines: list[str] = []
    heads: list[str] = []
    ragged = False
    for body, raw in mine[:40]:
        assert raw is not None
        head = raw[body.head : body.head + body.header_rows]
        if body.units_row:
            head = [*head[:-1], raw[body.head + body.header_rows], head[-1]]
        rows = raw[body.first : min(body.stop, body.first + 60)]
        count = len(re.split(r"\s{2,}|\t", head[-1].strip()))
        ragged |= any(len(re.split(r"\s{2,}|\t", r.strip())) != count for r in [*head, *rows] if r.strip())
        heads += [r.expandtabs() for r in head if r.strip()]
        lines += [r.expandtabs() for r in rows if r.strip()]
    if not ragged or not lines:
        return ()
    starts = columns(heads, lines)
    return starts if len(starts) >= 2 else ()


def _fixed_headings(found: Found, body: Body, raw: list[str]) -> None:
    from archive.formats.mapping.rows.text_rows import fixed

    block = [fixed(raw[body.head + k].expandtabs(), found.widths) for k in range(body.header_rows)]
    merged = names.merged(block)
    levels = [tuple(m.split(names.JOIN)) for m in merged]
    if body.units_row:
        levels = with_units(levels, fixed(raw[body.head + body.header_rows].expandtabs(), found.widths))
    found.columns = [Column(h, lv, []) for h, lv in zip(names.distinct(merged), levels, strict=True)]


def provisional(layout: Layout, tables: Sequence[Found], known: Sequence[str]) -> SourceFile:
    """A file whose tables take every column: the reader itself then shows what it would read."""
    made = [SourceTable("labels", "labels", tuple(SourceField(n, _ANY) for n in known))]
    for t in tables:
        fields = tuple(SourceField(c.source, _ANY) for c in t.columns if not re.fullmatch(r"column \d+", c.source))
        if t.no_headings:
            sources = tuple(c.source for c in t.columns)
            fields = tuple(SourceField(n, _ANY) for n in sources)
            made.append(SourceTable(t.name, "points", fields, sheet=t.sheet, title=t.title, columns=sources))
            continue
        if t.cross:
            made.append(
                SourceTable(
                    t.name, "cross", (), columns=tuple(c.source for c in t.columns), title=t.title, sheet=t.sheet
                )
            )
            continue
        made.append(
            SourceTable(
                t.name,
                "readings",
                fields,
                sheet=t.sheet,
                title=t.title,
                header_rows=t.header_rows,
                units_row=t.units_row,
                widths=t.widths,
            )
        )
    return SourceFile(
        "1",
        layout.kind,
        tuple(made),
        delimiter=layout.delimiter,
        quote=layout.quote,
        block=layout.block,
        groups=tuple(layout.groups),
        skip=tuple(layout.skip),
    )


def _fill(layout: Layout, file: SourceFile, tables: list[Found], sheets: Sheets) -> None:
    """The cells of labels and tables, as the reader cuts them."""
    split = splitter(file)
    whole: list[tuple[ParsedBlock, str, bool]] = []
    for name, rows, raw in sheets:
        source: list[Any] = raw if raw is not None and layout.kind in ("report", "delimited") else rows
        noun = "row" if layout.kind == "workbook" else "line"
        cutter = Cutter(file, split if raw is not None else _same, name, noun)
        for block in blocks(source, file, split if raw is not None else _same):
            parsed = cutter.cut(block.rows, block.first, block.key)
            if layout.block == "sheet" and name:
                parsed.labels.insert(0, (1, "@sheet", name))
            whole.append((parsed, name, block.before or not layout.block))
    if layout.block == "file":
        merged = ParsedBlock([x for p, _, _ in whole for x in p.labels], [x for p, _, _ in whole for x in p.sections])
        whole = [(merged, "", False)]
    number = 0
    labels: dict[str, Column] = {}
    shared: dict[str, Column] = {}
    by_name = {t.name: t for t in tables}
    for parsed, _, before in whole:
        into = shared if before else labels
        for _, name, value in parsed.labels:
            column = into.setdefault(name, Column(name, _levels(name, layout.block), []))
            column.cells.append(value)
            column.record.append(number)
        for n, section in enumerate(parsed.sections):
            found = by_name[section.table.name]
            rows_cut = [_cells(r, section.table.widths, split if isinstance(r, str) else _same) for r in section.rows]
            found.rows += len(rows_cut)
            index = {c.source: c for c in found.columns}
            for j, head in enumerate(section.names):
                column = index.get(head) or Column(head, (head,), [])
                if head not in index:
                    found.columns.append(column)
                    index[head] = column
                column.cells += [r[j] if j < len(r) else None for r in rows_cut]
            found.record += [number] * len(rows_cut)
            found.run += [n] * len(rows_cut)
        number += 0 if before else 1
    for by in (labels, shared):
        for name in [n for n in by if n.endswith(", unit")]:
            layout.ignore[name] = "the unit of its neighbour"
            del by[name]
    layout.labels, layout.shared = list(labels.values()), list(shared.values())
    layout.tables = [t for t in tables if t.rows]
    layout.crossed = [t for t in tables if t.cross]
    layout.records = max(1, number)


def _levels(name: str, mark: str) -> tuple[str, ...]:
    """Headings of a label. What a line of a certain shape names is named by the words of that line."""
    if name == "@block":
        return (re.sub(r"\\.|\W+", " ", re.sub(r"\(.*?\)", " ", mark)).strip(),)
    return ("",) if name.startswith("@") else tuple(name.split(names.JOIN))


def _cells(raw: Any, widths: tuple[int, ...], split: Any) -> Sequence[Any]:
    from archive.formats.mapping.rows.text_rows import fixed

    cells: Sequence[Any] = fixed(str(raw), widths) if widths else split(raw)
    return cells


def _same(row: Sequence[Any]) -> Sequence[Any]:
    return row
