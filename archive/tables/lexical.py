"""The one lexical form of numbers, on which digests rest.

A number is written with the fewest digits that read back to the same IEEE 754 double: positional from 1e-6
up to below 1e10 in size (0.000001, 35.4, 100), otherwise d.ddde+x or d.ddde-x without leading zeros in the
exponent (1e+10, 2.5e-7). Minus zero is -0. There is no NaN and no infinity.
Arrow's own cast gives exactly this form; `number` here does the same in plain Python, and a test checks the
two against each other, so that the form does not depend on any library.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc

from archive.tables.arrow import ArrowColumn, Reals


def number(value: float) -> str:
    """One number in its lexical form. Errors: ValueError for NaN and infinity."""
    if not math.isfinite(value):
        raise ValueError("not a finite number")
    text = repr(float(value))
    sign = "-" if text.startswith("-") else ""
    mantissa, _, power = text.lstrip("-").partition("e")
    whole, _, fraction = mantissa.partition(".")
    point = len(whole) + int(power or 0)
    digits = (whole + fraction).lstrip("0")
    point -= len(whole + fraction) - len(digits)
    digits = digits.rstrip("0")
    if not digits:
        return sign + "0"
    exponent = point - 1
    if exponent < -6 or exponent >= 10:
        tail = "." + digits[1:] if len(digits) > 1 else ""
        return f"{sign}{digits[0]}{tail}e{'+' if exponent > 0 else '-'}{abs(exponent)}"
    if point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    if point >= len(digits):
        return sign + digits + "0" * (point - len(digits))
    return f"{sign}{digits[:point]}.{digits[point:]}"


def numbers(values: ArrowColumn | Sequence[float] | Reals) -> ArrowColumn:
    """Float64 numbers as an Arrow string array in the lexical form; nulls stay null.

    Errors: ValueError where a value is NaN or infinite.
    """
    if not isinstance(values, pa.Array | pa.ChunkedArray):
        values = pa.array(values, type=pa.float64())
    if pc.all(pc.is_finite(values)).as_py() not in (True, None):
        raise ValueError("not a finite number")
    return pc.cast(values, pa.string())
