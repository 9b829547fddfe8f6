"""A good record, from which examples are made by a small change: invented, physical, without the simulator.

A category 6A permanent link of some 50 m: insertion loss by the cable formula of TIA-568 (S9), crosstalk and return
loss as sums of small reflections and couplings along the cable, power sums and ACR-F by their definitions.
Every name in it is invented.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np

from archive import limits
from archive.tables import Batch, axis_row
from archive.vocabulary import COMBINATIONS, ENDS, ORDERED, PAIRS

LIMIT = "tia-568.2-d/cat6a/permanent-link"
LIGHT = 0.299792458
NVP = 0.69


@cache
def grid() -> np.ndarray:
    """1 to 500 MHz in the steps of a field test."""
    parts = [
        np.arange(1.0, 31.2, 0.15),
        np.arange(31.25, 100.1, 0.25),
        np.arange(100.5, 250.1, 0.5),
        np.arange(251, 501.0),
    ]
    return np.round(np.concatenate(parts), 4)


def _sum(rng: np.random.Generator, per_m: np.ndarray, length: float, shape: tuple[int, ...]) -> np.ndarray:
    """Random couplings along the cable, each seen through it and back: complex (..., points)."""
    z = np.sort(rng.uniform(0, length, 80))
    return rng.normal(size=(*shape, 80)) @ np.exp(-2 * per_m[None, :] * z[:, None]) * np.sqrt(length / 80)


@cache
def curves(seed: int = 1, length: float = 50.0) -> dict[tuple[str, str, str], np.ndarray]:
    """dB by parameter, end ("" for none) and pairing, rounded to 0.1 dB."""
    rng = np.random.default_rng(seed)
    f = grid()
    lay = {p: 1 + 0.01 * i for i, p in enumerate(PAIRS)}
    cable = 1.82 * np.sqrt(f) + 0.0091 * f + 0.25 / np.sqrt(f)
    out: dict[tuple[str, str, str], np.ndarray] = {}
    for p in PAIRS:
        out["insertion_loss", "", p] = 0.94 * length * lay[p] / 100 * cable + 0.02 * np.sqrt(f)
    per_m = cable / 100 / 8.686 + 2j * np.pi * f * 1e6 / (NVP * LIGHT * 1e9)
    for end in ENDS:
        near = _sum(rng, per_m, length, (6,)) * (f / 100) * 10 ** (-54.0 / 20) / 3
        for c, h in zip(COMBINATIONS, near, strict=True):
            plug = 10 ** (-60 / 20) * (f / 100) * np.exp(1j * rng.uniform(0, 6))
            out["next", end, c] = -20 * np.log10(np.abs(h + plug))
        echo = _sum(rng, per_m, length, (4,)) * np.sqrt(f / 100) * 10 ** (-34.0 / 20) / 3
        for p, h in zip(PAIRS, echo, strict=True):
            out["return_loss", end, p] = -20 * np.log10(np.abs(h + 0.012 * np.exp(1j * f / 60)))
    for i, a in enumerate(PAIRS):
        for b in PAIRS[i + 1 :]:
            # both directions of one coupling: a to b at one end is b to a at the other
            for first, second in ((a, b), (b, a)):
                h = _sum(rng, per_m * 0.05, length, (1,))[0] * (f / 100) * 10 ** (-42.0 / 20) / 7
                loss = (out["insertion_loss", "", a] + out["insertion_loss", "", b]) / 2
                value = -20 * np.log10(np.abs(h)) + loss
                out["fext", "local", f"{first}/{second}"] = value
                out["fext", "remote", f"{second}/{first}"] = value
    return {k: np.round(v, 1) for k, v in out.items()}


def power_sum(parts: list[np.ndarray]) -> np.ndarray:
    """-10 lg sum 10^(-x/10)."""
    return -10 * np.log10(sum(10 ** (-p / 10) for p in parts))


def derived(measured: dict[tuple[str, str, str], np.ndarray]) -> dict[tuple[str, str, str], np.ndarray]:
    """PS NEXT and ACR-F by their definitions."""
    out = {}
    for end in ENDS:
        for p in PAIRS:
            out["ps_next", end, p] = power_sum([measured["next", end, c] for c in COMBINATIONS if p in c.split("/")])
        for c in ORDERED:
            out["acr_f", end, c] = measured["fext", end, c] - measured["insertion_loss", "", c.split("/")[1]]
    return {k: np.round(v, 1) for k, v in out.items()}


@cache
def rows(seed: int = 1, length: float = 50.0) -> dict[str, list[dict[str, Any]]]:
    """The tables of the good record, as rows. Copy before changing."""
    f, measured = grid(), curves(seed, length)
    axis = axis_row(f.tolist())
    sweeps = [
        _sweep(key, values, axis["axis_id"], origin)
        for origin, made in (("measured", measured), ("derived", derived(measured)))
        for key, values in made.items()
    ]
    delays = {p: round(length * (1 + 0.01 * i) / (NVP * LIGHT)) for i, p in enumerate(PAIRS)}
    ohm_m = 0.017241 / (np.pi / 4 * 0.5733**2)
    readings = []
    for p, ns in delays.items():
        readings += [
            _reading("length", p, round(ns * NVP * LIGHT, 1), 0.1),
            _reading("propagation_delay", p, float(ns), 1.0),
            _reading("delay_skew", p, float(ns - min(delays.values())), 1.0),
            _reading("loop_resistance", p, round(2 * ohm_m * ns * NVP * LIGHT * 1.03, 1), 0.1),
        ]
    return {
        "axes": [axis],
        "instruments": [_unit("in-main", "40-00317", "main"), _unit("in-remote", "40-00318", "remote")],
        "people": [
            {
                "person_key": "pe-1",
                "salt": "s",
                "name": "R. Ostrander",
                "organisation": "Tern & Daughters",
                "role": "operator",
            }
        ],
        "sources": [{"source_id": "s1", "path": "week9/links.csv"}],
        "records": [_record()],
        "readings": readings,
        "sweeps": sweeps,
        "wiremap": [{"record_id": "r1", "near": n, "far": n} for n in (*"12345678", "S")],
        "reported": _reported(measured),
    }


def _record() -> dict[str, Any]:
    import datetime as dt

    return {
        "record_id": "r1",
        "medium": "copper",
        "job_id": "HARBOUR-2025",
        "link_label": "2-TR2-A117",
        "tested_found": "04.03.2025 10:15:20",
        "tested_local": "2025-03-04T10:15:20",
        "tested_at": dt.datetime(2025, 3, 4, 10, 15, 20, tzinfo=dt.UTC),
        "utc_offset_min": 0,
        "zone_basis": "job",
        "operator_key": "pe-1",
        "local_instrument_id": "in-main",
        "remote_instrument_id": "in-remote",
        "limit_found": LIMIT,
        "configuration": "permanent-link",
        "cable_found": "Cat 6A F/UTP 23AWG",
        "cable_type": "cat6a/f-utp/awg23/solid",
        "velocity_percent": 100 * NVP,
        "reported_verdict": "pass",
        "reported_words": "PASS",
        "reported_marginal": False,
        "evidence": "full-sweep",
        "source_id": "s1",
        "source_place": "row 118",
    }


def _unit(key: str, serial: str, unit: str) -> dict[str, Any]:
    return {
        "instrument_id": key,
        "maker": "Petrel Metrology",
        "model": "P-40",
        "serial": serial,
        "unit": unit,
        "software": "3.1",
        "calibrated_on": "2024-11-02",
        "calibration_due": "2025-11-02",
        "accuracy_level": "IIIe",
        "adapter": "permanent-link head 12",
    }


def _sweep(key: tuple[str, str, str], values: np.ndarray, axis_id: str, origin: str) -> dict[str, Any]:
    parameter, end, pairing = key
    return {
        "record_id": "r1",
        "parameter": parameter,
        "end": end or None,
        "pairing": pairing,
        "origin": origin,
        "axis_id": axis_id,
        "values": values.tolist(),
        "step": 0.1,
    }


def _reading(quantity: str, subject: str, value: float, step: float) -> dict[str, Any]:
    row = {"record_id": "r1", "quantity": quantity, "subject": subject, "origin": "measured"}
    return {**row, "value": value, "step": step}


def _reported(measured: dict[tuple[str, str, str], np.ndarray]) -> list[dict[str, Any]]:
    """The worst margin of NEXT, of insertion loss and of return loss at each end, as an instrument prints it."""
    out = []
    limit = limits.get(LIMIT)
    for parameter, end in (("next", "local"), ("next", "remote"), ("insertion_loss", "")):
        line = limit.lines[parameter]
        bound = line.at(grid())
        mine = {k[2]: v for k, v in measured.items() if k[:2] == (parameter, end)}
        margins = {p: (bound - v if line.sense == "max" else v - bound) for p, v in mine.items()}
        pairing = min(margins, key=lambda p: margins[p].min())
        at = int(margins[pairing].argmin())
        out.append(
            {
                "record_id": "r1",
                "parameter": parameter,
                "kind": "worst_margin",
                "end": end or None,
                "pairing": pairing,
                "frequency_mhz": float(grid()[at]),
                "value": float(mine[pairing][at]),
                "limit": round(float(bound[at]), 1),
                "margin": round(float(margins[pairing][at]), 1),
                "verdict": "pass",
                "step": 0.1,
            }
        )
    return out


@cache
def fiber_rows() -> dict[str, list[dict[str, Any]]]:
    """The good optical record, as rows: 120 m of OM4 with two connections, both wavelengths and directions.

    0.12 km x 2.5 dB/km (850 nm) and x 0.7 dB/km (1300 nm), and 2 x 0.2 dB: invented, of the usual size.
    """
    made = {k: [dict(r) for r in v] for k, v in rows().items() if k in ("instruments", "people", "sources", "records")}
    made["records"][0] |= {
        "medium": "fiber",
        "limit_found": "our own, 850/1300 nm",
        "configuration": None,
        "cable_found": "OM4 50/125",
        "cable_type": "om4/50",
        "velocity_percent": None,
        "group_index": 1.482,
        "connections": 2,
        "splices": 0,
        "reference_method": "one-cord",
        "reference_local": "2025-03-04T08:02",
        "launch_condition": "encircled-flux",
        "evidence": "worst-points",
    }
    made["readings"] = [
        _reading("optical_loss", "7", round(0.4 + 0.12 * per_km + more, 2), 0.01)
        | {"wavelength_nm": nm, "direction": direction}
        for nm, per_km in ((850.0, 2.5), (1300.0, 0.7))
        for direction, more in (("local-remote", 0.0), ("remote-local", 0.03))
    ]
    return made


def batch(**kwargs: Any) -> Batch:
    """The good record as a batch."""
    return Batch.from_rows(rows(**kwargs))
