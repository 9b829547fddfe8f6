"""What is kept of each record while a whole job goes by: some 300 bytes, and no curves."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.validation.look import Look

_TEXTS = ("record_id", "job_id", "link_label", "sequence", "reported_verdict", "evidence", "cable_type", "medium")


class Facts:
    """Facts of any number of records, filled batch by batch.

    Columns (arrays as long as there are records): the texts above; time (int64 seconds of the wall clock, -1 where
    unknown to the minute) and day (datetime64[D]), precision, unit and partner (serial numbers), place (words for both
    ends), length_m, scalars (hash of all readings) and readings (their number), limit_id, marginal, verdict (our own,
    "" where not graded), alien (has alien crosstalk), velocity, zone offset.
    """

    def __init__(self) -> None:
        self._parts: list[dict[str, Any]] = []
        self._joined: dict[str, Any] | None = None
        self.jobs: dict[str, dict[str, Any]] = {}

    def add(self, look: Look) -> None:
        """Takes in the records of one batch."""
        if not look.size:
            return
        times, precision = look.tested
        known = ~np.isnat(times) & (precision != "day")
        part = {name: look.words(name) for name in _TEXTS}
        part["record_id"] = look.ids.to_numpy(zero_copy_only=False).astype(object)
        part["time"] = np.where(known, times.astype(np.int64), -1)
        part["day"] = times.astype("datetime64[D]")
        part["precision"] = precision
        part["unit"] = look.joined("local_instrument_id", "instruments", "serial")
        part["partner"] = look.joined("remote_instrument_id", "instruments", "serial")
        part["place"] = _places(look)
        part["length_m"] = look.readings.length
        part["scalars"], part["readings"] = _scalars(look)
        part["limit_id"] = look.limits.ids
        part["limit_known"] = look.limits.known
        part["marginal"] = _marginal(look)
        part["verdict"] = _verdicts(look)
        part["alien"] = _alien(look)
        part["velocity"] = look.reals("velocity_percent")
        part["source"] = _sources(look)
        self._parts.append(part)
        self._joined = None
        for row in look.batch["jobs"].to_pylist():
            self.jobs.setdefault(row["job_id"], row)

    def __getitem__(self, name: str) -> Any:
        """One column."""
        if self._joined is None:
            names = self._parts[0] if self._parts else {}
            self._joined = {n: np.concatenate([p[n] for p in self._parts]) for n in names}
            self._parts = [self._joined] if self._parts else []
        return self._joined[name] if self._joined else np.zeros(0, dtype=object)

    def __len__(self) -> int:
        return sum(len(p["record_id"]) for p in self._parts)


def _sources(look: Look) -> Any:
    """File and place in it, as text."""
    paths, inside = look.joined("source_id", "sources", "path"), look.words("source_place")
    return np.array([", ".join(x for x in two if x) for two in zip(paths, inside, strict=True)], dtype=object)


def _places(look: Look) -> Any:
    """Words for the places of both ends, "" where a record names none."""
    out = np.full(look.size, "", dtype=object)
    places = look.batch["places"]
    if not places.num_rows:
        return out
    columns = ("site", "building", "floor", "space", "panel", "port")
    words = {row["place_id"]: " ".join(row[c] for c in columns if row[c]) for row in places.to_pylist()}
    for end in ("local", "remote"):
        keys = look.words(f"{end}_place_id")
        named = np.array([f"{end} {words[k]}" if words.get(k) else "" for k in keys], dtype=object)
        out = np.array([", ".join(x for x in two if x) for two in zip(out, named, strict=True)], dtype=object)
    return out


def _scalars(look: Look) -> tuple[Any, Any]:
    """Hash of all readings but zeros and temperatures (uint64), and their number."""
    readings = look.readings
    use = np.flatnonzero(readings.is_measured & (readings.value != 0) & ~np.isnan(readings.value))
    use = use[readings.quantity[use] != "temperature"]
    named = list(zip(readings.quantity[use], readings.subject[use], strict=True))
    keys = {k: i for i, k in enumerate(sorted(set(named)))}
    name = np.array([_mix(f"{q} {s}") for q, s in keys], dtype=np.uint64)
    number = np.array([keys[k] for k in named], dtype=np.int64)
    bits = (readings.value[use] + 0.0).view(np.uint64)
    with np.errstate(over="ignore"):
        bits ^= bits >> np.uint64(31)
        each = (bits * np.uint64(0x9E3779B97F4A7C15)) ^ (name[number] if len(use) else bits)
        each ^= each >> np.uint64(29)
        each *= np.uint64(0xBF58476D1CE4E5B9)
        total = np.zeros(look.size, dtype=np.uint64)
        np.add.at(total, readings.rows[use], each)
    return total, np.bincount(readings.rows[use], minlength=look.size)


def _mix(text: str) -> int:
    """A number for a name, the same in every run."""
    out = 1469598103934665603
    for byte in text.encode():
        out = (out ^ byte) * 1099511628211 % 2**64
    return out


def _marginal(look: Look) -> Any:
    marked = pc.fill_null(look.records.column("reported_marginal"), False).to_numpy().astype(bool).copy()
    rows = look.rows_for("verdicts")
    ours = pc.fill_null(look.batch["verdicts"].column("marginal"), False).to_numpy().astype(bool)
    marked[rows[ours & (rows >= 0)]] = True
    return marked


def _verdicts(look: Look) -> Any:
    """Our own verdict against the first limit, "" where the record was not graded here."""
    out = np.full(look.size, "", dtype=object)
    rows, words = look.rows_for("verdicts"), look.words("verdict", "verdicts")
    at = np.flatnonzero(rows >= 0)[::-1]
    out[rows[at]] = words[at]
    return out


def _alien(look: Look) -> Any:
    curves = look.curves
    named = curves.mask("parameter", "ps_anext", "ps_anext_average", "anext", "ps_aacr_f", "ps_aacr_f_average", "afext")
    out = np.zeros(look.size, dtype=bool)
    out[curves.rows[named & (curves.rows >= 0)]] = True
    rows, names = look.rows_for("reported"), look.words("parameter", "reported")
    at = (rows >= 0) & np.isin(names, ("ps_anext", "ps_anext_average", "ps_aacr_f", "ps_aacr_f_average"))
    out[rows[at]] = True
    return out


def text_array(values: Any) -> Any:
    """An Arrow text array; "" is null."""
    return pa.array([v or None for v in values], type=pa.string())
