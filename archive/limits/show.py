"""A limit as a document for a program, and as text for a person."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from archive import vocabulary
from archive.limits.cords import cords_named
from archive.limits.file_tables import Bound
from archive.limits.library import version
from archive.limits.limit import Limit, Scalar
from archive.limits.line import Line

CONFIDENCES = {
    "A": "read in a source for this edition, or confirmed by a person",
    "B": "supported by a source",
    "C": "from memory, to be verified against the standard",
}
EXEMPTIONS = {
    "il_below": "for information where the insertion loss measured is below {value:g} dB",
    "fext_above": "for information where the FEXT measured is above {value:g} dB",
    "ps_fext_above": "for information where the PS FEXT measured is above {value:g} dB",
}


def document(limit: Limit, frequencies: Sequence[str] = ()) -> dict[str, Any]:
    """Everything about a limit.

    frequencies: in MHz as somebody typed them; they are the keys of the values, which are not rounded, and null
    outside the range of a line.
    """
    parameters = {name: _line(line, frequencies) for name, line in limit.lines.items()}
    for name, scalar in limit.scalars.items():
        parameters[name] = {**_scalar(scalar), **parameters.get(name, {})}
        parameters[name]["number"] = _scalar(scalar)
    for other, name in limit.names.items():
        if other not in parameters:
            parameters[other] = {**parameters[name], "same_as": name}
    return {
        "limit": limit.id,
        "edition": limit.edition,
        "title": limit.title,
        "source": limit.document + (f", {limit.clause}" if limit.clause else ""),
        "established": limit.established,
        "own": limit.own,
        "same_as": limit.same_as or None,
        "confidence": limit.confidence or None,
        "connections": limit.connections,
        "cords": limit.cords or None,
        "pairs": list(limit.pairs) or list(vocabulary.PAIRS),
        "note": limit.note or None,
        "not_established": limit.open,
        "confirmations": list(limit.confirmations),
        "sources": list(limit.sources),
        "library": version(),
        "parameters": parameters,
    }


def _line(line: Line, frequencies: Sequence[str]) -> dict[str, Any]:
    values = [line.at(float(text)).item() for text in frequencies]
    return {
        "unit": line.unit,
        "sense": line.sense,
        "confidence": line.confidence,
        "range_mhz": list(line.range_mhz),
        "role": line.role,
        "at": {text: None if np.isnan(v) else v for text, v in zip(frequencies, values, strict=True)},
        "pieces": [
            {
                "range_mhz": [segment.low, segment.high],
                "formula": segment.formula,
                "spelled_out": segment.expanded,
                "confidence": segment.confidence,
                "sources": list(segment.sources),
                "note": segment.note or None,
            }
            for segment in line.segments
        ],
        "cap": _bound(line.cap),
        "floor": _bound(line.floor),
        "informational": [
            {"rule": rule.word, "value": rule.value, "confidence": rule.confidence, "sources": list(rule.sources)}
            for rule in line.exemptions
        ],
        "variants": line.variants,
        "sources": list(line.sources),
        "clause": line.clause or None,
        "note": line.note or None,
        "confirmed": line.confirmed or None,
    }


def _bound(bound: Bound | None) -> dict[str, Any] | None:
    if bound is None:
        return None
    return {"value": bound.value, "confidence": bound.confidence, "sources": list(bound.sources)}


def _scalar(scalar: Scalar) -> dict[str, Any]:
    other = scalar.greater_of
    return {
        "unit": scalar.unit,
        "sense": scalar.sense,
        "confidence": scalar.confidence,
        "range_mhz": None,
        "role": scalar.role,
        "value": scalar.value,
        "at_mhz": scalar.at_mhz,
        "at": {},
        "tolerance_percent": scalar.tolerance_percent,
        "tolerance_confidence": scalar.tolerance_confidence,
        "greater_of": other and {"quantity": other.quantity, "value": other.value, "confidence": other.confidence},
        "per": scalar.per,
        "sources": list(scalar.sources),
        "clause": scalar.clause or None,
        "note": scalar.note or None,
        "confirmed": scalar.confirmed or None,
    }


def text(limit: Limit, frequencies: Sequence[str] = ()) -> str:
    """The same for a person."""
    return "\n".join(_text(limit, frequencies))


def _text(limit: Limit, frequencies: Sequence[str]) -> Iterator[str]:
    yield f"{limit.id}"
    yield f"  {limit.document}" + (f", {limit.clause}" if limit.clause else "")
    if limit.own:
        yield f"  {limit.title}"
    if limit.same_as:
        yield f"  the same as {limit.same_as} by declaration"
    if limit.note:
        yield f"  {limit.note}"
    if not limit.established:
        yield "  limit not established: nothing is graded against it until somebody supplies its lines"
        return
    if limit.cords:
        cords = cords_named(limit.cords)
        yield f"  a permanent link is judged with {cords.length_m:g} m of {cords.title} added, unless a length is given"
    if limit.pairs:
        yield f"  pairs {', '.join(limit.pairs)} only"
    yield from (f"  {text}" for text in limit.confirmations)
    for line in limit.lines.values():
        yield ""
        yield from _line_text(line)
    if limit.scalars:
        yield ""
        yield from (row for scalar in limit.scalars.values() for row in _scalar_text(scalar))
    if limit.open:
        yield ""
        yield from (f"{_name(name)}: not established; {why}" for name, why in limit.open.items())
    if frequencies:
        yield ""
        yield from _table(limit, frequencies)
    yield ""
    yield from (f"{confidence}: {meaning}" for confidence, meaning in CONFIDENCES.items())
    yield f"limit library {version()}; sources are in schemas/sources.toml"


def _name(parameter: str) -> str:
    return vocabulary.parameter(parameter).name


def _line_text(line: Line) -> Iterator[str]:
    low, high = line.range_mhz
    role = "" if line.role == "required" else f", {line.role}"
    yield f"{_name(line.parameter)} ({line.unit}, {line.sense}imum), {low:g} to {high:g} MHz, {line.confidence}{role}"
    for segment in line.segments:
        stated = f"{segment.confidence} at tabulated frequencies, {segment.between} between" if segment.between else ""
        span = f"{segment.low:g} to {segment.high:g} MHz" if segment.low < segment.high else f"at {segment.low:g} MHz"
        formula, *terms = segment.expanded.split("; ")
        yield f"  {span}: {formula}  [{stated or segment.confidence}: {', '.join(segment.sources)}]"
        yield from (f"      {term}" for term in terms)
        if segment.note:
            yield f"      {segment.note}"
    for bound, words in ((line.cap, "values above revert to"), (line.floor, "values below revert to")):
        if bound:
            yield f"  {words} {bound.value:g}  [{bound.confidence}: {', '.join(bound.sources)}]"
    for rule in line.exemptions:
        yield f"  {EXEMPTIONS[rule.word].format(value=rule.value)}  [{rule.confidence}: {', '.join(rule.sources)}]"
    if line.variants:
        yield "  " + ", ".join(f"{name}: {offset:+g} {line.unit}" for name, offset in line.variants.items())
    yield from (f"  {words}" for words in (line.note, line.confirmed and f"confirmed {line.confirmed}") if words)


def _scalar_text(scalar: Scalar) -> Iterator[str]:
    at = f" at {scalar.at_mhz:g} MHz" if scalar.at_mhz else ""
    other = scalar.greater_of
    more = f" or {other.value:g} {vocabulary.parameter(other.quantity).unit} ({other.confidence})" if other else ""
    role = "" if scalar.role == "required" else f", {scalar.role}"
    per = f" per {scalar.per}" if scalar.per == "pairset" else ""
    if scalar.tolerance_confidence:
        per += f", {scalar.tolerance_percent:g} % over for the velocity ({scalar.tolerance_confidence})"
    value = f"{scalar.value:g} {scalar.unit}{more}{', the greater' if other else ''}{at}{per}"
    sources = ", ".join(scalar.sources)
    yield f"{_name(scalar.parameter)} ({scalar.sense}imum): {value}{role}  [{scalar.confidence}: {sources}]"
    yield from (f"  {words}" for words in (scalar.note, scalar.confirmed and f"confirmed {scalar.confirmed}") if words)


def _table(limit: Limit, frequencies: Sequence[str]) -> Iterator[str]:
    """Values at frequencies, a column per line, four decimals."""
    names = [_name(name) for name in limit.lines]
    wide = max(len("MHz"), *(len(text) for text in frequencies))
    yield "  ".join(["MHz".rjust(wide), *(name.rjust(9) for name in names)])
    for typed in frequencies:
        values = [line.at(float(typed)).item() for line in limit.lines.values()]
        cells = ["-" if np.isnan(v) else f"{v:.4f}" for v in values]
        columns = [cell.rjust(max(9, len(name))) for cell, name in zip(cells, names, strict=True)]
        yield "  ".join([typed.rjust(wide), *columns])
