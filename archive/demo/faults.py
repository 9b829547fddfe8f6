"""Which links fail their first test, and how: planted, so that the true rates of a simulated archive are known.

A link that is to fail gets one bad cause (a connection, a pair), strong enough that one curve misses its limit by an
amount that was drawn. A link that is to pass, and by chance does not, has the curves at fault improved until they
pass. So the first-time pass rate is what was asked for, and every failure is deep enough that rounding hides none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.demo import draws
from archive.demo.instrument import Judge
from archive.vocabulary import ORDERED, PAIRS

KINDS = (("next", 0.55), ("return_loss", 0.25), ("acr_f", 0.12), ("insertion_loss", 0.08))
"""Invented: what fails, and its share of the failures."""
LEAST = 0.25
"""dB by which a link that is to pass does so at the least."""
_TURNED = np.array([ORDERED.index("/".join(reversed(c.split("/")))) for c in ORDERED])
_ROWS = {"insertion_loss": (0, 4), "return_loss": (4, 8), "next": (12, 12), "acr_f": (24, 24)}


@dataclass(frozen=True)
class Planted:
    """Arrays (n,): whether the first test of a link is to fail, at which parameter, by how many dB, on which curve."""

    fails: Any
    kind: Any
    depth_db: Any
    pick: Any

    @property
    def names(self) -> Any:
        """Parameter at fault by name; empty where nothing is."""
        names = np.array([k for k, _ in KINDS])
        return np.where(self.fails, names[self.kind], "")


def plant(seed: int, link: Any, rate: Any) -> Planted:
    """What is planted in some links. rate: share that fails, one number or one per link."""
    u = draws.uniform(seed, "fault", link, 4)
    edges = np.cumsum([share for _, share in KINDS])[:-1]
    depth = 0.35 + 3.5 * u[:, 2] ** 2
    return Planted(u[:, 0] < rate, np.searchsorted(edges, u[:, 1], side="right"), depth, u[:, 3])


def improve(judge: Judge, values: Any, seed: int, link: Any) -> tuple[Any, Any]:
    """dB to add to the 48 curves (n, 48), and factors on insertion loss (n, 4), so that every curve passes."""
    n = len(values)
    add, factor = np.zeros((n, 48), dtype=np.float32), np.ones((n, 4), dtype=np.float32)
    margins = judge.curve_margins(values)
    # a little more than needed, so that the links that were improved do not all end at one margin
    spare = 0.8 * draws.uniform(seed, "improved", link).astype(np.float32)
    short = {name: np.maximum(LEAST + spare - m, 0) * (m < LEAST) for name, m in margins.items()}
    if "return_loss" in short:
        add[:, 4:12] = short["return_loss"]
    for single, sum_of, count in (("next", "ps_next", 6), ("acr_f", "ps_acr_f", 12)):
        if single in short:
            first = _ROWS[single][0]
            block = short[single].reshape(n, 2, count).copy()
            if sum_of in short:
                worst = short[sum_of].reshape(n, 2, 4).max(axis=2, keepdims=True)
                block = np.maximum(block, worst)
            if single == "acr_f":
                block = np.broadcast_to(block.max(axis=(1, 2), keepdims=True), block.shape)
            add[:, first : first + 2 * count] = block.reshape(n, -1)
    if "insertion_loss" in short:
        level = judge.lines["insertion_loss"]
        over = values[:, :4] - (level - LEAST)
        ratio = np.where(np.isfinite(level), (level - LEAST) / values[:, :4], 1.0)
        factor = np.where(over.max(axis=2) > 0, ratio.min(axis=2), 1.0).astype(np.float32)
    return add, factor


def spoil(judge: Judge, values: Any, planted: Planted) -> tuple[Any, Any]:
    """The same for what is planted: each failing link has one curve that misses its limit by depth_db."""
    n = len(values)
    add, factor = np.zeros((n, 48), dtype=np.float32), np.ones((n, 4), dtype=np.float32)
    margins = judge.curve_margins(values)
    for i in np.flatnonzero(planted.fails).tolist():
        name = KINDS[planted.kind[i]][0]
        if name not in margins:
            continue
        first, count = _ROWS[name]
        row = int(planted.pick[i] * count)
        here = float(margins[name][i, row])
        if not np.isfinite(here):  # the line speaks nowhere for this curve: a short link under the rules of ISO/IEC
            finite = np.flatnonzero(np.isfinite(margins["next"][i]))
            first, row = _ROWS["next"][0], int(finite[int(planted.pick[i] * len(finite))])
            name, here = "next", float(margins["next"][i, row])
        if name == "insertion_loss":
            level = judge.lines[name]
            factor[i, row] = np.min((level + planted.depth_db[i]) / values[i, row])
            continue
        add[i, first + row] = -planted.depth_db[i] - here
        if name == "acr_f":
            end, pairing = divmod(row, 12)
            add[i, first + 12 * (1 - end) + _TURNED[pairing]] = add[i, first + row]
    return add, factor


def apply(raw: Any, add: Any, factor: Any) -> Any:
    """Curves (n, 48, F) with the changes made, far-end crosstalk following the loss of its pairs."""
    out = raw + add[:, :, None]
    if np.any(factor != 1):
        extra = raw[:, :4] * (factor[:, :, None] - 1)
        out[:, :4] += extra
        pairs = np.array([[PAIRS.index(p) for p in c.split("/")] for c in ORDERED])
        both = (extra[:, pairs[:, 0]] + extra[:, pairs[:, 1]]) / 2
        out[:, 24:36] += both
        out[:, 36:48] += both
    return out
