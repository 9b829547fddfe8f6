"""Runs the examples of the catalogue: each is a small change to the good record, declared in schemas/rules.

`base = "fiber"`: of the good optical record. `do` is a list of steps, each about one table:
  set       {column = value}       "" empties the cell           scale, shift {column = number}
  remove    true                   takes the rows out            add     {column = value}: one more row
  where     {column = value}       the rows meant (all where absent)
  curve     a word of CURVES with its numbers; add_curve {...}: one more curve made from another one
  record    {...}                  one more record (for rules across records), see _record
  lengths   {links, favourite, share}   so many more links with nothing but a length, a share of which ends in one digit
"""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Callable
from typing import Any

import numpy as np

from archive import limits
from archive.tables import Batch, axis_row
from tests.validation import good

Rows = dict[str, list[dict[str, Any]]]
RECORD_TABLES = ("readings", "sweeps", "wiremap", "reported", "verdicts", "grades", "extras")


def batch(example: dict[str, Any]) -> Batch:
    """The good record with the changes of one example."""
    return Batch.from_rows(rows(example))


def rows(example: dict[str, Any]) -> Rows:
    """The same, as rows."""
    made = copy.deepcopy(good.fiber_rows() if example.get("base") == "fiber" else good.rows())
    for step in example.get("do", ()):
        _do(made, dict(step))
    return made


def _do(made: Rows, step: dict[str, Any]) -> None:
    if "record" in step:
        _record(made, step["record"])
        return
    if "lengths" in step:
        _lengths(made, step["lengths"])
        return
    table = made.setdefault(step["table"], [])
    if isinstance(step.get("add"), dict):
        record = {"record_id": "r1"} if step["table"] in RECORD_TABLES else {}
        table.append({**record, **step["add"]})
        return
    if "add_curve" in step:
        table.append(_new_curve(made, step["add_curve"]))
        return
    wanted = step.get("where", {})
    chosen = [r for r in table if all(r.get(k) == v for k, v in wanted.items())]
    assert chosen, f"no row of {step['table']} is meant by {wanted}"
    if step.get("remove"):
        table[:] = [r for r in table if r not in chosen]
    for row in chosen:
        for column, value in step.get("set", {}).items():
            row[column] = value if value != "" or column in ("link_label",) else None
        for column, by in step.get("scale", {}).items():
            row[column] *= by
        for column, by in step.get("shift", {}).items():
            row[column] += by
        if "curve" in step:
            _curve(made, row, step)


def _axis(made: Rows, row: dict[str, Any]) -> np.ndarray:
    return np.array(next(a["frequencies_mhz"] for a in made["axes"] if a["axis_id"] == row["axis_id"]))


def _put(made: Rows, row: dict[str, Any], f: np.ndarray, values: np.ndarray) -> None:
    axis = axis_row(f.tolist())
    if axis not in made["axes"]:
        made["axes"].append(axis)
    row["axis_id"] = axis["axis_id"]
    row["values"] = [None if v is None or np.isnan(v) else float(v) for v in values]


def _curve(made: Rows, row: dict[str, Any], step: dict[str, Any]) -> None:
    f, v = _axis(made, row), np.array(row["values"], dtype=float)
    if step["curve"] == "lose-last":
        row["values"] = row["values"][:-1]
        return
    if step["curve"] in WITH_ROWS:
        f, v = WITH_ROWS[step["curve"]](f, v, {**step, "made": made, "row": row})
    else:
        f, v = CURVES[step["curve"]](f, v, step)
    _put(made, row, f, v)


def _within(f: np.ndarray, s: dict[str, Any]) -> np.ndarray:
    return (f >= s["from"] - 1e-9) & (f <= s["to"] + 1e-9)


