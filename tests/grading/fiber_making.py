"""Optical records for tests: one link, its losses by fibre, wavelength and direction."""

from __future__ import annotations

from typing import Any

from archive.tables import Batch

BOTH = ("local-remote", "remote-local")


def loss_test(
    losses: dict[tuple[str, float, str], float],
    *,
    length_m: float | None = 300.0,
    limits: dict[float, float] | None = None,
    **columns: Any,
) -> Batch:
    """One record. losses: dB by fibre, nm, direction. limits: what the export states, by nm."""
    record = {
        "record_id": "re-1",
        "medium": "fiber",
        "link_label": "B-1",
        "tested_local": "2021-03-04T10:15",
        "limit_found": "TIA-568.3-D OM4",
        "cable_type": "om4/50",
        "connections": 2,
        "splices": 0,
        "reference_method": "one-cord",
        "connector_grade": "standard-grade",
        "evidence": "optical-loss",
        **columns,
    }
    readings: list[dict[str, Any]] = [
        {
            "record_id": "re-1",
            "quantity": "optical_loss",
            "subject": fiber or None,
            "wavelength_nm": nm,
            "direction": direction or None,
            "origin": "measured",
            "value": db,
            "step": 0.01,
        }
        for (fiber, nm, direction), db in losses.items()
    ]
    if length_m is not None:
        readings.append({"record_id": "re-1", "quantity": "length", "origin": "measured", "value": length_m})
    for nm, db in (limits or {}).items():
        readings.append(
            {
                "record_id": "re-1",
                "quantity": "optical_loss",
                "wavelength_nm": nm,
                "origin": "limit",
                "value": db,
                "step": 0.01,
            }
        )
    return Batch.from_rows({"records": [record], "readings": readings})


def duplex(db_850: float = 1.2, db_1300: float = 0.8) -> dict[tuple[str, float, str], float]:
    """Both fibres of a duplex link, both wavelengths, both directions, with equal losses."""
    return {(fiber, nm, way): db for fiber in "AB" for nm, db in ((850.0, db_850), (1300.0, db_1300)) for way in BOTH}
