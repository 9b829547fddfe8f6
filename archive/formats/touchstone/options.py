"""The option line: unit of frequency, parameter, number format, reference impedance.

Touchstone File Format Specification 1.1 (EIA/IBIS Open Forum) and 2.0 (IBIS Open Forum, 2009), from memory.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from archive.errors import Trouble
from archive.formats.touchstone.network import SetAside

UNITS = {"HZ": 1e-6, "KHZ": 1e-3, "MHZ": 1.0, "GHZ": 1e3}
"""Factor that turns a frequency of the file into MHz."""

SPELLED = {"HZ": "Hz", "KHZ": "kHz", "MHZ": "MHz", "GHZ": "GHz"}
FORMATS = ("DB", "MA", "RI")
PARAMETERS = ("S", "Y", "Z", "G", "H")
_COMPLEX = re.compile(
    r"\(?([\d.]+(?:e[-+]?\d+)?)([-+])(?:([\d.]+(?:e[-+]?\d+)?)[ij]|[ij]([\d.]+(?:e[-+]?\d+)?))\)?", re.I
)


@dataclass(frozen=True)
class OptionLine:
    """What the option line says; its defaults are those of the specification: GHz, S, MA, 50 ohm.

    parameter: S, or Z, Y, H, G.
    """

    unit: str = "GHZ"
    parameter: str = "S"
    number_format: str = "MA"
    reference_ohm: tuple[float, ...] = (50.0,)


def read_options(line: str, where: str) -> OptionLine:
    """The option line, with or without its #.

    Errors: Trouble where it holds a word that is not of the specification, or an impedance that is not a positive
    number; SetAside where that is complex.
    """
    words = line.strip().lstrip("#").split()
    unit, number_format, parameter = "GHZ", "MA", "S"
    reference: tuple[float, ...] = (50.0,)
    i = 0
    while i < len(words):
        word = words[i].upper()
        if word in UNITS:
            unit = word
        elif word in FORMATS:
            number_format = word
        elif word in PARAMETERS:
            parameter = word
        elif word == "R":
            reference, i = _impedances(words, i + 1, where)
            continue
        else:
            raise Trouble(
                "the option line holds a word that is not of the specification",
                code="touchstone.option-line",
                where=where,
                found=repr(words[i]),
                expected="a unit (Hz, kHz, MHz, GHz), S, Y, Z, G or H, a format (DB, MA, RI), R and an impedance",
                remedy="export it again from where it was measured",
            )
        i += 1
    return OptionLine(unit, parameter, number_format, reference)


def positive(word: str, where: str) -> float:
    """A reference impedance in ohm. Errors: SetAside where it is complex, Trouble where it is not a positive number."""
    match = _COMPLEX.fullmatch(word)
    if match:
        # Such S-parameters are defined in several ways, and no file says in which.
        raise SetAside(
            "this file is sound, but its parameters refer to a complex impedance",
            place="line " + where.rpartition(" line ")[2],
            found=f"{word} ohm",
            expected="a real impedance",
            remedy="export the measurement renormalised to 50 ohm",
        )
    try:
        value = float(word)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise Trouble(
            "this reference impedance cannot be used",
            code="touchstone.impedance",
            where=where,
            found=repr(word),
            expected="a positive number of ohm",
            remedy="export the measurement with its reference impedance",
        )
    return value


def _impedances(words: list[str], i: int, where: str) -> tuple[tuple[float, ...], int]:
    """Numbers that follow R, and the index after them: one for all ports, or one per port."""
    values: list[float] = []
    while i < len(words) and words[i].upper() not in (*UNITS, *FORMATS, *PARAMETERS, "R"):
        values.append(positive(words[i], where))
        i += 1
    if not values:
        raise Trouble(
            "nothing follows R",
            code="touchstone.impedance",
            where=where,
            expected="an impedance in ohm",
            remedy="export it again from where it was measured",
        )
    return tuple(values), i
