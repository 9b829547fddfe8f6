"""Random numbers by counting: a draw depends on seed, stream, thing and place alone, never on what was drawn before.

So a link can be made again by itself, in any chunk, in any order. The mixing is the finaliser of splitmix64
(Steele, Lea and Flood 2014), written out here so that no change of a library changes the numbers.
"""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np

_STEP = np.uint64(0x9E3779B97F4A7C15)
_A, _B = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)


def _mix(x: Any) -> Any:
    x = x ^ (x >> np.uint64(30))
    x *= _A
    x ^= x >> np.uint64(27)
    x *= _B
    x ^= x >> np.uint64(31)
    return x


def bits(seed: int, stream: str, things: Any, count: int) -> Any:
    """uint64 of shape (things, count). things: whole numbers; stream: a word that keeps uses apart."""
    with np.errstate(over="ignore"):
        base = np.asarray([(seed * 0x2545F4914F6CDD1D + zlib.crc32(stream.encode())) % 2**64], dtype=np.uint64)
        rows = _mix(_mix(base) + np.asarray(things).astype(np.uint64) * _STEP)
        return _mix(rows[:, None] + np.arange(1, count + 1, dtype=np.uint64) * _STEP)


def uniform(seed: int, stream: str, things: Any, count: int = 1) -> Any:
    """float64 of shape (things, count), from 0 up to below 1."""
    return (bits(seed, stream, things, count) >> np.uint64(11)).astype(np.float64) * 2.0**-53


def normal(seed: int, stream: str, things: Any, count: int = 1) -> Any:
    """float64 of shape (things, count), mean 0 and deviation 1."""
    u = uniform(seed, stream, things, 2 * count)
    return np.sqrt(-2.0 * np.log1p(-u[:, :count])) * np.cos(2.0 * np.pi * u[:, count:])


def flat(seed: int, stream: str, things: Any, count: int) -> Any:
    """float32 of shape (things, count), mean 0 and deviation 1, evenly spread: quick, for sums of many."""
    high = (bits(seed, stream, things, count) >> np.uint64(40)).astype(np.int32)
    return (high - 2**23).astype(np.float32) * np.float32(3.0**0.5 / 2**23)
