"""Intervals and tests for shares, as plain formulas with their sources. No arrays: a table of rates has few rows.

Counts are whole numbers: x successes of n. Sources by short id are in schemas/sources.toml.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

Z95 = 1.959963984540054
"""97.5 % point of the normal distribution, for intervals of 95 %."""


def wilson(x: int, n: int, z: float = Z95) -> tuple[float, float]:
    """Wilson's score interval of a share, without correction for continuity; (0, 1) where there is nothing to count.

    (p + z^2/2n -+ z sqrt(p(1-p)/n + z^2/4n^2)) / (1 + z^2/n), NIST/SEMATECH 7.2.4.1 (S85). Errors: ValueError.
    """
    _check(x, n)
    if n == 0:
        return 0.0, 1.0
    p, zz = x / n, z * z
    middle = p + zz / (2 * n)
    half = z * math.sqrt(p * (1 - p) / n + zz / (4 * n * n))
    whole = 1 + zz / n
    low = 0.0 if x == 0 else (middle - half) / whole
    high = 1.0 if x == n else (middle + half) / whole
    return low, high


def exact(x: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """Clopper and Pearson's interval, which never covers less than it says. NIST/SEMATECH 7.2.4.2 (S88).

    Solves for the shares at which x or more, and x or fewer, have a chance of (1 - level) / 2. Errors: ValueError.
    """
    _check(x, n)
    tail = (1 - level) / 2
    low = 0.0 if x == 0 else _solve(lambda p: _at_most(x - 1, n, p) - (1 - tail))
    high = 1.0 if x == n else _solve(lambda p: _at_most(x, n, p) - tail)
    return low, high


def _solve(falling: Callable[[float], float]) -> float:
    """Where a falling function of a share is nought."""
    a, b = 0.0, 1.0
    for _ in range(60):
        middle = (a + b) / 2
        if falling(middle) > 0:
            a = middle
        else:
            b = middle
    return (a + b) / 2


def _at_most(k: int, n: int, p: float) -> float:
    """Chance of at most k successes in n trials."""
    if p <= 0:
        return 1.0
    if p >= 1:
        return 1.0 if k >= n else 0.0
    lp, lq = math.log(p), math.log1p(-p)
    return min(1.0, math.fsum(math.exp(_ln_choose(n, i) + i * lp + (n - i) * lq) for i in range(k + 1)))


def _ln_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def holm(p: Sequence[float]) -> list[float]:
    """Holm's step-down correction: adjusted p, each at most 1, in the order given.

    The smallest p times m, the next times m - 1 and so on, never falling (Holm 1979, cited from memory; the tests hold
    it against statsmodels).
    """
    out = [0.0] * len(p)
    so_far = 0.0
    for rank, i in enumerate(sorted(range(len(p)), key=lambda i: p[i])):
        so_far = max(so_far, min(1.0, (len(p) - rank) * p[i]))
        out[i] = so_far
    return out


def _check(x: int, n: int) -> None:
    if not 0 <= x <= n:
        raise ValueError(f"{x} of {n} is no share")
