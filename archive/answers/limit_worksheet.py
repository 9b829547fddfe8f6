"""The worksheet of a limit as a file: CSV to be filled in and read back, PDF for paper."""

from __future__ import annotations

from pathlib import Path

from archive import vocabulary
from archive.answers.documents import Block, Document, DocumentSection, FactsBlock, Para, TableBlock, pdf
from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.limits import version, worksheet
from archive.limits.fiber import OpticalApplication, OpticalLimit
from archive.limits.fiber import worksheet as optical
from archive.limits.limit import Limit
from archive.limits.worksheet import CAP, EXEMPT, FLOOR, FORMULA, VALUE, Row

_WORDS = {CAP: "values above revert to {}", FLOOR: "values below revert to {}", EXEMPT: "{}"}


def save(limit: Limit, out: Path) -> None:
    """Writes the worksheet. Errors: Trouble for an ending that is not .csv or .pdf, or a limit without anything."""
    kind = out.suffix.lower()
    if kind not in (".csv", ".pdf"):
        what = "a worksheet of this kind cannot be made"
        raise Trouble(what, code="limit.worksheet-form", where=str(out), expected=".csv or .pdf")
    write_bytes(out, worksheet.write(limit) if kind == ".csv" else pdf(document(limit)))


def save_optical(limit: OpticalLimit | OpticalApplication, out: Path) -> None:
    """The worksheet of an optical limit. Errors: Trouble for another ending, or an application, which has none."""
    kind = out.suffix.lower()
    if kind not in (".csv", ".pdf"):
        what = "a worksheet of this kind cannot be made"
        raise Trouble(what, code="limit.worksheet-form", where=str(out), expected=".csv or .pdf")
    if not isinstance(limit, OpticalLimit):
        raise optical.of_application(limit.id)
    write_bytes(out, optical.write(limit) if kind == ".csv" else pdf(optical_document(limit)))


def optical_document(limit: OpticalLimit) -> Document:
    """The worksheet of an optical limit for paper."""
    listed = [[part, nm, library, unit, letter, ""] for _, part, nm, library, unit, letter in optical.rows(limit)]
    head = ["part", "nm", "the library has", "unit", "confidence", "the standard has"]
    blocks: list[Block] = [
        FactsBlock([("read by", ""), ("on", ""), ("document, tables", "")], columns=3),
        TableBlock(head, listed, "lrrlll", weights=(1.6, 0.6, 1.2, 0.7, 0.9, 2.0)),
    ]
    return Document(
        title=limit.id,
        subtitle=limit.document,
        kicker="worksheet: tick what the standard has, correct what it has otherwise",
        date=f"{version()}-01",
        sections=[DocumentSection("", blocks)],
        footer=f"limit library {version()}. Confidence A: read, or confirmed by a person; B: supported; C: from memory",
    )


def document(limit: Limit) -> Document:
    """The worksheet as a document for paper: one row for all of a parameter, and a table of values."""
    rows = worksheet.rows(limit)
    parts: dict[tuple[str, bool], list[Row]] = {}
    for row in rows:
        if row.part != VALUE:
            parts.setdefault((row.parameter, row.part == worksheet.NUMBER), []).append(row)
    stated = [_parameter(group) for group in parts.values()]
    head = ["parameter", "the library has", "unit", "confidence", "the standard has"]
    terms = dict.fromkeys(term for row in rows if row.part == FORMULA for term in row.library.split("; ")[1:])
    blocks: list[Block] = [
        FactsBlock([("read by", ""), ("on", ""), ("document, tables", "")], columns=3),
        TableBlock(head, stated, "lllll", weights=(1.2, 3.6, 0.4, 0.8, 1.2)),
        *([Para("; ".join(terms), "small")] if terms else []),
    ]
    if any(row.part == VALUE for row in rows):
        blocks.append(_values(rows))
    return Document(
        title=limit.id,
        subtitle=f"{limit.document}{f', {limit.clause}' if limit.clause else ''}",
        kicker="worksheet: tick what the standard has, correct what it has otherwise",
        date=f"{version()}-01",
        sections=[DocumentSection("", blocks)],
        footer=f"limit library {version()}. Confidence A: read, or confirmed by a person; B: supported; C: from memory",
    )


def _parameter(group: list[Row]) -> list[str]:
    """Cells of one parameter: formulas with their MHz, then caps and exemptions."""
    texts = []
    for row in group:
        text = _WORDS.get(row.part, "{}").format(row.library.partition("; ")[0])
        texts.append(f"{row.mhz} MHz: {text}" if row.mhz else text)
    confidences = ", ".join(dict.fromkeys(row.confidence for row in group))
    return [_name(group[0].parameter), "; ".join(texts), group[0].unit, confidences, ""]


def _values(rows: list[Row]) -> TableBlock:
    """A column per parameter, a row per frequency."""
    cells = {(row.mhz, row.parameter): row.library for row in rows if row.part == VALUE}
    parameters = list(dict.fromkeys(parameter for _, parameter in cells))
    listed = [[f, *(cells.get((f, p), "") for p in parameters)] for f in sorted({f for f, _ in cells}, key=float)]
    weights = (0.7, *(max(map(len, _name(p).split())) for p in parameters))
    scaled = tuple(w if n == 0 else 0.4 + w / 10 for n, w in enumerate(weights))
    return TableBlock(["MHz", *map(_name, parameters)], listed, "r" * (len(parameters) + 1), weights=scaled)


def _name(parameter: str) -> str:
    return vocabulary.parameter(parameter).name
