"""Curves as scaled integers: 35.4 dB is 354 with one decimal. Lossless to the last bit, or not done at all.

A curve is scaled where every value is exactly an integer divided by 10^decimals, decimals 0 to 6: then the division
gives the same double again, since both are correctly rounded (IEEE 754) and 10^6 is exact. Minus zero, more decimals
and larger values stay doubles.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import Bools, Reals, one_chunk
from archive.tables.decimals import MOST_DECIMALS, fewest_decimals

_LARGEST = 2**31 - 1

SCALED = pa.list_(pa.int32())
PLAIN = pa.list_(pa.float64())

_POWERS = 10.0 ** np.arange(MOST_DECIMALS + 1)
_BLOCK = 1 << 15
"""Points that are scaled together, so that they stay in the processor's cache."""


def pack(curves: Any) -> tuple[Any, Any, Any]:
    """Three columns for a list column of reals: decimals (int8), scaled (list of int32), values (list of double).

    Of each curve exactly one of scaled and values is there; decimals is null where it is values. Decimals are the
    fewest that give the curve exactly, so that equal curves have equal scaled integers.
    """
    curves = one_chunk(curves)
    flat, offsets = curves.flatten(), _offsets(curves)
    there = np.ones(len(flat), dtype=bool) if not flat.null_count else pc.is_valid(flat).to_numpy(zero_copy_only=False)
    numbers = (pc.fill_null(flat, 0.0) if flat.null_count else flat).to_numpy(zero_copy_only=False)
    lengths = np.diff(offsets)
    # A missing point is 0.0 here, which any number of decimals gives.
    decimals = np.where(lengths == 0, 0, fewest_decimals(numbers, offsets[:-1], offsets[1:], _scalable))
    done = decimals >= 0
    if done.all() and len(decimals) and (decimals == decimals[0]).all():
        scaled, kept = _scale(numbers, _POWERS[decimals[0]]), np.ones(len(numbers), dtype=bool)
    else:
        per_point = np.repeat(decimals, lengths)
        kept = per_point >= 0
        scaled = np.rint(numbers[kept] * _POWERS[per_point[kept]]).astype(np.int32)
    none_missing = bool(there.all())
    return (
        pa.array(decimals.astype(np.int8), mask=~done),
        _lists(pa.array(scaled) if none_missing else pa.array(scaled, mask=~there[kept]), lengths, done),
        _lists(pa.array(numbers[~kept], mask=~there[~kept]), lengths, ~done),
    )


def unpack(decimals: Any, scaled: Any, plain: Any) -> Any:
    """The list column of reals again, bit for bit."""
    decimals, scaled, plain = one_chunk(decimals), one_chunk(scaled), one_chunk(plain)
    lengths = pc.fill_null(pc.coalesce(pc.list_value_length(scaled), pc.list_value_length(plain)), 0).to_numpy(
        zero_copy_only=False
    )
    done = pc.is_valid(scaled).to_numpy(zero_copy_only=False)
    places = pc.fill_null(decimals, 0).to_numpy(zero_copy_only=False)
    ints, reals = scaled.flatten(), plain.flatten()
    divisor = _POWERS[np.repeat(places[done], lengths[done])]
    numbers = np.empty(len(ints) + len(reals))
    there = np.empty(len(numbers), dtype=bool)
    kept = np.repeat(done, lengths)
    numbers[kept] = pc.fill_null(ints, 0).to_numpy(zero_copy_only=False) / divisor
    numbers[~kept] = pc.fill_null(reals, 0.0).to_numpy(zero_copy_only=False)
    there[kept] = pc.is_valid(ints).to_numpy(zero_copy_only=False)
    there[~kept] = pc.is_valid(reals).to_numpy(zero_copy_only=False)
    return _lists(pa.array(numbers, mask=~there), lengths, np.ones(len(lengths), dtype=bool))


def _scalable(numbers: Reals, decimals: int) -> Bools:
    """True where a number is an integer of 32 bits divided by 10^decimals, to the bit; minus zero is not."""
    factor = _POWERS[decimals]
    with np.errstate(over="ignore", invalid="ignore"):
        rounded = np.rint(numbers * factor)
        again = (rounded + 0.0) / factor
        return np.asarray((again.view(np.int64) == numbers.view(np.int64)) & (np.abs(rounded) <= _LARGEST))


def _scale(numbers: Any, factor: float) -> Any:
    """Numbers times a factor as integers of 32 bits."""
    out = np.empty(len(numbers), dtype=np.int32)
    for low in range(0, len(numbers), _BLOCK):
        out[low : low + _BLOCK] = np.rint(numbers[low : low + _BLOCK] * factor)
    return out


def _offsets(lists: Any) -> Any:
    offsets = lists.offsets.to_numpy(zero_copy_only=False).astype(np.int64)
    return offsets - offsets[0]


def _lists(flat: Any, lengths: Any, there: Any) -> Any:
    """A list column: lists of the given lengths where `there`, null elsewhere."""
    offsets = np.zeros(len(lengths) + 1, dtype=np.int32)
    np.cumsum(np.where(there, lengths, 0), out=offsets[1:])
    missing = np.append(~there, False)
    return pa.ListArray.from_arrays(pa.array(offsets, mask=missing), flat)
