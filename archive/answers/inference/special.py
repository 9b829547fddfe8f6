"""The few special functions that inference needs, so that no statistics library is loaded at run time.

Incomplete beta function by its continued fraction (DLMF 8.17.22, with the symmetry 8.17.4; from memory), evaluated by
Lentz's method; quantiles of t by Newton's method within a bracket, of beta by bisection. The tests compare all of them
with scipy.
"""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist

_TINY = 1e-300
normal_quantile = NormalDist().inv_cdf
"""z at which a share of the normal distribution lies below."""


def incomplete_beta(x: float, a: float, b: float) -> float:
    """I_x(a, b), the regularised incomplete beta function; x from 0 to 1, a and b above 0."""
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    if x > (a + 1) / (a + b + 2):
        return 1.0 - incomplete_beta(1 - x, b, a)
    front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    c, d = 1.0, 1 / _off(1 - (a + b) * x / (a + 1))
    found = d
    for m in range(1, 2000):
        for step in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            c, d = _off(1 + step / c), 1 / _off(1 + step * d)
            found *= c * d
        if abs(c * d - 1) < 1e-15:
            break
    return math.exp(front) * found / a


def _off(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def t_tail(t: float, freedom: float) -> float:
    """Chance that Student's t is above t >= 0, by degrees of freedom: half of I at freedom / (freedom + t^2)."""
    return 0.5 * incomplete_beta(freedom / (freedom + t * t), freedom / 2, 0.5)


@lru_cache(4096)
def t_quantile(share: float, freedom: float) -> float:
    """The t below which a share of the distribution lies; share above 0 and below 1."""
    if share < 0.5:
        return -t_quantile(1 - share, freedom)
    wanted = 1 - share
    scale = math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2) - 0.5 * math.log(freedom * math.pi)
    low, high, t = 0.0, math.inf, min(normal_quantile(share), 8.0)
    for _ in range(200):
        over = t_tail(t, freedom) - wanted
        low, high = (t, high) if over > 0 else (low, t)
        density = math.exp(scale - (freedom + 1) / 2 * math.log1p(t * t / freedom))
        other = t + over / density
        if not low < other < high:
            other = 2 * t if math.isinf(high) else (low + high) / 2
        if abs(other - t) <= 1e-15 * t:
            break
        t = other
    return t


@lru_cache(4096)
def beta_quantile(share: float, a: float, b: float) -> float:
    """The x at which I_x(a, b) is a share."""
    low, high = 0.0, 1.0
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if incomplete_beta(middle, a, b) < share else (low, middle)
    return (low + high) / 2
