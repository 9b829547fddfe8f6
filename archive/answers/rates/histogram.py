"""Counts of values per frequency: exact quantiles of any number of curves in memory that does not grow with them."""

from __future__ import annotations

from typing import Any

import numpy as np

_TOGETHER = 1 << 20
"""Values counted in one go: few enough to stay near the processor."""
_LOW, _HIGH = -20.0, 130.0
_LARGEST = 300.0
"""dB beyond which values are counted as if they lay there; nothing that can be measured does."""
MOST_DECIMALS = 2


class Histogram:
    """How often each value came at each frequency.

    Values are whole numbers of 10^-decimals dB. Up to MOST_DECIMALS decimals the quantiles are exact; finer values are
    rounded to that, so a quantile is off by at most half of it. `rounded` says whether that happened.
    """

    def __init__(self) -> None:
        self.decimals = 1
        self.low = round(_LOW * 10)
        self.frequencies = np.zeros(0)
        self.counts = np.zeros((0, round((_HIGH - _LOW) * 10) + 1), np.int64)
        self.rounded = False
        self._rows: dict[float, int] = {}

    def places(self, frequencies: Any) -> Any:
        """Rows of some frequencies (n,), MHz, made where they are not there yet."""
        new = [f for f in frequencies.tolist() if f not in self._rows]
        for f in new:
            self._rows[f] = len(self._rows)
        if new:
            self.frequencies = np.concatenate([self.frequencies, new])
            more = np.zeros((len(new), self.counts.shape[1]), np.int64)
            self.counts = np.concatenate([self.counts, more])
        return np.array([self._rows[f] for f in frequencies.tolist()], np.int64)

    def add(self, places: Any, scaled: Any, decimals: int, there: Any = None) -> None:
        """Counts curves. places: (n,), see `places`; scaled: integers (curves, n), values times 10^decimals;
        there: which points count, the same shape, or None for all."""
        if decimals > MOST_DECIMALS:
            scaled = np.rint(scaled / 10.0 ** (decimals - MOST_DECIMALS)).astype(np.int64)
            self.rounded, decimals = True, MOST_DECIMALS
        if decimals > self.decimals:
            self._finer(decimals)
        factor = 10 ** (self.decimals - decimals)
        wide = max(_TOGETHER, self.counts.size // 2)
        step = max(1, wide // max(1, scaled.shape[1]))
        for first in range(0, len(scaled), step):
            part = scaled[first : first + step]
            part = part if factor == 1 else part.astype(np.int64) * factor
            self._count(places, part, None if there is None else there[first : first + step])

    def add_reals(self, places: Any, values: Any) -> None:
        """Counts curves of reals (curves, n); NaN is a missing point."""
        there = np.isfinite(values)
        scaled = np.rint(np.where(there, values, 0.0) * 10.0**MOST_DECIMALS).astype(np.int64)
        self.rounded = True
        self.add(places, scaled, MOST_DECIMALS, None if there.all() else there)

    def trim(self) -> None:
        """Leaves out the steps at either end at which nothing was counted: less to send elsewhere, and to merge."""
        there = np.flatnonzero(self.counts.any(axis=0))
        first, stop = (int(there[0]), int(there[-1]) + 1) if len(there) else (0, 0)
        kind = np.uint16 if self.counts.max(initial=0) < 1 << 16 else np.int64
        self.counts, self.low = self.counts[:, first:stop].astype(kind), self.low + first

    def merge(self, other: Histogram) -> None:
        """Adds what another one counted."""
        self.rounded = self.rounded or other.rounded
        if not other.counts.size:
            return
        if other.decimals > self.decimals:
            self._finer(other.decimals)
        factor = 10 ** (self.decimals - other.decimals)
        low, high = other.low * factor, (other.low + other.counts.shape[1] - 1) * factor
        if low < self.low or high >= self.low + self.counts.shape[1]:
            self._wider(low, high)
        places = self.places(other.frequencies)
        self.counts[places, low - self.low : high - self.low + 1 : factor] += other.counts

    def _count(self, places: Any, part: Any, there: Any) -> None:
        lowest, highest = int(part.min(initial=0)), int(part.max(initial=0))
        if lowest < self.low or highest >= self.low + self.counts.shape[1]:
            most = round(_LARGEST * 10**self.decimals)
            part = np.clip(part, -most, most)
            self._wider(max(lowest, -most), min(highest, most))
        width = self.counts.shape[1]
        at = part + (places * width - self.low)
        flat = at.ravel() if there is None else at[there]
        self.counts += np.bincount(flat, minlength=self.counts.size).reshape(self.counts.shape)

    def _finer(self, decimals: int) -> None:
        factor = 10 ** (decimals - self.decimals)
        finer = np.zeros((len(self.counts), (self.counts.shape[1] - 1) * factor + 1), np.int64)
        finer[:, ::factor] = self.counts
        self.counts, self.low, self.decimals = finer, self.low * factor, decimals

    def _wider(self, lowest: int, highest: int) -> None:
        spare = 20 * 10**self.decimals
        low = min(self.low, lowest - spare)
        high = max(self.low + self.counts.shape[1] - 1, highest + spare)
        wider = np.zeros((len(self.counts), high - low + 1), np.int64)
        at = self.low - low
        wider[:, at : at + self.counts.shape[1]] = self.counts
        self.counts, self.low = wider, low

    def number(self) -> Any:
        """Curves counted at each frequency, (frequencies,)."""
        return self.counts.sum(axis=1)

    def quantile(self, share: float) -> Any:
        """The value below which a share of the curves lies, per frequency (frequencies,); NaN where there are none.

        Between two values it is interpolated, as numpy.quantile does (method linear).
        """
        below = np.cumsum(self.counts, axis=1)
        number = below[:, -1]
        rank = (number - 1) * share
        first = np.floor(np.maximum(rank, 0)).astype(np.int64)
        values = []
        for r in (first, np.minimum(first + 1, np.maximum(number - 1, 0))):
            values.append((below <= r[:, None]).sum(axis=1) + self.low)
        part = rank - first
        made = (values[0] * (1 - part) + values[1] * part) / 10.0**self.decimals
        return np.where(number > 0, made, np.nan)

    def beyond(self, limit: Any, sense: str) -> Any:
        """Share of the curves that miss a limit, per frequency; NaN where there is neither. limit: (frequencies,), dB;
        sense: "max" (above misses) or "min"."""
        steps = np.arange(self.counts.shape[1]) + self.low
        edge = np.asarray(limit)[:, None] * 10.0**self.decimals
        misses = steps[None, :] > edge + 1e-6 if sense == "max" else steps[None, :] < edge - 1e-6
        number = self.number()
        with np.errstate(invalid="ignore", divide="ignore"):
            found = (self.counts * misses).sum(axis=1) / number
        return np.where(np.isnan(limit) | (number == 0), np.nan, found)
