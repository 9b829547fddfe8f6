"""Rules about the time of a test, the calibration of its units and their accuracy."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import Bools, Ints
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.validation.look.local_times import iso, local_times

_ENDS = ("local", "remote")


def _days(look: RecordLook, end: str, column: str) -> npt.NDArray[np.datetime64]:
    """A date of the unit at one end, datetime64[D], NaT where there is none."""
    texts = pa.array(look.of_unit(end, column), type=pa.string())
    return local_times(texts)[0].astype("datetime64[D]")


def _said(look: RecordLook, rows: Ints) -> list[str]:
    times, precision = look.tested
    return [iso(times[r], precision[r]) for r in rows]


@rule("clock-reset")
def clock_reset(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Before any such test was made, or on the first days of a clock."""
    tested = look.tested[0].astype("datetime64[D]")
    bad = tested < np.datetime64(limits["before"], "D")
    for first in limits["first_days"]:
        after = (tested - np.datetime64(first, "D")).astype(np.int64)
        bad |= ~np.isnat(tested) & (after >= 0) & (after < limits["days"])
    rows = np.flatnonzero(bad)
    yield Raised(rows, found=_said(look, rows))


@rule("tested-in-the-future")
def tested_in_the_future(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """After the day that counts as today."""
    rows = np.flatnonzero(look.tested[0].astype("datetime64[D]") > look.today + np.timedelta64(limits["days"], "D"))
    yield Raised(rows, found=_said(look, rows), expected=str(look.today))


@rule("time-contradicts-zone")
def time_contradicts_zone(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Local time less offset against the time in UTC, to the precision of the local time."""
    times, precision = look.tested
    utc = pc.cast(look.records.column("tested_at"), "int64").to_numpy(zero_copy_only=False).astype(np.float64) / 1000
    offset = look.reals("utc_offset_min")
    local = np.where(np.isnat(times), np.nan, times.astype("datetime64[s]").astype(np.int64).astype(np.float64))
    slack = np.where(precision == "minute", 60.0, 1.0)
    rows = np.flatnonzero((precision != "day") & (np.abs(local - offset * 60 - utc) >= slack))
    due = (local - offset * 60)[rows].astype(np.int64).astype("datetime64[s]")
    found = [f"{t} UTC" for t in utc[rows].astype(np.int64).astype("datetime64[s]")]
    yield Raised(rows, found=found, expected=[f"{t} UTC" for t in due])


@rule("tested-before-calibration")
def tested_before_calibration(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Day of the test against the day of calibration of each unit."""
    tested = look.tested[0].astype("datetime64[D]")
    for end in _ENDS:
        made = _days(look, end, "calibrated_on")
        yield NotLooked(np.flatnonzero(~np.isnat(made) & np.isnat(tested)), "the date of the test is not known")
        rows = np.flatnonzero(tested < made)
        yield Raised(rows, where=end, found=_said(look, rows), expected=[str(d) for d in made[rows]])


def _certified(
    look: RecordLook, end: str, tested: npt.NDArray[np.datetime64]
) -> tuple[Bools, npt.NDArray[np.datetime64]]:
    """Where a certificate for the unit's serial number covers the day of the test; and the last day of the latest one
    that had ended by then, NaT where there is none."""
    documents = look.batch["documents"]
    covered, ended = np.zeros(look.size, dtype=bool), np.full(look.size, np.datetime64("NaT", "D"))
    if not documents.num_rows:
        return covered, ended
    serial = look.of_unit(end, "serial")
    for paper in documents.filter(pc.equal(documents.column("kind"), "certificate")).to_pylist():
        if not paper["serial"] or not (paper["valid_from"] or paper["valid_until"]):
            continue
        begins, ends = (_bound(paper[c]) for c in ("valid_from", "valid_until"))
        mine = serial == paper["serial"]
        covered |= mine & ((tested >= begins) | np.isnat(begins)) & ((tested <= ends) | np.isnat(ends))
        ended = np.where(mine & (tested > ends), np.fmax(ended, ends), ended)
    return covered, ended


def _bound(text: str | None) -> np.datetime64:
    return np.datetime64(text or "NaT", "D")


_UNKNOWN = {
    (True, False): "the date of the test is not known",
    (False, True): "no date of calibration of the {end} unit is known",
    (True, True): "neither the date of the test nor a date of calibration of the {end} unit is known",
}
"""What is said where the date of the test, that of the calibration, or both are unknown."""


@rule("calibration-expired")
def calibration_expired(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Day of the test against the day on which the calibration runs out, else so many months after it was made, else
    the end of the latest certificate. A certificate that covers the day settles it."""
    tested = look.tested[0].astype("datetime64[D]")
    for end in _ENDS:
        made, due = _days(look, end, "calibrated_on"), _days(look, end, "calibration_due")
        month = made.astype("datetime64[M]")
        later = (month + limits["months"]).astype("datetime64[D]") + (made - month.astype("datetime64[D]"))
        covered, ended = _certified(look, end, tested)
        last = np.where(np.isnat(due), later, due)
        last = np.where(np.isnat(last), ended, last)
        named = (look.words(f"{end}_instrument_id") != "") & ~covered
        for (no_test, no_calibration), why in _UNKNOWN.items():
            here = named & (np.isnat(tested) == no_test) & (np.isnat(last) == no_calibration)
            yield NotLooked(np.flatnonzero(here), why.format(end=end))
        rows = np.flatnonzero((tested > last) & ~covered)
        yield Raised(rows, where=end, found=_said(look, rows), expected=[str(d) for d in last[rows]])


@rule("calibration-dates-contradict")
def calibration_dates_contradict(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The day on which it runs out against the day on which it was made."""
    for end in _ENDS:
        made, due = _days(look, end, "calibrated_on"), _days(look, end, "calibration_due")
        days = (due - made).astype(np.int64)
        known = ~np.isnat(made) & ~np.isnat(due)
        rows = np.flatnonzero(known & ((days <= 0) | (days > 366 * limits["years"])))
        yield Raised(rows, where=end, found=[str(d) for d in made[rows]], expected=[str(d) for d in due[rows]])


@cache
def _level(words: str) -> str:
    """The level in words such as "Level IIIe" or "2G"; "" where none is understood."""
    for part in words.replace("(", " ").replace(")", " ").replace(",", " ").split():
        plain = part.strip("-:.")
        if plain.lower() in ("level", "accuracy", "tester"):
            continue
        upper = plain.upper()
        return upper[:-1] + "e" if upper.endswith("E") and len(upper) > 1 else upper
    return ""


@rule("accuracy-level-too-low")
def accuracy_level_too_low(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Place of the level in the order against what the category asks for; words that are no level say nothing."""
    order, same, asks = list(limits["order"]), limits["same"], limits["asks"]
    for end in _ENDS:
        levels = [_level(w) for w in look.of_unit(end, "accuracy_level")]
        hits = []
        for row, (level, limit_id) in enumerate(zip(levels, look.limits.ids, strict=True)):
            have = same.get(level, level)
            asked = asks.get(limit_id.split("/")[1]) if limit_id.count("/") == 2 else None
            if asked and have in order and order.index(have) < order.index(asked):
                hits.append((row, f"{level} ({end} unit)", asked))
        yield Raised.each(hits, look.limits.ids)


@rule("same-unit-at-both-ends")
def same_unit_at_both_ends(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """One serial number for two units. One row for both ends is one instrument on purpose: a network analyser."""
    here, there = (look.of_unit(end, "serial") for end in _ENDS)
    units = look.words("local_instrument_id") != look.words("remote_instrument_id")
    rows = np.flatnonzero(units & (here != "") & (here == there))
    yield Raised(rows, found=list(here[rows]))


@rule("units-calibrated-apart")
def units_calibrated_apart(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Days between the calibrations of two different units of one test."""
    here, there = (_days(look, end, "calibrated_on") for end in _ENDS)
    one, other = (look.words(f"{end}_instrument_id") for end in _ENDS)
    two = (one != "") & (other != "") & (one != other)
    known = ~np.isnat(here) & ~np.isnat(there)
    yield NotLooked(np.flatnonzero(two & ~known), "the date of calibration of a unit is not known")
    apart = np.abs((there - here).astype("timedelta64[D]").astype(np.int64))
    rows = np.flatnonzero(two & known & (apart > limits["days"]))
    yield Raised(rows, where="local unit", found=[str(d) for d in here[rows]], expected=[str(d) for d in there[rows]])


@rule("tested-at-night")
def tested_at_night(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """The hour of the day of the local time."""
    times, precision = look.tested
    begins, ends = limits["hours"]
    timed = ~np.isnat(times) & (precision != "day")
    yield NotLooked(np.flatnonzero(~timed), "the time of the day is not known")
    hour = (times - times.astype("datetime64[D]")).astype("timedelta64[s]").astype(np.int64) / 3600
    night = (hour >= begins) | (hour < ends) if begins > ends else (hour >= begins) & (hour < ends)
    rows = np.flatnonzero(timed & night)
    yield Raised(rows, found=_said(look, rows), expected=f"{begins:g} to {ends:g}")
