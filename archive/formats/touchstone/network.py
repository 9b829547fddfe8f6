"""What a Touchstone file holds: the scattering matrix over frequency, and every word around it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

MOST_PORTS = 256
"""More ports than this are refused. Common practice, no source: cabling needs 16 (four pairs, both ends)."""


@dataclass(frozen=True)
class Mode:
    """One row of a mixed-mode matrix: kind D (difference), C (common) or S (a single port), ports counted from 1."""

    kind: str
    ports: tuple[int, ...]


@dataclass(frozen=True)
class Kept:
    """A cell around the numbers (a comment, the option line, a keyword), by its own name, with its place."""

    name: str
    place: str
    value: str


@dataclass(frozen=True)
class Network:
    """A Touchstone file as read: notation, the unit of frequency and Z, Y, H, G parameters are converted, no more.

    frequencies_mhz: float64 (F,), strictly rising. s: complex128 (F, N, N); s[f, i, j] is the wave out of port
    i + 1 for a wave into port j + 1, or, where `modes` is not empty, out of mode i for mode j. reference_ohm:
    float64 (N,), per single port. parameter: what the file holds, S, Z, Y, H or G.
    kept: comments, option line and keywords. numbers: how many numbers the network data hold;
    noise: the noise data as text, which are not read. body: the network data as text without comments, and
    body_line the line of the file at which it begins. layout: full, lower, upper, 21_12, 12_21.
    """

    ports: int
    version: str
    frequencies_mhz: Any
    s: Any
    reference_ohm: Any
    modes: tuple[Mode, ...]
    kept: tuple[Kept, ...]
    numbers: int
    noise: str
    body: str
    body_line: int
    layout: str
    unit: str
    parameter: str
    number_format: str
    encoding: str

    @property
    def per_point(self) -> int:
        """Numbers of one frequency, with the frequency itself."""
        return self.numbers // self.points

    @property
    def points(self) -> int:
        """Number of frequencies."""
        return len(self.frequencies_mhz)

    @property
    def comments(self) -> list[str]:
        """The comments alone."""
        return [k.value for k in self.kept if k.name == "comment"]


class SetAside(Exception):
    """A record that cannot be used: the reason, and other columns of its row of set_aside."""

    def __init__(self, reason: str, **columns: Any) -> None:
        super().__init__(reason)
        self.reason, self.columns = reason, columns
