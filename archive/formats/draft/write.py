"""A placing as a mapping file: text, mapping and the list that `mapping draft --json` prints."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from archive.formats.draft.answers import Question, asked
from archive.formats.draft.hypotheses import LIKELY
from archive.formats.draft.layout import Layout, nameless
from archive.formats.draft.placing import Placed, PlacedTable, Placing
from archive.formats.mapping.live import dead
from archive.formats.mapping.load import loads
from archive.formats.mapping.model import Mapping, SourceField, SourceTable


@dataclass
class Draft:
    """A drafted mapping: its text, its fields with confidence and reason, what it could not place, what it asks."""

    layout: str
    text: str
    fields: list[dict[str, Any]]
    unplaced: list[str]
    reasons: dict[str, str] = field(default_factory=dict)
    questions: list[str] = field(default_factory=list)
    asked: list[Question] = field(default_factory=list)
    """What one word would answer."""
    notes: list[str] = field(default_factory=list)
    cells: dict[str, int] = field(default_factory=dict)
    """Cells of the sample in each column that was not placed."""
    against: str = ""
    """What speaks against using it unseen: it reads no record, or sets most aside."""
    unread: list[str] = field(default_factory=list)
    """Measurements that it leaves out: tables that an unsure column switches off, lists of numbers without a place."""

    @cached_property
    def mapping(self) -> Mapping:
        """The mapping with every field that was placed."""
        return loads(self.text.encode(), f"draft of {self.layout}")

    @property
    def nameless(self) -> list[str]:
        """Of what could not be placed the lines that have no name."""
        return [n for n in self.unplaced if nameless(n)]

    def as_json(self) -> dict[str, Any]:
        """What `mapping draft --json` prints."""
        return {
            "layout": self.layout,
            "fields": self.fields,
            "unplaced": self.unplaced,
            "unplaced_reasons": self.reasons,
            "questions": self.questions,
            "asked": [{"name": q.name, "choices": list(q.choices), "cells": q.cells} for q in self.asked],
            "notes": self.notes,
        }


def written(layouts: list[tuple[Layout, Placing, str]], name: str, least: float = 0.0) -> Draft:
    """The draft of a layout. layouts: its files with their placings and their patterns ("" for a file alone).

    least: fields that are less sure are left out, and with them those that hang on them.
    """
    first, placing, _ = layouts[0]
    kept = [(lay, _all_kept(p, max(least, LIKELY)), pattern) for lay, p, pattern in layouts]
    out = Draft(name, "", [], [])
    for (_, whole, _), (_, tables, _) in zip(layouts, kept, strict=True):
        out.unread += [x for before, after in zip(whole.tables, tables, strict=True) for x in _unread(before, after)]
    body: list[str] = []
    for number, (lay, tables, pattern) in enumerate(kept, 1):
        body += _file(lay, tables, pattern, number, out)
    out.text = "\n".join([*_head(first, placing, kept, name, max(least, LIKELY)), *body]) + "\n"
    out.asked = asked(Placing([t for _, p, _ in layouts for t in p.tables], placing.scheme, placing.fiber))
    out.questions += map(str, out.asked)
    if first.basis == "assumed":
        out.questions.append(f"encoding: nothing in the file says it; {first.encoding} is assumed")
    return out


def _all_kept(placing: Placing, least: float) -> list[PlacedTable]:
    """Tables without the fields that are less sure than asked for."""
    labels = [p for p in placing.tables[0].at("row") if p.confidence >= least]
    return [_kept(t, least, {p.to.name for p in labels if p.to is not None}) for t in placing.tables]


def _kept(table: PlacedTable, least: float, said: set[str]) -> PlacedTable:
    """A table without the fields that are less sure than asked for. said: what labels say of the rows of all tables."""
    placed = [p for p in table.placed if p.to is None or p.confidence >= least]
    keys = [p for p in table.placed if p.to is not None and p.to.table == "row" and p.to.name in _KEYS]
    if any(p.confidence < least for p in keys):
        placed = [p for p in placed if p.to is None or p.to.table not in ("row", "sweeps", "readings", "reported")]
    placed = _alive(table, placed, said)
    kept = {id(p) for p in placed}
    lost = [_dropped(p) for p in table.placed if id(p) not in kept]
    return PlacedTable(table.found, table.meaning, [*placed, *lost], table.parameters)


def _alive(table: PlacedTable, placed: list[Placed], said: set[str]) -> list[Placed]:
    """Placings without those that could feed nothing, and that a mapping would be refused for."""
    while True:
        source = SourceTable("", table.rows, tuple(SourceField(p.source, p.to) for p in placed if p.to is not None))
        going = [p for p in placed if p.to is None or not dead(SourceField(p.source, p.to), source, said)]
        if len(going) == len(placed):
            return placed
        placed = going


_MEASURED = ("sweeps", "readings", "reported")


def _unread(before: PlacedTable, after: PlacedTable) -> list[str]:
    """Measurements of a table that the fields which are kept leave out."""

    def measured(table: PlacedTable) -> list[Placed]:
        values = table.at("row", "value", "values", "margin")
        return [*values, *(p for t in _MEASURED for p in table.at(t))]

    lost = [p for p in measured(before) if p.source not in {q.source for q in measured(after)}]
    lists = [p for p in after.placed if p.to is None and p.seen.profile.lists > 0.8 and p not in lost]
    unsure = min(before.placed, key=lambda p: p.score if p.to is not None else 99.0, default=None)
    if lost and not measured(after) and unsure is not None:
        name = before.found.title or before.found.name if before.found is not None else "labels"
        return [f"{name}, for {unsure.source!r} is not sure"]
    return [f"{p.source!r}" for p in (*lost, *lists) if p in lists or p.seen.profile.lists > 0.8]


def _dropped(p: Placed) -> Placed:
    said = p.reason if p.to is None else f"perhaps {p.to} ({p.confidence}): {p.reason}"
    return Placed(
        p.seen, None, reason=said, options={k: v for k, v in p.options.items() if k in ("cells", "frequency_unit")}
    )


_KEYS = frozenset(
    ("parameter", "pairing", "disturbing", "disturbed", "end", "direction", "wavelength", "frequency", "origin", "kind")
)


def _head(first: Layout, placing: Placing, kept: list[Any], name: str, least: float) -> list[str]:
    out = ["# Drafted. Look at every field below 0.9, and at what is asked, before this is used."]
    out += ["[mapping]", f"layout = {_s(name)}", "language = 1", "drafted = true", "", "[cells]"]
    # Numbers of workbooks and of JSON are numbers: the mark of the texts counts.
    texts = [lay for lay, _, _ in kept if lay.kind in ("delimited", "report")]
    out.append(f"decimal = {_s(next((lay.decimal for lay in texts if lay.decimal == ','), first.decimal))}")
    if thousands := next((lay.thousands for lay, _, _ in kept if lay.thousands), ""):
        out.append(f"thousands = {_s(thousands)}")
    if any(starred(lay) for lay, _, _ in kept):
        out.append('marks = { "*" = "marginal" }  # within the accuracy of the instrument, as IEC 61935-1 marks it')
    if placing.scheme.name != "contacts":
        out.append(f"pairs = {_s(placing.scheme.name)}  # {placing.scheme.reason}")
    if placing.negative:
        out.append("negative = true  # losses are written below zero")
    parameters: dict[str, str] = {}
    for _, tables, _ in kept:
        for t in tables:
            parameters.update({word: meaning for word, (meaning, likely) in t.parameters.items() if likely >= least})
    if parameters:
        out.append(f"parameters = {_table(parameters)}")
    return out


_STARRED = re.compile(r"\d\s?\*(?:\s|$)")


def starred(lay: Layout) -> bool:
    """Whether numbers of a layout have an asterisk behind them."""
    columns = [*lay.labels, *(c for t in lay.tables for c in t.columns)]
    return any(isinstance(c, str) and _STARRED.search(c) for column in columns for c in column.cells[:2000])


def _file(lay: Layout, tables: list[PlacedTable], pattern: str, number: int, out: Draft) -> list[str]:
    lines = ["", "[[file]]", f"name = {_s(str(number))}", f"kind = {_s(lay.kind)}"]
    if pattern:
        lines.append(f"pattern = {_s(pattern)}")
    if lay.encoding and lay.basis not in ("byte order mark", "NUL pattern"):
        lines.append(f"encoding = {_s(lay.encoding)}  # {lay.basis}")
    if lay.kind in ("delimited", "report"):
        lines.append(f"delimiter = {_s('tab' if lay.delimiter == chr(9) else lay.delimiter)}")
    if lay.record:
        lines.append(f"record = {_s(lay.record)}")
    for key, value in (("block", lay.block), ("side_by_side", lay.side_by_side)):
        if value:
            lines.append(f"{key} = {_s(value) if isinstance(value, str) else value}")
    if lay.named:
        listed_ = [f"{{ each = {_s(e)}, name = {_s(n)}, value = {_s(v)} }}" for e, n, v in lay.named]
        lines.append(f"named = [{', '.join(listed_)}]")
    if lay.transpose:
        lines.append("transpose = true")
    for key, listed in (("groups", lay.groups), ("skip", lay.skip), ("ignore", list(lay.ignore))):
        if listed:
            lines.append(f"{key} = [{', '.join(_s(x) for x in listed)}]")
    for t in tables:
        lines += _lines(lay, t, out)
    return lines


def _lines(lay: Layout, t: PlacedTable, out: Draft) -> list[str]:
    placed = [p for p in t.placed if p.to is not None]
    for p in t.placed:
        if p.to is None:
            if p.seen.source not in out.unplaced:
                out.unplaced.append(p.seen.source)
                out.cells[p.seen.source] = int(p.options.get("cells") or p.seen.profile.filled)
                out.reasons[p.seen.source] = p.reason
        else:
            out.fields.append(_field_json(p, t))
    found = t.found
    if found is None:
        lines = ["", "[[file.table]]", 'name = "labels"', 'rows = "labels"', *_fields(placed)] if placed else []
        for x in lay.crossed:
            lines += ["", "[[file.table]]", f"name = {_s(x.name)}", 'rows = "cross"']
            lines.append(f"columns = [{', '.join(_s(c.source) for c in x.columns)}]")
            if x.title:
                lines.append(f"title = {_s(x.title)}")
        return lines
    assert t.meaning is not None
    lines = ["", "[[file.table]]", f"name = {_s(found.name)}", f"rows = {_s(t.meaning.rows)}"]
    if t.meaning.reason:
        lines[-1] += f"  # {t.meaning.reason}"
    for key, text in (("sheet", found.sheet), ("title", found.title), ("each", found.each)):
        if text:
            lines.append(f"{key} = {_s(text)}")
    if found.no_headings:
        lines.append(f"columns = [{', '.join(_s(c.source) for c in found.columns)}]")
    elif found.header_rows != 1:
        lines.append(f"header_rows = {found.header_rows}")
    if found.units_row:
        lines.append("units_row = true")
    if found.widths:
        lines.append(f"widths = {list(found.widths)}")
    if found.headings_are:
        lines.append(f"headings_are = {_s(found.headings_are)}")
        unit = next((p.options["frequency_unit"] for p in t.placed if "frequency_unit" in p.options), "")
        lines += [f"frequency_unit = {_s(unit)}"] if unit else []
    return [*lines, *_fields(placed)]


def _fields(placed: list[Placed]) -> list[str]:
    lines = ["fields = ["]
    for p in placed:
        parts = [f"from = {_s(p.seen.source)}", f"to = {_s(str(p.to))}"]
        if p.unit:
            parts.append(f"unit = {_s(p.unit)}")
        for key in ("format", "encoding", "separator", "split"):
            if p.options.get(key):
                parts.append(f"{key} = {_s(p.options[key])}")
        if p.options.get("words"):
            parts.append(f"words = {_table(p.options['words'])}")
        if p.options.get("negative"):
            parts.append("negative = true")
        for key in ("optional", "once"):
            if p.options.get(key):
                parts.append(f"{key} = true")
        parts.append(f"confidence = {p.confidence}")
        parts.append(f"reason = {_s(_short(p.reason))}")
        lines.append("  { " + ", ".join(parts) + " },")
    return [*lines, "]"]


def _field_json(p: Placed, t: PlacedTable) -> dict[str, Any]:
    cells = p.options.get("cells") or p.seen.profile.filled
    return {
        "from": p.seen.source,
        "to": str(p.to),
        "unit": p.unit or _own_unit(p),
        "confidence": p.confidence,
        "reason": p.reason,
        "table": t.found.name if t.found is not None else "labels",
        "cells": int(cells),
    }


def _own_unit(p: Placed) -> str:
    from archive import vocabulary

    to = p.to
    assert to is not None
    if to.column == "frequency" or (to.table == "row" and to.name == "frequency"):
        return "MHz"
    if to.parameter and to.column in ("", "value", "limit", "margin"):
        return vocabulary.parameter(to.parameter).unit
    return "%" if to.name == "velocity_percent" else ""


def _short(reason: str) -> str:
    return reason if len(reason) < 160 else reason[:157] + "..."


def _s(text: str) -> str:
    """A TOML string."""
    if "\\" in text and "'" not in text and "\n" not in text:
        return f"'{text}'"
    return json.dumps(text, ensure_ascii=False).replace("\u007f", "\\u007f")


def _table(words: dict[str, str]) -> str:
    return "{ " + ", ".join(f"{_s(k)} = {_s(v)}" for k, v in words.items()) + " }"


def layout_name(path: str) -> str:
    """A name for a drafted layout, from the name of its file."""
    stem = path.rpartition("/")[2].partition(".")[0]
    return "drafted-" + (re.sub(r"[^a-z0-9]+", "-", stem.lower()).strip("-") or "layout")
