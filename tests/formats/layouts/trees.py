"""Documents as trees, XML and JSON: nested by test and curve, flat with an object per row, or with data for keys."""

from __future__ import annotations

import json
import re
import unicodedata
from random import Random
from typing import Any
from xml.etree import ElementTree

from tests.formats.layouts.document import Column, Table
from tests.formats.layouts.finish import idle, meaningless
from tests.formats.layouts.grids import plain_number, text
from tests.formats.layouts.pen import Cell, Number, Pen
from tests.formats.layouts.shapes import Writer

Node = Any


def key(parts: tuple[str, ...], unit: str, pen: Pen) -> str:
    """A heading as the name of an element or key: no accents or blanks, and its unit behind it."""
    said = pen.traits.joiner.join(p for p in parts if p)
    plain = "".join(c for c in unicodedata.normalize("NFKD", said.replace("ł", "l")) if not unicodedata.combining(c))
    words = re.findall(r"[A-Za-z0-9]+", plain)
    name = {
        "upper": "_".join(words).upper(),
        "lower": "_".join(words).lower(),
        "as is": words[0].lower() + "".join(w[:1].upper() + w[1:] for w in words[1:]),
    }[pen.traits.case]
    if name[0].isdigit():
        name = f"n{name}"
    where = pen.traits.unit_place
    ascii_unit = unit.replace("Ω", "Ohm").replace("%", "pct")
    return f"{name}_{ascii_unit}" if unit and where in ("[]", "()", "suffix", "row") else name


def value(cell: Cell, pen: Pen) -> Any:
    """A cell in JSON: a number where it is one, else its text. XML writes the same as text."""
    if isinstance(cell, Number) and pen.traits.container == "json":
        plain = plain_number(cell, pen)
        if not cell.mark and pen.traits.unit_place != "cell" and plain.lstrip("-").replace(".", "", 1).isdigit():
            return float(plain)
    return None if cell is None else text(cell, pen)


def tree(writer: Writer) -> Node:
    """The document as nested dicts and lists."""
    t, pen = writer.traits, writer.pen
    r = Random(f"idle {t.seed}")
    words = r.sample(pen.words("idle"), t.meaningless)
    if t.tree == "flat" or t.shape == "summary":
        table: Table = writer.summary() if t.shape == "summary" else getattr(writer, t.shape)(identities=True)
        meaningless(table, pen, r)
        return [_fields(list(zip(table.columns, row, strict=True)), pen) for row in table.rows if row is not None]
    found = []
    for i in range(len(writer.job.tests)):
        node = _fields([*writer.identities(i), *writer.scalars(i)], pen)
        node |= {key((word,), "", pen): idle(r, n, i) for n, word in enumerate(words)}
        curves: Node = {} if t.tree == "keyed" else []
        for which in writer.curves(i):
            said = _fields(writer.which(which), pen)
            body = _curve(writer, i, which)
            if t.tree == "keyed":
                at = curves
                for name in list(said.values())[:-1]:
                    at = at.setdefault(key((str(name),), "", pen), {})
                at[key((str(list(said.values())[-1] or "-x"),), "", pen)] = body
            else:
                curves.append({**said, **body})
        node[key((pen.term("parameter"), "list"), "", pen)] = curves
        found.append(node)
    return found


def _fields(row: list[tuple[Column, Cell]], pen: Pen) -> dict[str, Any]:
    return {key(column.parts, column.unit, pen): value(cell, pen) for column, cell in row}


def _curve(writer: Writer, i: int, which: tuple[str, str, str]) -> dict[str, Any]:
    """The worst case (readings), the points one by one, or lists of a curve."""
    pen = writer.pen
    if writer.traits.shape == "readings":
        cells, _ = writer.worst(i, which)
        return {key((pen.term(k),), writer.unit(k), pen): value(c, pen) for k, c in cells.items()}
    if writer.traits.shape == "points":
        points = []
        for at in range(len(writer.job.frequencies)):
            cells = writer.point(i, which, at)
            writer.note(i, which, cells)
            points.append({key((pen.term(k),), writer.unit(k), pen): value(c, pen) for k, c in cells.items()})
        return {key((pen.term("curve"),), "", pen): points}
    return {key((pen.term(n),), u, pen): text for n, u, text in writer.listed(i, which)}


def as_json(writer: Writer) -> str:
    """The document as JSON, its records under one key."""
    name = key((writer.pen.word("verdict"),), "", writer.pen)
    return json.dumps({name: tree(writer)}, indent=1, ensure_ascii=False)


def as_xml(writer: Writer, encoding: str) -> bytes:
    """The document as XML; single values are attributes where traits say so."""
    pen = writer.pen
    root = ElementTree.Element(key((pen.word("heading").split(",")[0],), "", pen))
    record = key((pen.word("link"), "1"), "", pen)
    for node in tree(writer):
        _element(root, record, node, pen.traits.attributes)
    ElementTree.indent(root, " ")
    body = ElementTree.tostring(root, encoding="unicode")
    try:
        return f'<?xml version="1.0" encoding="{encoding}"?>\n{body}\n'.encode(encoding)
    except UnicodeEncodeError:  # letters that the code page lacks
        return f'<?xml version="1.0" encoding="utf-8"?>\n{body}\n'.encode()


def _element(parent: ElementTree.Element, name: str, node: Node, attributes: bool) -> None:
    if isinstance(node, list):
        for one in node:
            _element(parent, name, one, attributes)
        return
    made = ElementTree.SubElement(parent, name)
    if not isinstance(node, dict):
        made.text = "" if node is None else str(node)
        return
    for child, inner in node.items():
        if attributes and not isinstance(inner, dict | list) and len(str(inner)) < 60:
            made.set(child, "" if inner is None else str(inner))
        else:
            _element(made, child, inner, attributes)
