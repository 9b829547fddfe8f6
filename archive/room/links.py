"""One link: which record counts and why, its curves against any limit, every test and event; two records compared."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from typing import Any

import numpy as np
import pyarrow as pa
from starlette.responses import JSONResponse, Response

from archive import grading, limits, vocabulary
from archive.answers import records
from archive.answers.history import history, link_cautions
from archive.answers.link import ArchivedLink, open_link
from archive.errors import Trouble
from archive.grading.document import documents
from archive.room.app import PageRequest
from archive.store.documents import of_job
from archive.store.roles import Role
from archive.tables import Batch

_ROLES: Mapping[str, Role] = {"accepted": "accepted", "current": "current"}


def page(asked: PageRequest) -> Response:
    """The page of one link, or of the several places that a label may mean."""
    link = _link(asked)
    row = _shown(asked, link)
    found: dict[str, Any] = {"link": link, "row": row, "entries": [], "cautions": []}
    found["entries"] = history(asked.look.archive, link)
    found["cautions"] = link_cautions(asked.look.archive, link)
    if row is not None:
        batch = record_batch(asked, row)
        found |= _graded(batch, asked.text("against"))
        found |= {"tables": _tables(batch), "sweeps": sweep_parameters(batch)}
        found["documents"] = [d for d in of_job(asked.look.archive, row["job_id"]) if _of_link(d, link, row)]
        found["limit_ids"] = sorted(i for i in limits.ids() if batch["records"]["medium"][0].as_py() != "fiber")
    command = shlex.join(["muniment", "history", str(asked.root), link.label])
    return asked.page("link.html", link.label, command, **found)


def curves(asked: PageRequest) -> Response:
    """The curves of one parameter of one record, with a limit line and what grading says, as JSON.

    frequencies: MHz, one list for each axis; curves: pairing, end, axis, values; limit: values on the first axis.
    """
    row = asked.look.archive.address(asked.needed("record"))
    batch = record_batch(asked, {"address": row})
    parameter = asked.needed("parameter")
    against = asked.text("against")
    graded = _graded(batch, against)["verdicts"]
    verdict = graded[0] if graded else None
    table = batch["sweeps"].filter(pa.compute.equal(batch["sweeps"]["parameter"], parameter))
    axes = {a["axis_id"]: a for a in batch["axes"].to_pylist()}
    names = list(dict.fromkeys(table["axis_id"].to_pylist()))
    listed = [
        {
            "pairing": s["pairing"],
            "end": s["end"],
            "axis": names.index(s["axis_id"]),
            "values": s["values"],
        }
        for s in table.to_pylist()
        if s["origin"] != "limit"
    ]
    if not listed:
        raise Trouble("the record has no such curve", code="room.no-curve", found=parameter)
    known = vocabulary.parameter(parameter)
    return JSONResponse(
        {
            "parameter": known.name,
            "unit": known.unit,
            "sense": known.sense,
            "frequencies": [axes[name]["frequencies_mhz"] for name in names],
            "curves": listed,
            "limit": _line(verdict, parameter, axes[names[0]]["frequencies_mhz"]),
            "limit_id": verdict and verdict["limit"],
            "verdict": verdict and verdict["verdict"],
            "points": [p for p in (verdict or {}).get("parameters", []) if p["parameter"] == parameter],
            "left_out": [x for x in (verdict or {}).get("left_out", []) if x["parameter"] == parameter],
        }
    )


def compare(asked: PageRequest) -> Response:
    """Two records beside each other: what differs in words, and the margins by parameter."""
    sides = []
    for name in ("a", "b"):
        address = asked.look.archive.address(asked.needed(name))
        batch = record_batch(asked, {"address": address})
        facts = batch["records"].to_pylist()[0]
        sides.append({"facts": facts, "batch": batch, **_graded(batch, asked.text("against"))})
    one, other = sides
    same = one["facts"]["record_id"] == other["facts"]["record_id"]
    differing = [
        (name, one["facts"][name], other["facts"][name])
        for name in one["facts"]
        if one["facts"][name] != other["facts"][name] and not name.endswith(("_id", "_key"))
    ]
    margins = _margins(one["verdicts"], other["verdicts"])
    command = shlex.join(["muniment", "history", str(asked.root), str(one["facts"]["link_label"])])
    values = {"one": one, "other": other, "differing": differing, "margins": margins, "same": same}
    return asked.page("compare.html", "Two records", command, **values)


def record_batch(asked: PageRequest, row: Mapping[str, Any]) -> Batch:
    """One record as a batch, as it counts now. row: with its address "deposit/position"."""
    deposit, _, position = str(row["address"]).rpartition("/")
    return next(records.read(asked.look.archive, [(deposit, int(position))]))


def sweep_parameters(batch: Batch) -> list[tuple[str, str]]:
    """Parameters of which a record has curves over frequency: name in the tables, printed name."""
    found = dict.fromkeys(
        s["parameter"]
        for s in batch["sweeps"].select(["parameter", "origin", "wavelength_nm"]).to_pylist()
        if s["origin"] != "limit" and s["wavelength_nm"] is None
    )
    return [(name, vocabulary.parameter(name).name) for name in found]


def _link(asked: PageRequest) -> ArchivedLink:
    role = _ROLES.get(asked.text("role") or "")
    given = {name: asked.text(name) for name in ("job", "site", "record")}
    return open_link(asked.look.archive, asked.needed("label"), role=role, **given)


def _shown(asked: PageRequest, link: ArchivedLink) -> dict[str, Any] | None:
    """The record that is shown: the one asked for, or the one in the role that is shown."""
    wanted = asked.text("show")
    return next((r for r in link.rows if r["record_id"] == wanted), link.standing)


def _of_link(document: Mapping[str, Any], link: ArchivedLink, row: Mapping[str, Any]) -> bool:
    serials = (row["local_serial"], row["remote_serial"])
    return document["link_label"] in (None, link.label) and document["serial"] in (None, *serials)


def _graded(batch: Batch, against: str | None) -> dict[str, Any]:
    """Verdicts of a batch by today's limit library, against the limit that it names or another."""
    if against is not None:
        limits.get(against)  # a wrong one is refused before anything is graded
    verdicts = list(documents(grading.grade(batch, [against] if against else None)))
    for point in (p for v in verdicts for p in v["parameters"]):
        nm, way = point.get("wavelength_nm"), point.get("direction")
        parts = (point["pairing"], f"{nm:g} nm" if nm else "", (way or "").replace("-", " to "))
        point["of"] = ", ".join(part for part in parts if part)
        point["name"] = vocabulary.parameter(point["parameter"]).name
    return {"verdicts": verdicts, "against": against}


