"""A limit: its lines, its single numbers, where they come from."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from archive.limits.file_tables import ScalarTable
from archive.limits.line import DECIDING, Line, least_sure


class Scalar(ScalarTable, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A limit that is one number.

    value, unit, sense: as for lines. at_mhz: frequency at which it holds, where it has one.
    tolerance_percent: what a reading may exceed it by, for the tolerance of the velocity that was set (length);
    tolerance_confidence: of that tolerance.
    greater_of: the limit is met too where that other quantity is. per: what it holds for: pair, combination, link,
    or pairset (two pairs that feed power together: its loop is a quarter of the sum of the loops of its two pairs).
    """

    parameter: str
    unit: str
    sense: str

    @property
    def decides(self) -> bool:
        """Can it fail a record."""
        return self.role in DECIDING


@dataclass(frozen=True)
class Limit:
    """A limit with its edition.

    lines: by parameter, functions of frequency. scalars: by parameter, single numbers (the propagation delay may
    have both). names: parameter asked for -> parameter that holds it (ACR-F -> ELFEXT in an old edition).
    open: parameters that the standard has and this library does not, with the reason. established: False where
    nothing is known; then lines and scalars are empty and a verdict is "not graded: limit not established".
    own: a limit of the user's, not of a standard. same_as: the limit that it equals by declaration (EN and ISO).
    pairs: the pairs it needs; empty for all four. confirmations: who confirmed or replaced what, when and from what.
    files: every file that its numbers rest on. cords: of schemas/limits/cords.toml, which a permanent link lacks.
    judged_as: what was done to it so that it fits what was measured; empty where nothing was.
    unjudged: parameters that were taken out so, without which nothing passes.
    """

    id: str
    edition: str
    title: str
    document: str
    designation: str
    configuration: str
    connections: int | None
    lines: dict[str, Line]
    scalars: dict[str, Scalar]
    established: bool = True
    own: bool = False
    same_as: str = ""
    clause: str = ""
    note: str = ""
    names: dict[str, str] = field(default_factory=dict)
    open: dict[str, str] = field(default_factory=dict)
    pairs: tuple[str, ...] = ()
    confirmations: tuple[str, ...] = ()
    files: tuple[Path, ...] = ()
    cords: str = ""
    judged_as: str = ""
    unjudged: tuple[str, ...] = ()

    def line(self, parameter: str) -> Line | None:
        """The line of a parameter, also by the name that it has in another edition; None where there is none."""
        return self.lines.get(self.names.get(parameter, parameter))

    @property
    def range_mhz(self) -> tuple[float, float] | None:
        """Lowest and highest frequency over the lines that a pass needs, MHz; None where there are none."""
        needed = [line.range_mhz for line in self.lines.values() if line.role == "required"]
        return (min(r[0] for r in needed), max(r[1] for r in needed)) if needed else None

    @property
    def confidence(self) -> str:
        """The least sure confidence of everything that a pass needs; empty where nothing is established."""
        needed = [part.confidence for part in self._parts if part.role == "required"]
        return least_sure(needed) if needed else ""

    @property
    def sources(self) -> tuple[str, ...]:
        """Source ids of all its parts, each once."""
        return tuple(dict.fromkeys(source for part in self._parts for source in part.sources))

    @property
    def _parts(self) -> tuple[Line | Scalar, ...]:
        return (*self.lines.values(), *self.scalars.values())
