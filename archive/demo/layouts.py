"""Two invented layouts of exports, as a subcontractor might send them, and the mappings that read them.

curves_by_row: delimited text with semicolons and decimal commas, CP1252, a row per curve, frequencies as headings.
worst_points: JSON with the worst cases only.
"""

from __future__ import annotations

import json
from typing import Any

from archive.tables import Batch

_PARAMETERS = {
    "insertion_loss": "Einfügedämpfung",
    "return_loss": "Rückflussdämpfung",
    "next": "NEXT",
    "ps_next": "PS NEXT",
    "fext": "FEXT",
    "acr_f": "ACR-F",
    "ps_acr_f": "PS ACR-F",
}
_ENDS = {"local": "nah", "remote": "fern", None: ""}
_HEADINGS = (
    *("Strecke", "Datum", "Prüfer", "Firma", "Hersteller", "Gerät", "Seriennummer", "Gegenstelle"),
    *("Kalibriert", "Kalibriert bis", "Grenzwert", "Kabel", "NVP %", "Ergebnis"),
    *(f"Länge {p} m" for p in ("1-2", "3-6", "4-5", "7-8")),
    *(f"Laufzeit {p} ns" for p in ("1-2", "3-6", "4-5", "7-8")),
    *("Größe", "Ende", "Paar"),
)


def curves_by_row(batch: Batch) -> bytes:
    """The batch as delimited text. Every row of a link repeats what holds for the link."""
    (axis,) = batch["axes"].to_pylist()
    lines = [";".join([*_HEADINGS, *(_comma(f) for f in axis["frequencies_mhz"])])]
    head = _heads(batch)
    for row in batch["sweeps"].to_pylist():
        facts = head[row["record_id"]]
        what = [_PARAMETERS[row["parameter"]], _ENDS[row["end"]], row["pairing"].replace("-", "").replace("/", "-")]
        lines.append(";".join([*facts, *what, *(_comma(v) for v in row["values"])]))
    return ("\r\n".join(lines) + "\r\n").encode("cp1252")


def _heads(batch: Batch) -> dict[str, list[str]]:
    """What holds for each record, as cells."""
    units = {r["instrument_id"]: r for r in batch["instruments"].to_pylist()}
    people = {r["person_key"]: r for r in batch["people"].to_pylist()}
    scalars: dict[tuple[str, str], list[str]] = {}
    for r in batch["readings"].to_pylist():
        scalars.setdefault((r["record_id"], r["quantity"]), []).append(_comma(r["value"]))
    out = {}
    for r in batch["records"].to_pylist():
        main, remote = units[r["local_instrument_id"]], units[r["remote_instrument_id"]]
        person = people[r["operator_key"]]
        cells = [r["link_label"], r["tested_found"], person["name"], person["organisation"]]
        cells += [main["maker"], main["model"], main["serial"], remote["serial"]]
        cells += [_german(main["calibrated_on"]), _german(main["calibration_due"])]
        cells += [r["limit_found"], r["cable_found"], _comma(r["velocity_percent"])]
        cells += ["bestanden" if r["reported_verdict"] == "pass" else "nicht bestanden"]
        out[r["record_id"]] = [
            *cells,
            *scalars[r["record_id"], "length"],
            *scalars[r["record_id"], "propagation_delay"],
        ]
    return out


def worst_points(batch: Batch) -> str:
    """The batch as JSON: a list of links, each with its worst margins."""
    reported: dict[str, list[dict[str, Any]]] = {}
    for row in batch["reported"].to_pylist():
        if row["kind"] == "worst_margin" and row["frequency_mhz"] is not None:
            reported.setdefault(row["record_id"], []).append(
                {
                    "what": row["parameter"].replace("_", " "),
                    "end": row["end"] or "",
                    "pair": row["pairing"],
                    "mhz": row["frequency_mhz"],
                    "db": row["value"],
                    "limit": row["limit"],
                    "margin": row["margin"],
                }
            )
    links = [
        {
            "link": r["link_label"],
            "tested": r["tested_local"],
            "limit": r["limit_found"],
            "cable": r["cable_found"],
            "verdict": r["reported_verdict"],
            "worst": reported[r["record_id"]],
        }
        for r in batch["records"].to_pylist()
    ]
    return json.dumps({"note": "invented for the demo of muniment", "links": links}, indent=1) + "\n"


def _comma(value: float) -> str:
    return f"{value:.10g}".replace(".", ",")


def _german(day: str) -> str:
    return ".".join(reversed(day.split("-")))
