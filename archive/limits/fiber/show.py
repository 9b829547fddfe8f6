"""An optical limit or application as a document for a program, and as text for a person."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from archive.limits.fiber.application import OpticalApplication
from archive.limits.fiber.bandwidth import bandwidths, needed
from archive.limits.fiber.declared import Allowance
from archive.limits.fiber.link_limit import LossLimit, OpticalLimit
from archive.limits.library import version

CONNECTIONS, SPLICES, METHOD = 2, 0, "one-cord"
"""The link whose limits are shown by length."""


def document(limit: OpticalLimit | OpticalApplication, lengths: Sequence[str] = ()) -> dict[str, Any]:
    """Everything about a limit. lengths: m as typed, the keys of the values, which are not rounded: by wavelength, for
    a link of two connections and no splice, whose reference was set with one cord."""
    return _application(limit) if isinstance(limit, OpticalApplication) else _link(limit, lengths)


def _link(limit: OpticalLimit, lengths: Sequence[str]) -> dict[str, Any]:
    at = {typed: _by_nm(limit, float(typed)) for typed in lengths}
    return {
        "limit": limit.id,
        "edition": limit.edition,
        "title": limit.title,
        "source": limit.document + (f", {limit.clause}" if limit.clause else ""),
        "established": limit.established,
        "confidence": limit.confidence or None,
        "note": limit.closed or None,
        "fiber": limit.fiber,
        "configuration": limit.configuration,
        "formula": limit.formula,
        "coefficients_db_km": {
            f"{nm:g}": {"db_km": db, "confidence": letter, "sources": list(sources)}
            for nm, (db, letter, sources) in limit.coefficients.items()
        },
        "connection": _allowance(limit.connection),
        "end_connection": _allowance(limit.end),
        "splice": _allowance(limit.splice),
        "required_nm": list(limit.required_nm),
        "directions": limit.directions.count if limit.directions else None,
        "modal_bandwidth": [
            {
                "wavelength_nm": b.nm,
                "launch": b.launch,
                "mhz_km": b.mhz_km,
                "confidence": b.confidence,
                "sources": list(b.sources),
            }
            for b in bandwidths(limit.fiber)
        ],
        "confirmations": list(limit.confirmations),
        "sources": list(limit.sources),
        "library": version(),
        "parameters": {
            "optical_loss": {"unit": "dB", "sense": "max", "confidence": limit.confidence or None, "at": at}
        },
    }


def _by_nm(limit: OpticalLimit, metres: float) -> dict[str, float]:
    found = {f"{nm:g}": limit.loss(nm, metres, CONNECTIONS, SPLICES, METHOD) for nm in limit.coefficients}
    return {nm: loss.db for nm, loss in found.items() if isinstance(loss, LossLimit)}


def _allowance(part: Allowance | None) -> dict[str, Any] | None:
    return None if part is None else {"db": part.db, "confidence": part.confidence, "sources": list(part.sources)}


def _application(limit: OpticalApplication) -> dict[str, Any]:
    return {
        "limit": limit.id,
        "edition": limit.id.split("/")[0],
        "title": limit.title,
        "source": limit.title + (f", clause {limit.table.clause}" if limit.table.clause else ""),
        "established": True,
        "confidence": limit.confidence,
        "fibers": limit.table.fibers,
        "note": limit.table.note or None,
        "bounds": [
            {
                "fiber": glass,
                "wavelength_nm": row[1],
                "length_m": row[2],
                "length_confidence": row[3],
                "loss_db": row[4],
                "loss_confidence": row[5],
                "sources": list(row[6]),
            }
            for row in limit.table.rows
            for glass in row[0]
        ],
        "library": version(),
    }


def text(limit: OpticalLimit | OpticalApplication, lengths: Sequence[str] = ()) -> str:
    """The same for a person."""
    lines = _application_text(limit) if isinstance(limit, OpticalApplication) else _link_text(limit, lengths)
    return "\n".join(lines)


def _link_text(limit: OpticalLimit, lengths: Sequence[str]) -> Iterator[str]:
    yield limit.id
    yield limit.document + (f", {limit.clause}" if limit.clause else "")
    if limit.closed:
        yield limit.closed
        return
    yield f"limit = {limit.formula}"
    for nm, (db, letter, sources) in limit.coefficients.items():
        yield f"coefficient at {nm:g} nm: {db:g} dB/km  [{letter}: {', '.join(sources)}]"
    for name, part in (("connection", limit.connection), ("end connection", limit.end), ("splice", limit.splice)):
        if part is not None and not (name == "end connection" and part == limit.connection):
            yield f"{name}: {part.db:.2f} dB  [{part.confidence}: {', '.join(part.sources)}]"
        elif part is None:
            yield f"{name}: not established"
    yield f"tested at {' and '.join(f'{nm:g}' for nm in limit.required_nm)} nm"
    if limit.directions is not None:
        ways, named = limit.directions, ", ".join(limit.directions.sources)
        yield f"in {'both directions' if ways.count >= 2 else 'one direction'}  [{ways.confidence}: {named}]"
    for known in bandwidths(limit.fiber):
        named = ", ".join(known.sources)
        yield f"of fibre with at least {known.text}, which no test of losses measures  [{named}]"
    yield from limit.confirmations
    if lengths:
        yield ""
        yield "two connections, no splice, reference set with one cord:"
        columns = [f"{nm:g}" for nm in limit.coefficients]
        wide = max(len("m"), *(len(typed) for typed in lengths))
        yield "  ".join(["m".rjust(wide), *(f"{nm} nm".rjust(9) for nm in columns)])
        for typed in lengths:
            values = _by_nm(limit, float(typed))
            yield "  ".join([typed.rjust(wide), *(f"{values[nm]:.4f}".rjust(9) for nm in columns)])


def _application_text(limit: OpticalApplication) -> Iterator[str]:
    yield limit.id
    yield limit.title + (f", clause {limit.table.clause}" if limit.table.clause else "")
    yield f"over {limit.table.fibers} fibres; both bounds hold together; a least loss is not known here"
    for row in limit.table.rows:
        glass = ", ".join(name.upper() if name[0] == "o" else name for name in row[0])
        yield (
            f"{glass} at {row[1]:g} nm: at most {row[2]:g} m ({row[3]}) and {row[4]:g} dB ({row[5]})  "
            f"[{', '.join(row[6])}]"
        )
        for name in row[0]:
            if (rests := needed(name, row[1])) is not None:
                yield f"  the length rests on {name.upper()} of at least {rests.text}"
    if limit.table.note:
        yield limit.table.note
