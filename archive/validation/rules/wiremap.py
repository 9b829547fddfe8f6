"""Rules about the wire map."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.validation.look import Look
from archive.validation.registry import NotLooked, Raised, Said, Tolerances, rows_of, rule
from archive.validation.wires import CONTACTS, classify

_SHOWN = ("open", "reversed", "crossed", "miswire")
"""Classes that contacts show; a short, a split pair and a screen do not."""


@dataclass(frozen=True)
class Wires:
    """The wire map of a record: far contact by near contact, the source's word for each, its screen."""

    far: dict[str, str]
    said: dict[str, str]

    @property
    def faults(self) -> list[str]:
        """Faults in words, by contact, the source's word first."""
        shown = classify({n: f for n, f in self.far.items() if n != "S"})
        both = {n: self.said.get(n) or shown[n] for n in [*self.far, *self.said] if self.said.get(n) or n in shown}
        return [f"{word} at {n}" for n, word in both.items()]


def wires(look: Look) -> dict[int, Wires]:
    """Wire maps with anything but straight contacts, by row of records; made once. Most records have none."""
    if "wires" not in look.shared:
        rows = look.rows_for("wiremap")
        near, far, fault = (look.words(c, "wiremap") for c in ("near", "far", "fault"))
        odd = np.unique(rows[((near != far) | (fault != "")) & (rows >= 0)])
        found: dict[int, Wires] = {int(r): Wires({}, {}) for r in odd}
        for i in np.flatnonzero(np.isin(rows, odd)):
            entry = found[int(rows[i])]
            entry.far[near[i]] = far[i]
            if fault[i]:
                entry.said[near[i]] = fault[i]
        look.shared["wires"] = found
    made: dict[int, Wires] = look.shared["wires"]
    return made


def _mapped(look: Look, near: str) -> Any:
    """True for records whose wire map lists a contact."""
    rows = look.rows_for("wiremap")
    out = np.zeros(look.size, dtype=bool)
    out[rows[(rows >= 0) & (look.words("near", "wiremap") == near)]] = True
    return out


@rule("wire-map-incomplete")
def wire_map_incomplete(look: Look, _: Tolerances) -> Iterator[Said]:
    """A wire map that does not list all eight contacts."""
    listed = np.stack([_mapped(look, c) for c in CONTACTS], axis=1)
    rows = rows_of(listed.any(axis=1) & ~listed.all(axis=1))
    gone = [", ".join(c for c, there in zip(CONTACTS, listed[r], strict=True) if not there) for r in rows]
    yield Raised(rows, found=gone)


@rule("wire-map-fault")
def wire_map_fault(look: Look, _: Tolerances) -> Iterator[Said]:
    """Faults by class."""
    faults = {row: text for row, w in wires(look).items() if (text := ", ".join(w.faults))}
    yield Raised(np.array(list(faults), dtype=np.int64), found=list(faults.values()))


@rule("wire-map-class-contradicts-contacts")
def wire_map_class_contradicts_contacts(look: Look, _: Tolerances) -> Iterator[Said]:
    """The source's word against the class that its contacts show."""
    rows, found, expected = [], [], []
    for row, w in wires(look).items():
        shown = classify({n: f for n, f in w.far.items() if n != "S"})
        wrong = [n for n, word in w.said.items() if word in _SHOWN and n in w.far and shown.get(n, "straight") != word]
        if wrong:
            rows.append(row)
            found.append(", ".join(f"{w.said[n]} at {n}" for n in wrong))
            expected.append(", ".join(f"{shown.get(n, 'straight')} at {n}" for n in wrong))
    yield Raised(np.array(rows, dtype=np.int64), found=found, expected=expected)


@rule("verdict-contradicts-wire-map")
def verdict_contradicts_wire_map(look: Look, _: Tolerances) -> Iterator[Said]:
    """A pass with a fault of a contact; the screen has a rule of its own."""
    passed = look.words("reported_verdict") == "pass"
    rows, found = [], []
    for row, w in wires(look).items():
        faults = [f for f in w.faults if not f.startswith("screen open") and not f.endswith(" at S")]
        if passed[row] and faults:
            rows.append(row)
            found.append(", ".join(faults))
    yield Raised(np.array(rows, dtype=np.int64), found=found)


@rule("screen-not-through")
def screen_not_through(look: Look, _: Tolerances) -> Iterator[Said]:
    """A screened cable type, and a screen that is listed and not through."""
    kinds = look.words("cable_type")
    screened = np.array([_screened(k) for k in kinds], dtype=bool)
    mapped = np.any([_mapped(look, c) for c in CONTACTS], axis=0)
    yield NotLooked(rows_of(screened & mapped & ~_mapped(look, "S")), "the wire map says nothing of the screen")
    found = wires(look)
    rows = [r for r in found if screened[r] and "S" in found[r].far and _open(found[r])]
    expected = [found[r].said.get("S") or "open" for r in rows]
    yield Raised(np.array(rows, dtype=np.int64), found=list(kinds[rows]) if rows else "", expected=expected)


def _open(w: Wires) -> bool:
    return not w.far["S"] or w.said.get("S") in ("open", "screen open")


def _screened(cable_type: str) -> bool:
    parts = cable_type.split("/")
    return len(parts) > 1 and parts[1].endswith(("utp", "ftp")) and parts[1] != "u-utp"
