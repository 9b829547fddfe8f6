"""The numeric body: parsed whole, and searched line by line only where something is wrong with it."""

from __future__ import annotations

import math
import warnings
from typing import Any, NoReturn

import numpy as np

from archive.errors import Trouble


def parse_numbers(body: str, first_line: int, path: str) -> Any:
    """All numbers of the body in order, float64. body: text without comments; first_line: its place in the file.

    Errors: Trouble with the line of the first word that is no number.
    """
    if not body or body.isspace():
        return np.empty(0)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DeprecationWarning)
            return np.fromstring(body, sep=" ")
    except (ValueError, DeprecationWarning):
        _not_a_number(body, first_line, path)


def _not_a_number(body: str, first_line: int, path: str) -> NoReturn:
    for offset, line in enumerate(body.split("\n")):
        for word in line.split():
            try:
                with warnings.catch_warnings():
                    warnings.simplefilter("error", DeprecationWarning)
                    np.fromstring(word, sep=" ")
            except (ValueError, DeprecationWarning):
                remedy = "export the file again from where it was measured"
                if "," in word:
                    remedy = "export the file with a point as decimal mark"
                raise Trouble(
                    "this is no number",
                    code="touchstone.not-numbers",
                    where=f"{path} line {first_line + offset}",
                    found=repr(word[:40]),
                    expected="a number such as -12.5 or 1.25e-3",
                    remedy=remedy,
                ) from None
    raise Trouble(
        "the numbers of this file cannot be read",
        code="touchstone.not-numbers",
        where=path,
        remedy="export the file again",
    )


def line_of(body: str, first_line: int, index: int) -> int:
    """Line, counted from 1 in the file, of number `index` of the body, counted from 0."""
    seen = 0
    for offset, line in enumerate(body.split("\n")):
        seen += len(line.split())
        if seen > index:
            return first_line + offset
    return first_line


def count_fault(body: str, first_line: int, path: str, ports: int, per_point: int) -> Trouble:
    """Says where the numbers cease to fit the number of ports.

    A point begins with its frequency: a line with an odd number of numbers, whatever the wrapping, whose first is
    above the frequency before.
    """
    starts: list[int] = []
    counts: list[int] = []
    last = -math.inf
    for offset, line in enumerate(body.split("\n")):
        words = line.split()
        if words and (not counts or (len(words) % 2 and float(words[0]) > last)):
            starts.append(first_line + offset)
            counts.append(len(words))
            last = float(words[0])
        elif words:
            counts[-1] += len(words)
    expected = f"{per_point} (the frequency and two for each of the S-parameters of {ports} port{'s' * (ports > 1)})"
    for i, (start, n) in enumerate(zip(starts, counts, strict=True)):
        if n == per_point:
            continue
        remedy = "the file is damaged there: export it again"
        if i == len(counts) - 1 and n < per_point:
            remedy = "the file seems to be cut off: export it again"
        elif i == 0 and len(set(counts)) == 1 and (other := _ports_of(n)):
            remedy = f"the rows fit {other} port{'s' * (other > 1)}: correct the suffix of the file to .s{other}p"
        return Trouble(
            "the rows of one frequency do not match the port count",
            code="touchstone.port-count",
            where=f"{path} line {start}",
            found=f"{n} number{'s' * (n != 1)}",
            expected=expected,
            remedy=remedy,
        )
    total = sum(counts)
    return Trouble(
        "the numbers do not match the port count",
        code="touchstone.port-count",
        where=f"{path} line {starts[-1] if starts else first_line}",
        found=f"{total} numbers in all",
        expected=f"a multiple of {expected}",
        remedy="check the suffix of the file, or export it again",
    )


def _ports_of(numbers: int) -> int:
    """How many ports a full matrix with its frequency has in so many numbers; 0 where none fits."""
    root = math.isqrt(max(numbers - 1, 0) // 2)
    return root if 1 + 2 * root * root == numbers and root else 0


def noise_start(body: str) -> int | None:
    """Where, in characters, the noise data of a two-port file of version 1 begin: at the first line of five
    numbers whose frequency is not above that of the line before. None where there are none."""
    at = 0
    last: list[str] = []
    for line in body.split("\n"):
        words = line.split()
        if len(words) == 5 and len(last) == 9:
            try:
                if float(words[0]) <= float(last[0]):
                    return at
            except ValueError:
                return None
        if words:
            last = words
        at += len(line) + 1
    return None


def rising_fault(values: Any, body: str, first_line: int, path: str, per_point: int) -> Trouble | None:
    """Says where the frequencies do not rise, None where they do. values: float64, as the file gives them."""
    fall = np.flatnonzero(~(np.diff(values) > 0))
    if values[0] < 0:
        at, found = 0, f"{values[0]:.12g}"
        expected = "zero or more"
    elif len(fall):
        at = int(fall[0]) + 1
        found, expected = f"{values[at]:.12g} after {values[at - 1]:.12g}", "strictly rising frequencies"
    else:
        return None
    return Trouble(
        "the frequencies are out of order",
        code="touchstone.frequency-order",
        where=f"{path} line {line_of(body, first_line, at * per_point)}",
        found=found,
        expected=expected,
        remedy="check the suffix of the file (its number of ports), or export the sweep in order",
    )


__all__ = ["count_fault", "line_of", "noise_start", "parse_numbers", "rising_fault"]