def _line(verdict: Mapping[str, Any] | None, parameter: str, frequencies: list[float]) -> list[float | None] | None:
    if verdict is None or not verdict["limit"]:
        return None
    line = limits.get(verdict["limit"]).lines.get(parameter)
    if line is None:
        return None
    return [None if np.isnan(v) else float(v) for v in line.at(np.asarray(frequencies, np.float64))]


def _tables(batch: Batch) -> dict[str, list[dict[str, Any]]]:
    names = ("readings", "reported", "wiremap", "instruments", "places", "trace_events", "extras")
    found = {name: batch[name].to_pylist() for name in names}
    for name in ("readings", "reported"):
        key = "quantity" if name == "readings" else "parameter"
        for row in found[name]:
            known = vocabulary.parameter(row[key])
            row |= {"name": known.name, "unit": known.unit}
    found["findings"] = batch["findings"].to_pylist()
    found["facts"] = batch["records"].to_pylist()
    return found


def _margins(one: list[dict[str, Any]], other: list[dict[str, Any]]) -> list[tuple[str, float | None, float | None]]:
    if not one or not other:
        return []
    first, second = one[0]["margins"], other[0]["margins"]
    names = dict.fromkeys((*first, *second))
    return [(vocabulary.parameter(name).name, first.get(name), second.get(name)) for name in names]
