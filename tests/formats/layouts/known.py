"""A mapping that is right for a generated document, made from what the generator knows of its columns.

It says what the mapping language can say of a document in rows and columns, so that reading can be tested without
drafting: what such a mapping reads wrongly is a fault of the reader, and what it cannot say is missing in the language.
"""

from __future__ import annotations

from tests.formats.layouts.document import Facts, Sheet, Table
from tests.formats.layouts.finish import finish
from tests.formats.layouts.grids import header, sheet_name
from tests.formats.layouts.make import build
from tests.formats.layouts.pen import Pen
from tests.formats.layouts.shapes import Writer, separator_of
from tests.formats.layouts.traits import Traits
from tests.formats.layouts.truth import PARAMETERS, invent_for

_RECORD = {
    "label": "records.link_label",
    "verdict": "records.reported_verdict",
    "time": "records.tested_found[time]",
    "velocity": "records.velocity_percent",
    "operator": "people.name",
    "standard": "records.limit_found",
    "cable": "records.cable_found",
    "site": "places.site",
    "building": "places.building",
    "floor": "places.floor",
    "room": "places.space",
    "software": "instruments.software[local]",
    "serial local": "instruments.serial[local]",
    "serial remote": "instruments.serial[remote]",
}
_ROW = {
    "parameter": "row.parameter",
    "pairing": "row.pairing",
    "end": "row.end",
    "frequency": "row.frequency",
    "value": "row.value",
    "limit": "row.limit",
    "margin": "row.margin",
    "verdict of row": "row.verdict",
    "listed curve": "row.values",
    "listed frequency": "row.frequencies",
    "listed start": "row.start",
    "listed step": "row.step",
}
_SCALARS = {
    "length": "length",
    "delay": "propagation_delay",
    "skew": "delay_skew",
    "resistance": "loop_resistance",
}
_DATES = {"%Y": "YYYY", "%m": "MM", "%d": "DD", "%y": "YY", "%b": "Mon"}
_ROWS = {"readings": "readings", "points": "points", "wide": "points", "matrix": "curves", "cells": "curves"}


def mapping_of(traits: Traits) -> str:
    """The text of a mapping for a document in rows and columns. Errors: ValueError for any other."""
    if traits.container not in ("csv", "fixed", "xlsx", "folder") or traits.shape == "blocks" or traits.outside:
        raise ValueError(f"no mapping is made for {traits.shape} in {traits.container}")
    pen = Pen(traits)
    writer = Writer(pen, invent_for(traits), Facts(traits.tests))
    sheets = writer.sheets()
    finish(sheets, pen)
    lines = ["[mapping]", 'layout = "generated"', *_cells(pen)]
    tables = [next(p for p in s.parts if isinstance(p, Table)) for s in sheets]
    for number, (sheet, table) in enumerate(zip(sheets, tables, strict=True)):
        body = number == len(sheets) - 1
        if number == 0 or traits.container == "folder":
            lines += _file(pen, ("links", "results")[number])
        lines += _table(pen, sheet, table, _ROWS.get(traits.shape, "links") if body else "links")
    return "\n".join(lines) + "\n"


def _cells(pen: Pen) -> list[str]:
    t = pen.traits
    scheme = {"t568a": "t568a", "t568b": "t568b"}.get(t.pairs, "contacts")
    lines = ["[cells]", f"decimal = {_s(t.decimal)}", f"thousands = {_s(t.thousands)}", f"pairs = {_s(scheme)}"]
    lines += [f"date = {_s(_date(t) + (' hh:mm' if t.time == 'joined' else ''))}"]
    lines += [f"empty = [{_s(t.empty)}]"] if t.empty else []
    lines += ["negative = true"] if t.negative else []
    ends = {pen.end(e): e for e in ("local", "remote")}
    verdicts = {pen.verdict(True): "pass", pen.verdict(False): "fail"}
    parameters = {pen.term(p, 0.5): p for p in PARAMETERS}
    names = {pen.pairing(c): c for of, _ in PARAMETERS.values() for c in of}
    for key, words in (("ends", ends), ("verdicts", verdicts), ("parameters", parameters), ("pair_names", names)):
        lines.append(f"{key} = {{ {', '.join(f'{_s(k)} = {_s(v)}' for k, v in words.items())} }}")
    return lines


def _is_utf8(content: bytes) -> bool:
    """Whether a text fits UTF-8, as one does that has letters which its code page lacks."""
    try:
        content.decode()
    except UnicodeDecodeError:
        return False
    return True


