"""What became of one field: the rows of the tables that it feeds, in words."""

from __future__ import annotations

from typing import Any

from archive import vocabulary
from archive.formats.mapping.target import Target
from archive.tables import Batch

_OWN = frozenset(
    ("record_id", "source_id", "source_place", "evidence", "medium", "zone_basis", "salt", "person_key", "role")
)
SHARED = ("jobs", "places", "instruments", "people")
"""Tables whose rows several records may name."""


def results(batch: Batch, to: Target) -> list[tuple[str, str]]:
    """Places and values, one for each row of the tables. to: where the field goes."""
    out = [("", f"set aside: {_aside(r)}") for r in batch["set_aside"].to_pylist()]
    if to.table == "records":
        for r in batch["records"].to_pylist():
            named = {n: v for n, v in r.items() if v is not None and (n not in _OWN or n == to.name)}
            out += [(f"records.{n}", _shown(v)) for n, v in named.items()]
    for table in (*SHARED, "wiremap"):
        for r in batch[table].to_pylist():
            named = {n: v for n, v in r.items() if v is not None and n not in _OWN and not n.endswith("_id")}
            if table == "wiremap":
                out.append((table, ", ".join(f"{n} {_shown(v)}" for n, v in named.items())))
            else:
                out += [(f"{table}.{n}", _shown(v)) for n, v in named.items()]
            if table == "jobs" and to.name == "job_id":
                out.append(("jobs.job_id", _shown(r["job_id"])))
    out += [_reading(r) for r in batch["readings"].to_pylist()]
    out += [_reported(r) for r in batch["reported"].to_pylist()]
    axes = {r["axis_id"]: r["frequencies_mhz"] for r in batch["axes"].to_pylist()}
    out += [_curve(r, axes) for r in batch["sweeps"].to_pylist()]
    return out


def _aside(r: dict[str, Any]) -> str:
    return "; ".join(
        x
        for x in (r["reason"], r["found"] and f"found {r['found']}", r["expected"] and f"expected {r['expected']}")
        if x
    )


def _place(table: str, parameter: str, r: dict[str, Any], names: tuple[str, ...]) -> str:
    listed = [str(r[n]) for n in names if r.get(n) is not None]
    if r.get("wavelength_nm") is not None:
        listed.append(f"{r['wavelength_nm']:g}nm")
    return f"{table}.{parameter}" + (f"[{','.join(listed)}]" if listed else "")


def _reading(r: dict[str, Any]) -> tuple[str, str]:
    unit = vocabulary.parameter(r["quantity"]).unit
    at = f" at {r['frequency_mhz']:g} MHz" if r.get("frequency_mhz") is not None else ""
    kept = f", kept as {r['found']}" if r["found"] else ""
    said = "" if r["origin"] == "measured" else f" ({r['origin']})"
    return (
        _place("readings", r["quantity"], r, ("end", "subject", "direction")),
        f"{r['censored'] or ''}{r['value']:g} {unit}{at}{said}{kept}",
    )


def _reported(r: dict[str, Any]) -> tuple[str, str]:
    stated = [f"{n} {r[n]:g}" for n in ("value", "limit", "margin") if r[n] is not None]
    stated += [f"at {r['frequency_mhz']:g} MHz"] if r["frequency_mhz"] is not None else []
    stated += [r["verdict"]] if r["verdict"] else []
    stated += ["marginal"] if r["marginal"] else []
    return _place("reported", r["parameter"], r, ("kind", "end", "pairing", "direction")), ", ".join(stated)


def _curve(r: dict[str, Any], axes: dict[str, list[float]]) -> tuple[str, str]:
    values = [v for v in r["values"] if v is not None]
    mhz = axes.get(r["axis_id"], [])
    bounds = len(r["above"] or ()) + len(r["below"] or ())
    said = [f"{len(r['values'])} points"]
    said += [f"{mhz[0]:g} to {mhz[-1]:g} MHz"] if mhz else []
    said += [f"values {min(values):g} to {max(values):g}"] if values else []
    said += [f"{bounds} of them {'bounds' if bounds > 1 else 'a bound'}"] if bounds else []
    said += [r["origin"]] if r["origin"] not in ("measured", "derived") else []
    return _place("sweeps", r["parameter"], r, ("end", "pairing", "direction")), ", ".join(said)


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)
