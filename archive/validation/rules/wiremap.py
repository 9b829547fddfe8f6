"""Rules about the wire map."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from archive.tables.arrow import Bools
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import RecordLook
from archive.validation.look.record_look import once
from archive.validation.look.wires import CONTACTS, classify
from archive.vocabulary import cables

_SHOWN = ("open", "reversed", "crossed", "miswire")
"""Classes that contacts show; a short, a split pair and a screen do not."""


@dataclass(frozen=True)
class WireMap:
    """The wire map of a record: far contact by near contact, the source's word for each, its screen."""

    far: dict[str, str]
    said: dict[str, str]

    @cached_property
    def shown(self) -> dict[str, str]:
        """Class of fault of each contact that is not straight, from the contacts alone."""
        return classify({n: f for n, f in self.far.items() if n != "S"})

    @property
    def faults(self) -> list[str]:
        """Faults in words, by contact, the source's word first."""
        both = {
            n: self.said.get(n) or self.shown[n] for n in [*self.far, *self.said] if n in {**self.said, **self.shown}
        }
        return [f"{word} at {n}" for n, word in both.items()]


@once
def wires(look: RecordLook) -> dict[int, WireMap]:
    """Wire maps with anything but straight contacts, by row of records. Most records have none."""
    rows = look.rows_for("wiremap")
    near, far, fault = (look.words(c, "wiremap") for c in ("near", "far", "fault"))
    odd = np.unique(rows[((near != far) | (fault != "")) & (rows >= 0)])
    found = {int(r): WireMap({}, {}) for r in odd}
    for i in np.flatnonzero(np.isin(rows, odd)):
        entry = found[int(rows[i])]
        entry.far[near[i]] = far[i]
        if fault[i]:
            entry.said[near[i]] = fault[i]
    return found


def _mapped(look: RecordLook, near: str) -> Bools:
    """True for records whose wire map lists a contact."""
    return look.with_rows(look.rows_for("wiremap"), look.words("near", "wiremap") == near)


@rule("wire-map-incomplete")
def wire_map_incomplete(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A wire map that does not list all eight contacts."""
    listed = np.stack([_mapped(look, c) for c in CONTACTS], axis=1)
    rows = np.flatnonzero(listed.any(axis=1) & ~listed.all(axis=1))
    gone = [", ".join(c for c, there in zip(CONTACTS, listed[r], strict=True) if not there) for r in rows]
    yield Raised(rows, found=gone)


@rule("wire-map-fault")
def wire_map_fault(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """Faults by class."""
    yield Raised.each([(row, text, "") for row, w in wires(look).items() if (text := ", ".join(w.faults))])


@rule("wire-map-class-contradicts-contacts")
def wire_map_class_contradicts_contacts(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """The source's word against the class that its contacts show."""
    hits = []
    for row, w in wires(look).items():
        shown = {n: w.shown.get(n, "straight") for n, word in w.said.items() if word in _SHOWN and n in w.far}
        wrong = {n: word for n, word in shown.items() if word != w.said[n]}
        if wrong:
            found = ", ".join(f"{w.said[n]} at {n}" for n in wrong)
            hits.append((row, found, ", ".join(f"{word} at {n}" for n, word in wrong.items())))
    yield Raised.each(hits)


@rule("verdict-contradicts-wire-map")
def verdict_contradicts_wire_map(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A pass with a fault of a contact; the screen has a rule of its own."""
    passed = look.words("reported_verdict") == "pass"
    hits = []
    for row, w in wires(look).items():
        faults = [f for f in w.faults if not f.startswith("screen open") and not f.endswith(" at S")]
        if passed[row] and faults:
            hits.append((row, ", ".join(faults), ""))
    yield Raised.each(hits)


@rule("screen-not-through")
def screen_not_through(look: RecordLook, _: Tolerances) -> Iterator[Answer]:
    """A screened cable type, and a screen that is listed and not through."""
    kinds = look.words("cable_type")
    screened = np.array([_screened(k) for k in kinds], dtype=bool)
    mapped = np.any([_mapped(look, c) for c in CONTACTS], axis=0)
    yield NotLooked(np.flatnonzero(screened & mapped & ~_mapped(look, "S")), "the wire map says nothing of the screen")
    found = wires(look)
    odd = {r: w for r, w in found.items() if screened[r] and "S" in w.far and _open(w)}
    yield Raised.each([(r, kinds[r], w.said.get("S") or "open") for r, w in odd.items()])


def _open(w: WireMap) -> bool:
    return not w.far["S"] or w.said.get("S") in ("open", "screen open")


def _screened(cable_type: str) -> bool:
    return cables.screened(cable_type) == cables.SCREENED