def _hold(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    inside = _within(f, s)
    return f, np.where(inside, v[inside][0], v)


def _near(f: np.ndarray, mhz: float) -> int:
    return int(np.abs(f - mhz).argmin())


def _poke(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    v = v.copy()
    v[_near(f, s["at"])] += s["by"]
    return f, v


def _set(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    v = v.copy()
    v[_near(f, s["at"])] = s["value"]
    return f, v


def _stretch(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    more = np.arange(f[-1] + 1, s["to"] + 0.5)
    slope = (v[-1] - v[-101]) / 100
    return np.append(f, more), np.append(v, v[-1] + slope * np.arange(1, len(more) + 1))


def _regrid(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    new = np.geomspace(s["from"], s["to"], s["points"])
    return new, np.interp(new, f, v)


def _every(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    kept = np.unique(np.append(np.arange(0, len(f), s["nth"]), len(f) - 1))
    return f[kept], v[kept]


def _parabola(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    step = s.get("step", 0.1)
    return f, np.round((s["low"] + s["per_mhz2"] * (f - s["at"]) ** 2) / step) * step


Step = Callable[[np.ndarray, np.ndarray, dict[str, Any]], tuple[np.ndarray, np.ndarray]]
CURVES: dict[str, Step] = {
    "cut": lambda f, v, s: (f[_within(f, s)], v[_within(f, s)]),
    "leave-out": lambda f, v, s: (f[~_within(f, s)], v[~_within(f, s)]),
    "blank": lambda f, v, s: (f, np.where(_within(f, s), np.nan, v)),
    "hold": _hold,
    "every": _every,
    "stretch": _stretch,
    "regrid": _regrid,
    "frequencies": lambda f, v, s: (f * s["by"], v),
    "append-again": lambda f, v, s: (np.concatenate([f, f]), np.concatenate([v, v])),
    "scale": lambda f, v, s: (f, v * s["by"] + s.get("add", 0.0)),
    "reverse": lambda f, v, s: (f, v[::-1]),
    "poke": _poke,
    "put": _set,
    "ratio": lambda f, v, s: (f, 10 ** (-v / 20)),
    "square-root": lambda f, v, s: (f, s["at_100"] * np.sqrt(f / 100)),
    "round": lambda f, v, s: (f, np.round(v / s["step"]) * s["step"]),
    "parabola": _parabola,
    "noise": lambda f, v, s: (f, v + np.random.default_rng(len(v)).normal(0, s["db"], len(v))),
}


def _clip(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    if s.get("mark"):
        s["row"]["above"] = np.flatnonzero(v >= s["high"]).tolist()
    return f, np.minimum(v, s["high"])


def _from(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    other = next(r for r in s["made"]["sweeps"] if r["parameter"] == s["parameter"])
    return f, np.array(other["values"])


def _of_record(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    key = ("parameter", "end", "pairing")
    row = s["row"]
    other = next(r for r in s["made"]["sweeps"] if r["record_id"] == s["id"] and all(r[k] == row[k] for k in key))
    return f, np.array(other["values"])


def _of_another_link(f: np.ndarray, v: np.ndarray, s: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    row = s["row"]
    return f, good.curves(seed=2)[row["parameter"], row["end"] or "", row["pairing"]]


WITH_ROWS: dict[str, Step] = {
    "clip": _clip,
    "from": _from,
    "of-another-link": _of_another_link,
    "of-record": _of_record,
}


def _new_curve(made: Rows, spec: dict[str, Any]) -> dict[str, Any]:
    source = next(r for r in made["sweeps"] if r["parameter"] == spec.get("from", "next"))
    values = np.array(source["values"])
    if "line" in spec:
        values = limits.get(good.LIMIT).lines[spec["line"]].at(_axis(made, source))
    row = {k: spec[k] for k in ("parameter", "end", "pairing", "origin") if k in spec}
    return {
        "record_id": "r1",
        "origin": "measured",
        "axis_id": source["axis_id"],
        **row,
        "values": (values + spec["add"]).tolist(),
    }


def _record(made: Rows, spec: dict[str, Any]) -> None:
    """One more record. seed, length_m: another link (else the same curves); seconds: after the first test;
    label, job, verdict, marginal; drop: tables left out; set: {table.column = value} in its rows."""
    number = len(made["records"]) + 1
    source = good.rows(seed=spec["seed"], length=spec.get("length_m", 50.0)) if "seed" in spec else made
    record = copy.deepcopy(made["records"][0] if "seed" not in spec else source["records"][0])
    new_id = f"r{number}"
    seconds = spec.get("seconds", 180 * (number - 1))
    local = dt.datetime(2025, 3, 4, 10, 15, 20) + dt.timedelta(seconds=seconds)
    record.update(
        record_id=new_id,
        link_label=spec.get("label", f"2-TR2-A{116 + number}"),
        tested_local=local.isoformat(),
        tested_found=local.isoformat(" "),
        tested_at=local.replace(tzinfo=dt.UTC),
        source_place=f"row {117 + number}",
    )
    record.update({k: v if v != "" else None for k, v in spec.get("set", {}).items()})
    made["records"].append(record)
    for table in RECORD_TABLES:
        for row in list(source.get(table, ())):
            if row["record_id"] == "r1" and table not in spec.get("drop", ()):
                made.setdefault(table, []).append({**copy.deepcopy(row), "record_id": new_id})
    for axis in source.get("axes", ()):
        if axis not in made["axes"]:
            made["axes"].append(axis)


def _lengths(made: Rows, spec: dict[str, Any]) -> None:
    """Links of 20.0 m and more, a decimetre apart from each other in turn, but for those that end in the favourite."""
    wanted = round(spec["links"] * spec["share"])
    others = [d for d in range(10) if d != spec["favourite"]]
    for i in range(spec["links"]):
        digit = spec["favourite"] if i < wanted else others[i % len(others)]
        _record(made, {"label": f"2-TR2-B{i:03d}", "drop": RECORD_TABLES, "set": {"reported_verdict": "pass"}})
        row = {"record_id": made["records"][-1]["record_id"], "quantity": "length", "origin": "measured"}
        made["readings"].append({**row, "value": round(20 + i % 60 + digit / 10, 1), "step": 0.1})
