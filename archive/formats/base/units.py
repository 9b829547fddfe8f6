"""Units of exports, converted once to the fixed unit of the tables."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from archive import vocabulary
from archive.errors import Trouble
from archive.formats.base import words
from archive.vocabulary import phrases

_DIMENSION = {
    "dB": "level",
    "dBm": "power",
    "ns": "time",
    "m": "length",
    "%": "ratio",
    "ohm": "resistance",
    "nF": "capacitance",
    "degC": "temperature",
    "MHz": "frequency",
    "nm": "wavelength",
    "km": "length",
}


@dataclass(frozen=True)
class Unit:
    """One unit: value in the table's unit = (value + offset) * factor. ours_km: the tables hold the length in km."""

    name: str
    dimension: str
    factor: float
    offset: float = 0.0
    ours_km: bool = False

    def ours(self, values: Any) -> Any:
        """Values (numbers or arrays) in the table's unit. A factor such as 0.001 divides, so that 1150 kHz is 1.15."""
        if self.offset:
            values = values + self.offset
        return self.scaled(values)

    def scaled(self, values: Any) -> Any:
        """Differences, such as steps, in the table's unit."""
        if self.factor == 1:
            return values
        whole = round(1 / self.factor)
        return values / whole if whole > 1 and abs(whole * self.factor - 1) < 1e-12 else values * self.factor

    @property
    def target(self) -> str:
        """Name of the table's unit."""
        return "km" if self.ours_km else next(ours for ours, of in _DIMENSION.items() if of == self.dimension)

    @property
    def changes(self) -> bool:
        """True where converting changes the number."""
        return self.factor != 1 or self.offset != 0


@cache
def units() -> dict[str, Unit]:
    """All units by name."""
    out: dict[str, Unit] = {}
    for source in words.sources():
        for name, u in source.get("unit", {}).items():
            out[name] = Unit(name, u["dimension"], float(u["factor"]), float(u.get("offset", 0)))
    return out


@cache
def _spellings() -> dict[str, str]:
    out: dict[str, str] = {}
    for source in words.sources():
        for name, u in source.get("unit", {}).items():
            for word in [name, *u["words"]]:
                out.setdefault(_plain(word), name)
    return out


def find(text: str) -> Unit | None:
    """The unit that a text names, whatever its spelling, or None."""
    name = _spellings().get(_plain(text))
    return units()[name] if name else None


def for_parameter(name: str, parameter: str, where: str = "") -> Unit:
    """The unit named by a mapping for a parameter ("" is the table's own).

    Errors: Trouble where there is no such unit, or it cannot be one of this parameter.
    """
    return for_unit(name, vocabulary.parameter(parameter).unit, vocabulary.parameter(parameter).name, where)


def for_unit(name: str, ours: str, of: str, where: str = "") -> Unit:
    """The unit named by a mapping, where the tables hold `ours`.

    Errors: Trouble where there is no such unit or its dimension is another.
    """
    if not name:
        name = ours
    found = find(name)
    if found is None:
        raise Trouble(
            "no such unit", code="unit.unknown", where=where, found=name, expected=f"a unit of {of}, such as {ours}"
        )
    want = _DIMENSION[ours]
    if found.dimension != want:
        raise Trouble(
            "a unit that cannot be",
            code="unit.impossible",
            where=where,
            found=f"{found.name} for {of}",
            expected=f"a unit of {want}",
        )
    if ours == "km":
        return Unit(found.name, "length", found.factor / 1000, ours_km=True)
    return found


def dimension(ours: str) -> str:
    """Dimension of a unit of the tables."""
    return _DIMENSION[ours]


def _plain(text: str) -> str:
    return phrases.fold(text).replace(" ", "").replace(".", "").replace("µ", "u").replace("μ", "u").replace("ω", "Ω")