def _date(t: Traits) -> str:
    """The pattern of dates without times, as mappings write it."""
    date = t.date
    for ours, theirs in _DATES.items():
        date = date.replace(ours, theirs)
    return date


def _file(pen: Pen, name: str) -> list[str]:
    t = pen.traits
    kind = {"xlsx": "workbook", "fixed": "report"}.get(t.container, "delimited")
    lines = ["[[file]]", f"kind = {_s(kind)}"]
    lines += [f"name = {_s(name)}", f"pattern = {_s(f'{name}.csv')}"] if t.container == "folder" else []
    lines += [f"delimiter = {_s(t.delimiter)}"] if kind == "delimited" else []
    lines += ["transpose = true"] if t.transposed else []
    paged = t.encoding in ("cp850", "cp1250") and kind != "workbook" and not all(map(_is_utf8, build(t).files.values()))
    lines += [f"encoding = {_s(t.encoding)}"] if paged else []
    skip = [rf"^{pen.word('total')}: \d+$", rf"^{pen.word('page')} \d+(?:/1)?$", rf"^{pen.word('site')} 4711, .*$"]
    skip.append(f"^{pen.word('heading')}$")
    lines.append(f"skip = [{', '.join(_s(x) for x in skip)}]")
    return lines


def _table(pen: Pen, sheet: Sheet, table: Table, rows: str) -> list[str]:
    t = pen.traits
    heads = header(table.columns, pen)
    units = t.unit_place == "row" and any(c.unit for c in table.columns)
    names = _names(heads[:-1] if units else heads)
    lines = ["[[file.table]]", f"rows = {_s(rows)}", f"header_rows = {len(heads) - units}"]
    lines += ["units_row = true"] if units else []
    lines += [f"sheet = {_s(sheet_name(sheet))}"] if t.container == "xlsx" else []
    if t.shape == "matrix" and rows == "curves":
        lines += ['headings_are = "frequencies"', f"frequency_unit = {_s(t.frequency_unit)}"]
    fields, ignored = [], []
    for column, name in zip(table.columns, names, strict=True):
        if column.role == ("heading",):
            continue
        to = _target(pen, column.role, rows)
        if not to:
            ignored.append(_s(name))
            continue
        unit = column.unit if to.startswith(("readings.", "row.frequen", "row.start", "row.step")) else ""
        unit = unit or (column.unit if to.endswith(".frequency]") or ".frequency[" in to else "")
        more = ', encoding = "pairs"' if column.role == ("listed curve",) and t.listing == "points" else ""
        more += f", unit = {_s(unit)}" if unit else ""
        more += ", once = true" if column.role[0] == "scalar" and rows != "links" else ""
        more += ', separator = ";"' if column.role[0].startswith("listed") and ";" in separator_of(t) else ""
        if t.time == "apart" and column.role[0] in ("date", "time"):
            more += f", format = {_s(_date(t) if column.role[0] == 'date' else 'hh:mm')}"
        fields.append(f"  {{ from = {_s(name)}, to = {_s(to)}{more} }},")
    if t.shape == "matrix" and rows == "curves":
        fields.append('  { from = "@values", to = "row.values" },')
    if t.shape == "cells" and t.listing == "points" and rows == "curves":
        lines.append(f"frequency_unit = {_s(t.frequency_unit)}")
    return [*lines, f"ignore = [{', '.join(ignored)}]", "fields = [", *fields, "]"]


def _target(pen: Pen, role: tuple[str, ...], rows: str) -> str:
    if not role:
        return ""
    if role[0] == "date":
        return "records.tested_found" + ("[date]" if role[1] == "apart" else "")
    if role[0] == "scalar":
        return f"readings.{_SCALARS[role[1]]}" + (f"[{role[2]}]" if role[2] else "")
    if role[0] == "worst":
        place = ",".join(x for x in ("worst_margin", role[2], role[3]) if x)
        return f"reported.{role[1]}.{role[4]}[{place}]"
    if role[0] == "of pair":
        return f"row.value[{role[1]}]"
    return _RECORD.get(role[0]) or _ROW.get(role[0], "")


def _names(heads: list[list[object]]) -> list[str]:
    """Headings of several rows as one name each, as a mapping writes them."""
    from archive.formats.mapping import names

    return names.distinct(names.merged(heads))  # type: ignore[arg-type]


def _s(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t")
    return f'"{escaped}"'
