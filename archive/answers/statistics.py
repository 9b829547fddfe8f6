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


def wilson_of(p: float, n: float, z: float = Z95) -> tuple[float, float]:
    """The same for a share p of an effective number n, which need not be whole: links that go together count less."""
    if n <= 0:
        return 0.0, 1.0
    zz = z * z
    half = z * math.sqrt(p * (1 - p) / n + zz / (4 * n * n))
    whole = 1 + zz / n
    return max(0.0, (p + zz / (2 * n) - half) / whole), min(1.0, (p + zz / (2 * n) + half) / whole)


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


def score(x1: int, n1: int, x2: int, n2: int) -> float:
    """Two-sided p of the score test that two shares are one: the difference over its error under the pooled share.

    Equals Pearson's chi-square of the table of four without correction (general statistics, no single source; the
    tests hold it against statsmodels). 1 where the pooled share is 0 or 1. Errors: ValueError.
    """
    _check(x1, n1)
    _check(x2, n2)
    return score_of(x1 / n1, n1, x2 / n2, n2) if n1 and n2 else 1.0


def score_of(p1: float, n1: float, p2: float, n2: float) -> float:
    """The same for shares of effective numbers n1, n2, which need not be whole; 1 where one of them is nought."""
    if n1 <= 0 or n2 <= 0:
        return 1.0
    pooled = (p1 * n1 + p2 * n2) / (n1 + n2)
    if pooled <= 0 or pooled >= 1:
        return 1.0
    z = (p1 - p2) / math.sqrt(pooled * (1 - pooled) * (1 / n1 + 1 / n2))
    return math.erfc(abs(z) / math.sqrt(2))


def fisher(x1: int, n1: int, x2: int, n2: int) -> float:
    """Two-sided p of Fisher's exact test: the chance of every table as unlikely as this one, or more, at its margins.

    General statistics, no single source; the tests hold it against scipy. Errors: ValueError.
    """
    _check(x1, n1)
    _check(x2, n2)
    hits, total = x1 + x2, n1 + n2
    whole = _ln_choose(total, hits)

    def chance(i: int) -> float:
        return _ln_choose(n1, i) + _ln_choose(n2, hits - i) - whole

    here = chance(x1) + 1e-7  # tables of equal chance differ by rounding
    every = range(max(0, hits - n2), min(hits, n1) + 1)
    return min(1.0, math.fsum(math.exp(c) for i in every if (c := chance(i)) <= here))


def least_expected(x1: int, n1: int, x2: int, n2: int) -> float:
    """The smallest count expected in the table of four if both shares were one."""
    hits, total = x1 + x2, n1 + n2
    return min(n1, n2) * min(hits, total - hits) / total if total else 0.0


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


def p_chart(mean: float, n: float, sigmas: float = 3.0) -> tuple[float, float]:
    """Limits within which a share of n is expected to stay while it is `mean`, cut off at 0 and 1.

    mean -+ 3 sqrt(mean (1 - mean) / n), NIST/SEMATECH 6.3.3.2 (S89).
    """
    half = sigmas * math.sqrt(mean * (1 - mean) / n) if n else 1.0
    return max(0.0, mean - half), min(1.0, mean + half)


def design_effect(clusters: int, n: int, x: int, xx: float, xn: float, nn: float) -> float | None:
    """How many times the variance of a share is larger because its links come in clusters (jobs); at least 1.

    clusters: their number; n, x: links and successes over all; xx, xn, nn: sums over clusters of x^2, x n, n^2.
    The ratio estimator's variance c/(c-1) sum (x_j - p n_j)^2 / n^2 over that of independent links (general sampling
    theory, no single source). None where fewer than two clusters or an all-or-nothing share leave nothing to compare.
    """
    if clusters < 2 or not n or x in (0, n):
        return None
    p = x / n
    spread = max(0.0, xx - 2 * p * xn + p * p * nn)
    return max(1.0, clusters / (clusters - 1) * spread / (n * p * (1 - p)))


def _check(x: int, n: int) -> None:
    if not 0 <= x <= n:
        raise ValueError(f"{x} of {n} is no share")
