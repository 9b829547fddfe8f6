"""Verdicts as documents: one per record and limit, for JSON and for people."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from archive import vocabulary
from archive.tables import Batch

_PLACE = ("parameter", "pairing", "end")
_OPTICAL = ("direction", "wavelength_nm")
_NUMBERS = ("frequency_mhz", "value", "limit", "margin")


def documents(batch: Batch) -> Iterator[dict[str, Any]]:
    """One document per row of verdicts, in their order, with its rows of grades.

    `parameters`: per parameter, pairing and end (of optical links fibre, direction and wavelength); within a parameter
    the smallest margin first. `averages`: means of both directions of a fibre. `overall`: per
    parameter. `worst`: the deciding point. `leading`: the point of the leading margin, with the margin of insertion
    loss beside it; null where none of its parameters was graded. `left_out`: points that are for information only.
    Margins of parameters that are not in decibels stand under `margin` alone.
    """
    records = {row["record_id"]: row for row in batch["records"].to_pylist()}
    grades: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in batch["grades"].to_pylist():
        grades.setdefault((row["record_id"], row["limit_id"]), []).append(row)
    for verdict in batch["verdicts"].to_pylist():
        rows = grades.get((verdict["record_id"], verdict["limit_id"] or ""), [])
        yield _document(verdict, records[verdict["record_id"]], rows)


def _document(verdict: dict[str, Any], record: dict[str, Any], rows: list[dict[str, Any]]) -> dict[str, Any]:
    covers = [verdict["covers_from_mhz"], verdict["covers_to_mhz"]]
    overall = [row for row in rows if row["kind"] == "overall"]
    leading = _worst({**verdict, **{name: verdict[f"leading_{name}"] for name in _PLACE + _NUMBERS}})
    return {
        "link": verdict["link_label"],
        "record": verdict["record_id"],
        "job": record["job_id"],
        "limit": verdict["limit_id"],
        "limit_found": verdict["limit_found"],
        "verdict": verdict["verdict"],
        "reason": verdict["reason"],
        "reported": record["reported_verdict"],
        "agrees": verdict["agrees"],
        "marginal": verdict["marginal"],
        "marginal_basis": verdict["marginal_basis"],
        "decision": verdict["decision"],
        "wrong_probability": verdict["wrong_probability"],
        "provisional": verdict["provisional"],
        "provisional_because": verdict["provisional_because"],
        "within_resolution": verdict["within_resolution"],
        "evidence": record["evidence"],
        "covers_mhz": None if covers[0] is None else covers,
        "worst": _worst(verdict),
        "leading": leading and {**leading, "insertion_loss_margin_db": verdict["insertion_loss_margin"]},
        "margins": {row["parameter"]: row["margin"] for row in overall if row["margin"] is not None},
        "left_out": [_left_out(row) for row in overall if row["left_out_points"]],
        "overall": [_overall(row) for row in overall],
        "parameters": _parameters([row for row in rows if row["kind"] != "overall"]),
        "averages": [
            {name: row[name] for name in (*_PLACE, "wavelength_nm")} | _point(row, row["parameter"])
            for row in rows
            if row["kind"] == "average"
        ],
        "confirmed_by": verdict["confirmed_by"],
        "limits_version": verdict["limits_version"],
        "program": verdict["program"],
    }


def _worst(verdict: dict[str, Any]) -> dict[str, Any] | None:
    if verdict["parameter"] is None:
        return None
    optical = {name: verdict[name] for name in _OPTICAL if verdict.get(name) is not None}
    return {name: verdict[name] for name in _PLACE} | optical | _point(verdict, verdict["parameter"])


def _left_out(row: dict[str, Any]) -> dict[str, Any]:
    names = ("points", "from_mhz", "to_mhz", "rule")
    return {"parameter": row["parameter"], **{name: row[f"left_out_{name}"] for name in names}}


def _point(row: dict[str, Any], parameter: str) -> dict[str, Any]:
    unit = vocabulary.parameter(parameter).unit
    point = {name: row[name] for name in _NUMBERS}
    return {**point, "margin_db": row["margin"] if unit == "dB" else None, "unit": unit}


def _overall(row: dict[str, Any]) -> dict[str, Any]:
    names = ("parameter", "verdict", "reason", "margin", "reported_margin", "agrees", "provisional", "confidence")
    out = {name: row[name] for name in names}
    out["unit"] = vocabulary.parameter(row["parameter"]).unit
    out["difference"] = _difference(row)
    return out


def _difference(row: dict[str, Any]) -> float | None:
    """Our margin minus the instrument's."""
    if row["margin"] is None or row["reported_margin"] is None:
        return None
    return round(float(row["margin"]) - float(row["reported_margin"]), 9)


def _parameters(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    found: dict[tuple[Any, ...], dict[str, Any]] = {}
    order: dict[str, int] = {}
    for row in rows:
        if row["kind"] == "average":
            continue
        key = tuple(row[name] for name in (*_PLACE, *_OPTICAL))
        order.setdefault(row["parameter"], len(order))
        entry = found.get(key)
        if entry is None:
            names = ("parameter", "pairing", "end", "verdict", "reason", "provisional", "confidence", "derived")
            entry = found[key] = {name: row[name] for name in names} | {"worst_margin": None, "worst_value": None}
            entry |= {name: row[name] for name in _OPTICAL if row[name] is not None}
        if entry[row["kind"]] is None:
            more = {name: row[name] for name in ("within_resolution", "reported_margin", "agrees")}
            entry[row["kind"]] = _point(row, row["parameter"]) | more | {"difference": _difference(row)}
    return sorted(found.values(), key=lambda entry: (order[entry["parameter"]], _margin(entry)))


def _margin(entry: dict[str, Any]) -> float:
    point = entry["worst_margin"] or entry["worst_value"]
    return float("inf") if point is None or point["margin"] is None else float(point["margin"])
