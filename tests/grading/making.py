"""Records for the tests of grading. Every number in them is invented: curves are laid a chosen distance from a limit.

A record is a dict of rows by table, as Batch.from_rows takes them; `batch` puts several into one.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from archive import limits, vocabulary
from archive.tables import Batch, axis_row

PAIRS, COMBINATIONS, ORDERED = vocabulary.PAIRS, vocabulary.COMBINATIONS, vocabulary.ORDERED
CAT5 = "tsb-67/cat5/channel"
CAT6A = "tia-568.2-d/cat6a/permanent-link"
CLASS_EA_LINK = "iso-11801-1/class-ea/permanent-link-2"
CLASS_EA = "iso-11801-1/class-ea/channel"


BANDS = ((31.25, 0.15), (100, 0.25), (250, 0.5), (500, 1.0), (1000, 2.0), (2000, 5.0))
"""Steps of a field test, MHz, up to a frequency (reference section 6, C)."""


def grid(low: float = 1.0, high: float = 500.0) -> np.ndarray:
    """A grid in the widest steps that a field test may take."""
    parts, start = [np.array([low, high])], 1.0
    for end, step in BANDS:
        parts.append(np.append(np.arange(start, end, step), end))
        start = end
    f = np.unique(np.round(np.concatenate(parts), 2))
    return f[(f >= low) & (f <= high)]


def curves(limit_id: str, f: np.ndarray, margin: float = 5.0, step: float | None = 0.1) -> dict[tuple, np.ndarray]:
    """Curves of a whole link by (parameter, end, pairing), at least `margin` dB better than every line of a limit.

    Every pair and combination is a little different, so that the worst of them is known: the first of each is worst.
    """
    limit = limits.get(limit_id)
    line = {name: part.at(f) for name, part in limit.lines.items()}
    loss = np.maximum(line["insertion_loss"] - margin, 0.3)
    near = [line["next"]]
    near += [line["ps_next"] + 4.8] if "ps_next" in line else []
    near += [line["acr_n"] + loss + 0.3] if "acr_n" in line else []
    near += [line["ps_acr_n"] + loss + 5.1] if "ps_acr_n" in line else []
    far_line = line.get("acr_f", line.get("elfext"))
    out: dict[tuple, np.ndarray] = {}
    for i, pair in enumerate(PAIRS):
        out["insertion_loss", None, pair] = loss - 0.1 * i * (loss > 1)
    for e, end in enumerate(("local", "remote")):
        for i, pair in enumerate(PAIRS):
            if "return_loss" in line:
                out["return_loss", end, pair] = line["return_loss"] + margin + 0.2 * i + 0.05 * e
        for i, name in enumerate(COMBINATIONS):
            out["next", end, name] = np.max(near, axis=0) + margin + 0.3 * i + 0.1 * e
        if far_line is not None:
            for i, name in enumerate(ORDERED):
                out["fext", end, name] = far_line + 4.8 + margin + loss + 0.3 + 0.1 * i + 0.1 * e
    if step:
        out = {key: np.round(np.round(value / step) * step, 6) for key, value in out.items()}
    return out


def sweep(key: tuple, values: Any, axis_id: str, record: str = "re-1", step: float | None = 0.1, **more: Any) -> dict:
    """One row of sweeps; NaN becomes null. key: parameter, end, pairing."""
    parameter, end, pairing = key
    listed = [None if v is None or np.isnan(v) else float(v) for v in np.asarray(values, dtype=object)]
    row = {"record_id": record, "parameter": parameter, "end": end, "pairing": pairing, "origin": "measured"}
    return {**row, "axis_id": axis_id, "values": listed, "step": step, **more}


def readings(record: str = "re-1", **values: Any) -> list[dict]:
    """Readings of all four pairs: a number for all, or four."""
    out = []
    for quantity, value in values.items():
        each = value if isinstance(value, list | tuple) else [value] * 4
        for pair, number in zip(PAIRS, each, strict=True):
            row = {"record_id": record, "quantity": quantity, "subject": pair, "origin": "measured"}
            out.append({**row, "value": float(number), "step": 1.0 if "delay" in quantity else 0.1})
    return out


def record(
    limit_id: str = CAT6A,
    margin: float = 5.0,
    f: np.ndarray | None = None,
    record_id: str = "re-1",
    step: float | None = 0.1,
    link: str = "1A-01",
    **facts: Any,
) -> dict[str, list[dict]]:
    """A record with every curve and reading that a limit needs. facts: columns of records."""
    top = limits.get(limit_id).range_mhz
    f = grid(*top) if f is None else f
    axis = axis_row(f)
    row = {"record_id": record_id, "medium": "copper", "link_label": link, "limit_found": limit_id}
    found = curves(limit_id, f, margin, step)
    return {
        "records": [{**row, "evidence": "full-sweep", **facts}],
        "axes": [axis],
        "sweeps": [sweep(key, values, axis["axis_id"], record_id, step) for key, values in found.items()],
        "readings": readings(record_id, propagation_delay=[400, 405, 410, 402], length=80),
    }


def batch(*records: dict[str, list[dict]]) -> Batch:
    """Records in one batch; equal axes once."""
    rows: dict[str, list[dict]] = {}
    for part in records:
        for table, listed in part.items():
            rows.setdefault(table, []).extend(listed)
    rows["axes"] = list({axis["axis_id"]: axis for axis in rows.get("axes", [])}.values())
    return Batch.from_rows(rows)


def find(part: dict[str, list[dict]], parameter: str, end: str | None, pairing: str) -> dict:
    """The sweep of a record, to be changed in place."""
    for row in part["sweeps"]:
        if (row["parameter"], row["end"], row["pairing"]) == (parameter, end, pairing):
            return row
    raise KeyError((parameter, end, pairing))


def verdict(graded: Batch, number: int = 0) -> dict[str, Any]:
    """One row of verdicts."""
    return graded["verdicts"].to_pylist()[number]


def grades(graded: Batch, **wanted: Any) -> list[dict[str, Any]]:
    """Rows of grades with these cells."""
    return [row for row in graded["grades"].to_pylist() if all(row[k] == v for k, v in wanted.items())]


def one(graded: Batch, **wanted: Any) -> dict[str, Any]:
    """The one row of grades with these cells."""
    (row,) = grades(graded, **wanted)
    return row
