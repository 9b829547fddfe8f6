"""The sweeps of a batch as grading needs them: ends, pairings and origins by code, values with their bounds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pyarrow as pa

from archive import vocabulary
from archive.grading.arithmetic import Bools, Ints, Reals, Values
from archive.tables import Batch
from archive.tables.arrow import rows_of
from archive.tables.curves import windows

ENDS = ("local", "remote", None)
"""Ends by code. The third: the source does not say, or the parameter has none."""

PAIRINGS: tuple[str | None, ...] = (*vocabulary.PAIRS, *vocabulary.ORDERED, None)
"""Pairs and combinations by code; a combination of NEXT has the code of its lower-first form. The last: the link."""

WHOLE_LINK = len(PAIRINGS) - 1
_CODE = {name: code for code, name in enumerate(PAIRINGS)}
ORIGINS = ("measured", "derived", "rebuilt", "limit")
LIMIT_CURVE = ORIGINS.index("limit")
RECOMPUTED = " (recomputed)"
"""Marks alien power sums that archive.grading.alien adds to those of the export."""
PARTIAL = " (of some disturbers)"
"""Marks sums at points that not all disturbers have: the whole sum is worse, by how much is not known."""
FAR_END = frozenset({"fext", "acr_f", "elfext", "afext", "aacr_f", "ps_fext", "ps_acr_f", "ps_elfext", "ps_aacr_f"})


def parameter_of(name: str) -> vocabulary.Parameter:
    """The parameter of a curve. Errors: KeyError."""
    return vocabulary.parameter(name.removesuffix(RECOMPUTED).removesuffix(PARTIAL))


def lower_first(name: str) -> str:
    """A combination of NEXT in the form whose lower pair comes first; any other name as it is."""
    turned = "/".join(reversed(name.split("/")))
    return turned if turned in vocabulary.COMBINATIONS else name


@cache
def pairing_code(name: str | None, per: str) -> int:
    """Code of a pairing for a parameter taken per pair, combination, ordered combination or link; -1 for any other."""
    if per == "link" or name is None:
        return WHOLE_LINK if per == "link" and name is None else -1
    if per == "combination":
        name = lower_first(name)
    return _CODE.get(name, -1) if name in vocabulary.pairings(per) else -1


def pairing_codes(per: str) -> Ints:
    """All codes that a parameter taken per pair, combination, ordered combination or link can have."""
    names = vocabulary.pairings(per) or ((None,) if per == "link" else ())
    return np.array([_CODE[name] for name in names], np.int64)


def end_codes(column: pa.ChunkedArray) -> Ints:
    """Ends of a text column by code: (n,)."""
    return rows_of(column, pa.array(ENDS[:2], pa.string()), absent=2)


@dataclass(frozen=True)
class SweepArrays:
    """Sweeps as arrays.

    records: number of records of the batch. flat: every value of every curve, one after the other; NaN where a point is
    missing. above, below: flags of values of flat that are only a bound; None: no such value. axes: MHz, rising. Per
    curve: start and length in flat; record (its place in the batch, -1: none); parameter (place in parameters), end,
    pairing, origin (codes); axis (place in axes, -1 where the curve cannot be used); step (NaN: unknown); doubtful
    (some point is missing or known only as a bound); disturbed (a disturbing link is named).
    """

    records: int
    flat: Reals
    above: Bools | None
    below: Bools | None
    axes: list[Reals]
    parameters: list[str]
    start: Ints
    length: Ints
    record: Ints
    parameter: Ints
    end: Ints
    pairing: Ints
    origin: Ints
    axis: Ints
    step: Reals
    doubtful: Bools
    disturbed: Bools

    @classmethod
    def of(cls, batch: Batch) -> SweepArrays:
        """The sweeps of a batch."""
        curves, table = batch.curves, batch["sweeps"]
        parameters, parameter = curves.coded("parameter")
        names, texts = curves.coded("pairing")
        per = [parameter_of(name).per for name in parameters]
        pairing = np.array([[*(pairing_code(name, p) for name in names), -1] for p in per] or [[-1]], np.int64)
        return cls(
            records=len(batch),
            flat=curves.flat,
            above=curves.above,
            below=curves.below,
            axes=curves.axes_mhz,
            parameters=parameters,
            start=curves.start,
            length=curves.length,
            record=curves.record,
            parameter=parameter,
            end=_ends(table, parameters, parameter),
            pairing=pairing[parameter, texts],
            origin=rows_of(table.column("origin"), pa.array(ORIGINS, pa.string())),
            axis=np.where(curves.fits_mhz, curves.axis, -1),
            step=curves.step,
            doubtful=curves.doubtful,
            disturbed=np.asarray(table.column("disturber").is_valid()),
        )

    @property
    def given(self) -> Bools:
        """A flag per curve: values of the link on an axis, not of a limit."""
        return np.asarray((self.origin >= 0) & (self.origin != LIMIT_CURVE) & (self.axis >= 0) & (self.record >= 0))

    def gather(self, rows: Ints, first: int, points: int) -> Values:
        """Curves by row. rows: (...); returns (..., points), from point `first` of each."""
        begin = self.start[rows] + first
        values = windows(self.flat, begin, points)
        if not points or not self.doubtful[rows].any():
            return Values.exact(values)
        nothing = np.zeros(values.shape, np.bool_)
        above = nothing if self.above is None else windows(self.above, begin, points)
        below = nothing if self.below is None else windows(self.below, begin, points)
        return Values.bounded(values, above, below)


def _ends(table: pa.Table, parameters: list[str], parameter: Ints) -> Ints:
    """Ends; where only the direction is stated, the end at which that parameter is received."""
    end = end_codes(table.column("end"))
    direction = rows_of(table.column("direction"), pa.array(("remote-local", "local-remote"), pa.string()))
    has_end = np.array([parameter_of(name).ends for name in parameters], np.bool_)
    far = np.array([name in FAR_END for name in parameters], np.bool_)
    if (direction >= 0).any():
        received = np.where(far[parameter], direction, 1 - direction)
        end = np.where(has_end[parameter] & (end == 2) & (direction >= 0), received, end)
    return end
