"""What changes slowly under other effects: the level of each kind of cable over time, as its lots come and go.

Nobody writes down the lot. The level of a kind wanders about its mean as a process that forgets (Ornstein and
Uhlenbeck): within a month all units measure the same cable, over LENGTH months it is another. How much it wanders is
estimated by restricted maximum likelihood, on a grid. The process is eliminated before the other effects are solved
for: its precision is tridiagonal, so that takes one pass over the months.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

LENGTH = 8.0
"""Months over which a level forgets (own choice: about as long as a lot of cable is sold)."""
RATIOS = (0.01, 0.05, 0.2, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
"""Variances of the level that are tried, against that of a single job."""


@dataclass(frozen=True)
class Solved:
    """A least-squares fit. b: (p,), coefficients; inverse: (p, p), their covariance but for the variance; row_space:
    (p, p), the projection onto what can be estimated; variance, freedom: of the residuals."""

    b: Any
    inverse: Any
    row_space: Any
    variance: float
    freedom: int


def solved(x: Any, y: Any, kind: Any = None, month: Any = None, held: Any = 0.0) -> Solved | None:
    """Least squares of y, (m,), on x, (m, p); kind, month: (m,), whose level wanders, and when; None: nothing does.
    held: (p,), how strongly coefficients are drawn towards nought, in squared units of x.

    None where no freedom is left.
    """
    rank = int(np.linalg.matrix_rank(x.T @ x, hermitian=True))
    if len(y) - rank < 1:
        return None
    both = np.column_stack([x, y])
    whole = both.T @ both
    whole[:-1, :-1] += np.diag(np.broadcast_to(held, x.shape[1]))
    if kind is None:
        return _solve(whole, len(y) - rank)[0]
    chain = _Chain(kind, month)
    at_months = chain.sums(both)
    best: tuple[float, Solved] | None = None
    for ratio in RATIOS:
        taken, size = chain.eliminated(at_months, ratio)
        found, likelihood = _solve(whole - taken, len(y) - rank, size)
        if best is None or likelihood > best[0]:
            best = likelihood, found
    assert best is not None
    return best[1]


def _solve(normal: Any, freedom: int, size: float = 0.0) -> tuple[Solved, float]:
    """The fit, and its restricted log likelihood. normal: (p + 1, p + 1), of coefficients and y; size: log determinant
    of the variance of the level."""
    square, right = normal[:-1, :-1], normal[:-1, -1]
    inverse = np.linalg.pinv(square, hermitian=True, rcond=1e-10)
    b = inverse @ right
    variance = max(float(normal[-1, -1] - b @ right), 1e-12) / freedom
    values = np.linalg.eigvalsh(square)
    known = values[values > 1e-10 * values.max()]
    likelihood = -0.5 * (freedom * math.log(variance) + size + float(np.log(known).sum()))
    return Solved(b, inverse, inverse @ square, variance, freedom), likelihood


class _Chain:
    """The months of all kinds in a row, those of one kind joined to each other."""

    def __init__(self, kind: Any, month: Any) -> None:
        first = int(month.min())
        width = int(month.max()) - first + 1
        each, self._of = np.unique(np.asarray(kind) * width + (np.asarray(month) - first), return_inverse=True)
        self._jobs = np.bincount(self._of)
        gap = np.diff(each.astype(np.float64))
        r = np.where(np.diff(each // width) == 0, np.exp(-gap / LENGTH), 0.0)
        self._between = -r / (1 - r * r)
        tied = r * r / (1 - r * r)
        self._own = 1 + np.r_[tied, 0.0] + np.r_[0.0, tied]
        self._size = float(-np.log(1 - r * r).sum())  # log determinant of the precision

    def sums(self, rows: Any) -> Any:
        """Rows of jobs summed by month, (k, p)."""
        out = np.zeros((len(self._jobs), rows.shape[1]))
        np.add.at(out, self._of, rows)
        return out

    def eliminated(self, sums: Any, ratio: float) -> tuple[Any, float]:
        """What the level takes off the normal equations, and the log determinant of its variance."""
        between = self._between / ratio
        own = self._jobs + self._own / ratio
        pivot, left = np.empty(len(own)), np.empty_like(sums)
        pivot[0], left[0] = own[0], sums[0]
        for i in range(1, len(own)):
            step = between[i - 1] / pivot[i - 1]
            pivot[i] = own[i] - step * between[i - 1]
            left[i] = sums[i] - step * left[i - 1]
        size = float(np.log(pivot).sum()) - self._size + len(own) * math.log(ratio)
        return (left / pivot[:, None]).T @ left, size
