"""One limit line: segments over frequency, with cap and floor, and how sure each part of it is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt

from archive.limits.file_tables import Bound
from archive.limits.formula import Array, Function


def least_sure(confidences: Iterable[str]) -> str:
    """The least sure of some confidences (A best). Errors: ValueError where there is none."""
    return max(confidences)


def _less_sure(a: npt.NDArray[np.str_], b: npt.NDArray[np.str_] | str) -> npt.NDArray[np.str_]:
    return np.where(a > b, a, b)


@dataclass(frozen=True)
class Segment:
    """A segment of a line from one frequency to another, MHz. It holds at its lower end, and at its upper end only
    where `closed`: at a breakpoint the upper segment rules, unless the lower one is closed.

    tabulated: frequencies at which the confidence holds; between them it is `between`.
    parts: other lines of the limit that the formula uses; their confidences count too.
    """

    low: float
    high: float
    closed: bool
    formula: str
    expanded: str
    value: Function
    confidence: str
    sources: tuple[str, ...]
    note: str = ""
    tabulated: tuple[float, ...] = ()
    between: str = ""
    parts: tuple[Line, ...] = ()

    def covers(self, f: Array) -> npt.NDArray[np.bool_]:
        """Which frequencies it rules."""
        return (f >= self.low) & ((f <= self.high) if self.closed else (f < self.high))


DECIDING = ("required", "where measured")
"""Roles of lines and numbers that can fail a record."""


@dataclass(frozen=True)
class Exemption:
    """Points that are for information only and never decide.

    word: il_below (measured insertion loss of the pair, or of both pairs of a combination, is below the value),
    fext_above, ps_fext_above (measured FEXT or PS FEXT is above the value, dB).
    """

    word: str
    value: float
    confidence: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Line:
    """A limit as a function of frequency.

    parameter, unit, sense: as in the vocabulary. role: "required" (a pass needs it), "where measured", "advisory" (a
    value beyond it is reported, and does not fail) or "information" (shown, never decides). variants: offsets in dB
    for environments that differ. confirmed: who confirmed it and when, where somebody did.
    """

    parameter: str
    unit: str
    sense: str
    segments: tuple[Segment, ...]
    cap: Bound | None = None
    floor: Bound | None = None
    exemptions: tuple[Exemption, ...] = ()
    role: str = "required"
    clause: str = ""
    note: str = ""
    variants: dict[str, float] = field(default_factory=dict)
    confirmed: str = ""

    @property
    def decides(self) -> bool:
        """Can it fail a record."""
        return self.role in DECIDING

    @property
    def range_mhz(self) -> tuple[float, float]:
        """Lowest and highest frequency of its range, MHz."""
        return self.segments[0].low, self.segments[-1].high

    @property
    def informational(self) -> dict[str, float]:
        """Rules by which points are for information only: {"il_below": 3.0} and the like (see Exemption)."""
        return {rule.word: rule.value for rule in self.exemptions}

    def at(self, f_mhz: npt.ArrayLike) -> Array:
        """Limit at some frequencies.

        f_mhz: any shape, MHz. Returns the same shape in the unit of the parameter, unrounded; NaN outside the range.
        """
        values = self.unbounded(f_mhz)
        if self.cap:
            values = np.minimum(values, self.cap.value)
        if self.floor:
            values = np.maximum(values, self.floor.value)
        return values

    def unbounded(self, f_mhz: npt.ArrayLike) -> Array:
        """The same before cap and floor: never easier to meet than at()."""
        f = np.asarray(f_mhz, dtype=np.float64)
        values = np.full(f.shape, np.nan)
        for segment, inside in self._ruling(f):
            values[inside] = segment.value(f[inside])
        return values

    def _ruling(self, f: Array) -> Iterator[tuple[Segment, npt.NDArray[np.bool_]]]:
        """Each segment that rules some of the frequencies, and which."""
        free = np.ones(f.shape, np.bool_)
        for segment in self.segments:
            inside = free & segment.covers(f)
            free &= ~inside
            if inside.any():
                yield segment, inside

    def confidence_at(self, f_mhz: npt.ArrayLike) -> npt.NDArray[np.str_]:
        """Confidence of the formula at some frequencies, and of the lines it is made of; empty outside the range.

        f_mhz: any shape, MHz. Cap and floor have confidences of their own (see bound_confidence_at): they only
        ever ease a limit, so they matter for a value that misses the formula and meets the bound, and for no other.
        """
        f = np.asarray(f_mhz, dtype=np.float64)
        confidences = np.full(f.shape, "", dtype="<U1")
        for segment, inside in self._ruling(f):
            here = np.full(int(inside.sum()), segment.confidence, dtype="<U1")
            if segment.between:
                here[~np.isin(f[inside], segment.tabulated)] = segment.between
            for part in segment.parts:
                here = _less_sure(here, part.confidence_at(f[inside]))
            confidences[inside] = here
        return confidences

    def bound_confidence_at(self, f_mhz: npt.ArrayLike) -> npt.NDArray[np.str_]:
        """Confidence of the cap or the floor where it rules; empty where the formula does. f_mhz: any shape, MHz."""
        values = self.unbounded(f_mhz)
        confidences = np.full(values.shape, "", dtype="<U1")
        if self.cap:
            confidences[values > self.cap.value] = self.cap.confidence
        if self.floor:
            confidences[values < self.floor.value] = self.floor.confidence
        return confidences

    @cached_property
    def confidence(self) -> str:
        """The least sure confidence of the formula anywhere in the range."""
        return least_sure(self.confidence_at(self.grid()).tolist())

    def grid(self, points: int = 400) -> Array:
        """Frequencies that show the whole line: even on a logarithmic axis, with every end of a piece, MHz."""
        low, high = self.range_mhz
        edges = [edge for segment in self.segments for edge in (segment.low, segment.high)]
        spread = np.geomspace(low, high, points) if high > low else np.array([low])
        return np.unique(np.clip(np.concatenate([spread, edges]), low, high))

    @cached_property
    def sources(self) -> tuple[str, ...]:
        """Source ids of all its parts, each once (schemas/sources.toml)."""
        found = [source for segment in self.segments for source in segment.sources]
        found += [source for bound in (self.cap, self.floor) if bound for source in bound.sources]
        found += [source for rule in self.exemptions for source in rule.sources]
        return tuple(dict.fromkeys(found))
