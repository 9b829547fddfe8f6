"""Rules about optical loss tests: wavelength, reference, launch, connections, losses that cannot be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from archive.tables.arrow import Bools, Ints, Reals, Words
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.validation.look.local_times import iso, local_times
from archive.validation.look.record_look import once
from archive.vocabulary import cables

_NO_KIND = "the kind of fibre is not known"


@dataclass(frozen=True)
class Losses:
    """Measured optical losses of a batch, one entry each: row of the records table, value in dB, wavelength in nm (NaN
    where there is none), fibre and direction ("" where there is none). any: records with such a loss."""

    rows: Ints
    value: Reals
    nm: Reals
    fiber: Words
    direction: Words
    any: Bools


@once
def losses(look: RecordLook) -> Losses:
    """The losses of a batch."""
    at = look.readings.of("optical_loss")
    rows = look.readings.rows[at]
    return Losses(
        rows=rows,
        value=look.readings.value[at],
        nm=look.reals("wavelength_nm", "readings")[at],
        fiber=look.readings.subject[at],
        direction=look.words("direction", "readings")[at],
        any=look.with_rows(rows),
    )


def _kind(look: RecordLook) -> Words:
    """multimode, single-mode, or "" where the cable type says neither, by record."""
    first = [cables.known(word).get("class", "") for word in look.words("cable_type")]
    return np.array(
        ["multimode" if w.startswith("om") else "single-mode" if w.startswith("os") else "" for w in first],
        dtype=object,
    )


def _nm(values: Iterable[float]) -> str:
    return " and ".join(f"{v:g}" for v in values) + " nm"


def _count(rows: Ints) -> tuple[Ints, list[str]]:
    """Records, and how many losses of each are meant, in words."""
    found, count = np.unique(rows, return_counts=True)
    return found, [f"{n} optical loss{'es' if n > 1 else ''}" for n in count]


@rule("wavelength-missing")
def wavelength_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A measured loss without a wavelength."""
    said = losses(look)
    rows, found = _count(said.rows[np.isnan(said.nm)])
    yield Raised(rows, found=found)


@rule("wavelength-left-out")
def wavelength_left_out(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Each wavelength of the kind of fibre against those that were measured."""
    said, kind = losses(look), _kind(look)
    yield NotLooked(np.flatnonzero(said.any & (kind == "")), _NO_KIND)
    for word, wanted in (("multimode", limits["multimode_nm"]), ("single-mode", limits["single_mode_nm"])):
        have = np.zeros((look.size, len(wanted)), dtype=bool)
        for column, nm in enumerate(wanted):
            have[said.rows[np.abs(said.nm - nm) <= limits["within_nm"]], column] = True
        rows = np.flatnonzero(said.any & (kind == word) & ~have.all(axis=1))
        gone = [_nm([nm for nm, there in zip(wanted, have[r], strict=True) if not there]) for r in rows]
        yield Raised(rows, where=word, found=gone, expected=_nm(wanted))


@rule("wavelength-not-of-fiber")
def wavelength_not_of_fiber(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A wavelength outside the range of the kind of fibre."""
    said, kind = losses(look), _kind(look)
    yield NotLooked(np.flatnonzero(said.any & (kind == "")), _NO_KIND)
    for word, (low, high) in (("multimode", limits["multimode_nm"]), ("single-mode", limits["single_mode_nm"])):
        bad = (kind[said.rows] == word) & ((said.nm < low) | (said.nm > high))
        for row in np.unique(said.rows[bad]):
            found = _nm(np.unique(said.nm[bad & (said.rows == row)]))
            yield Raised([int(row)], where=word, found=found, expected=f"{low:g} to {high:g} nm")


@rule("reference-method-missing")
def reference_method_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A loss, and no method of setting the reference."""
    yield Raised(np.flatnonzero(losses(look).any & look.is_null("reference_method")))


@rule("reference-not-of-the-day")
def reference_not_of_the_day(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """From the reference to the test. Where one of the two is a day without a time, days are compared."""
    tested, precise = look.tested
    made, how = local_times(look.records.column("reference_local"))
    asked = losses(look).any
    timed = ~np.isnat(tested) & ~np.isnat(made)
    yield NotLooked(np.flatnonzero(asked & ~timed), "no time of test or of reference is known")
    days = (precise == "day") | (how == "day")
    day = tested.astype("datetime64[D]") != made.astype("datetime64[D]")
    hours = (tested - made).astype(np.int64) / 3600
    # a reference kept to the minute may seem to follow a test of the same minute
    off = np.where(days, day, (hours < -1 / 60) | (hours > limits["hours"]))
    rows = np.flatnonzero(asked & timed & off)
    found = [iso(made[r], how[r]) for r in rows]
    yield Raised(rows, found=found, expected=[iso(tested[r], precise[r]) for r in rows])


@rule("launch-condition-missing")
def launch_condition_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A multimode loss, and no launch condition."""
    said, kind = losses(look), _kind(look)
    lacks = said.any & np.isin(look.words("launch_condition"), ("", "unknown"))
    yield NotLooked(np.flatnonzero(lacks & (kind == "")), _NO_KIND)
    yield Raised(np.flatnonzero(lacks & (kind == "multimode")))


@rule("connections-not-counted")
def connections_not_counted(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A loss, and no number of connections or of splices."""
    for word in ("connections", "splices"):
        yield Raised(np.flatnonzero(losses(look).any & look.is_null(word)), found=word)


@rule("optical-direction-missing")
def optical_direction_missing(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A measured loss without a direction."""
    said = losses(look)
    rows, found = _count(said.rows[said.direction == ""])
    yield Raised(rows, found=found)


def _places(said: Losses, at: Ints) -> list[str]:
    """Losses by wavelength, fibre and direction, for findings: 850 nm, fibre 7, local-remote."""
    named = zip(said.nm[at], said.fiber[at], said.direction[at], strict=True)
    return [
        ", ".join(p for p in ("" if np.isnan(nm) else f"{nm:g} nm", f"fibre {f}" if f else "", d) if p) or "the link"
        for nm, f, d in named
    ]


@rule("optical-loss-below-zero")
def optical_loss_below_zero(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A measured loss below zero."""
    said = losses(look)
    at = np.flatnonzero(said.value < -limits["db"])
    yield Raised(said.rows[at], where=_places(said, at), found=[f"{v:.2f} dB" for v in said.value[at]])


@rule("optical-loss-too-small")
def optical_loss_too_small(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """A loss between zero and a few hundredths, over so many connections."""
    said, count = losses(look), look.reals("connections")
    yield NotLooked(np.flatnonzero(said.any & np.isnan(count)), "the number of connections is not known")
    small = (said.value >= 0) & (said.value < limits["db"]) & (count[said.rows] >= limits["connections"])
    at = np.flatnonzero(small)
    found, expected = [f"{v:.2f} dB" for v in said.value[at]], [f"{n:g}" for n in count[said.rows[at]]]
    yield Raised(said.rows[at], where=_places(said, at), found=found, expected=expected)


@rule("group-index-implausible")
def group_index_implausible(look: RecordLook, limits: Tolerances) -> Iterator[Answer]:
    """Set index out of the range of glass."""
    low, high = limits["index"]
    index = look.reals("group_index")
    rows = np.flatnonzero((index < low) | (index > high))
    yield Raised(rows, found=[f"{v:g}" for v in index[rows]], expected=f"{low:g} to {high:g}")
