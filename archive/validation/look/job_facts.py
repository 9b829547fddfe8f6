"""What is kept of each record while a whole job goes by: some 300 bytes, and no curves."""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np
import numpy.typing as npt

from archive.grading.fiber.link_facts import optical_facts
from archive.tables.arrow import Bools, Ints, Words
from archive.validation.look.record_look import RecordLook
from archive.vocabulary.places import Place

_TEXTS = ("record_id", "job_id", "link_label", "sequence", "reported_verdict", "evidence", "cable_type", "medium")


class JobFacts:
    """Facts of any number of records, filled batch by batch.

    Columns (arrays as long as there are records): the texts above; time (int64 seconds of the wall clock, -1 where
    unknown to the minute) and day (datetime64[D]), precision, unit and partner (serial numbers), place (words for both
    ends), at (number of the local end's place among places), length_m, scalars (hash of all readings) and readings
    (their number), limit_id, marginal, provisional, verdict (our own, "" where not graded), alien (has alien
    crosstalk), velocity, zone offset, optical (OpticalFacts, None for copper).
    """

    def __init__(self) -> None:
        self._parts: list[dict[str, npt.NDArray[Any]]] = []
        self._joined: dict[str, npt.NDArray[Any]] | None = None
        self._at: dict[Place, int] = {}
        self.jobs: dict[str, dict[str, Any]] = {}

    @property
    def places(self) -> list[Place]:
        """Building, floor and space of local ends as they are written, each once."""
        return list(self._at)

    def add(self, look: RecordLook) -> None:
        """Takes in the records of one batch."""
        if not look.size:
            return
        times, precision = look.tested
        known = ~np.isnat(times) & (precision != "day")
        part: dict[str, npt.NDArray[Any]] = {name: look.words(name) for name in _TEXTS}
        part["time"] = np.where(known, times.astype(np.int64), -1)
        part["day"] = times.astype("datetime64[D]")
        part["precision"] = precision
        part["unit"] = look.of_unit("local", "serial")
        part["partner"] = look.of_unit("remote", "serial")
        part["place"] = _places(look)
        part["at"] = np.array([self._at.setdefault(x, len(self._at)) for x in look.local_names], dtype=np.int64)
        part["length_m"] = look.readings.length
        part["scalars"], part["readings"] = _scalars(look)
        part["limit_id"] = look.limits.ids
        graded = look.rows_for("verdicts")
        part["marginal"] = look.flags("reported_marginal") | look.with_rows(graded, look.flags("marginal", "verdicts"))
        part["provisional"] = look.with_rows(graded, look.flags("provisional", "verdicts"))
        part["verdict"] = _verdicts(look)
        part["alien"] = _alien(look)
        part["velocity"] = look.reals("velocity_percent")
        part["optical"] = _optical(look)
        part["source"] = _joined(look.joined("source_id", "sources", "path"), look.words("source_place"))
        self._parts.append(part)
        self._joined = None
        for row in look.batch["jobs"].to_pylist():
            self.jobs.setdefault(row["job_id"], row)

    def __getitem__(self, name: str) -> npt.NDArray[Any]:
        """One column."""
        if self._joined is None:
            names = self._parts[0] if self._parts else {}
            self._joined = {n: np.concatenate([p[n] for p in self._parts]) for n in names}
            self._parts = [self._joined] if self._parts else []
        return self._joined[name] if self._joined else np.zeros(0, dtype=object)

    def __len__(self) -> int:
        return sum(len(p["record_id"]) for p in self._parts)


def _places(look: RecordLook) -> Words:
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
        out = _joined(out, named)
    return out


def _joined(*columns: Words) -> Words:
    """Texts side by side with a comma between those that are there."""
    return np.array([", ".join(x for x in row if x) for row in zip(*columns, strict=True)], dtype=object)


def _scalars(look: RecordLook) -> tuple[npt.NDArray[np.uint64], Ints]:
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
    return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest())


def _optical(look: RecordLook) -> Words:
    out = np.full(look.size, None, dtype=object)
    if not (look.words("medium") == "fiber").any():
        return out
    facts = optical_facts(look.batch)
    for row, name in enumerate(look.words("record_id")):
        out[row] = facts.get(name)
    return out


def _verdicts(look: RecordLook) -> Words:
    """Our own verdict against the first limit, "" where the record was not graded here."""
    out = np.full(look.size, "", dtype=object)
    rows, words = look.rows_for("verdicts"), look.words("verdict", "verdicts")
    at = np.flatnonzero(rows >= 0)[::-1]
    out[rows[at]] = words[at]
    return out


def _alien(look: RecordLook) -> Bools:
    """True for records with curves or reported worst cases of alien crosstalk."""
    sums = ("ps_anext", "ps_anext_average", "ps_aacr_f", "ps_aacr_f_average")
    measured = look.with_rows(look.curves.record, look.curves.mask("parameter", "anext", "afext", *sums))
    return measured | look.with_rows(look.rows_for("reported"), np.isin(look.words("parameter", "reported"), sums))
