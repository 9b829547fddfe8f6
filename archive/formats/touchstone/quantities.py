"""The curves of a record: losses in dB out of the mixed-mode matrix of the pairs that the map names.

Definitions in words (mode conversion after ITU-T O.9 and IEC 61935-1, crosstalk after ISO/IEC 11801-1, all from
memory; `end` is always the end at which the wave is observed):

insertion loss   difference mode in at the local end, out at the remote end
return loss      difference mode in and out of the same pair at the same end
NEXT             difference mode into one pair, out of another at the same end
FEXT             difference mode into one pair, out of another at the other end
ACR-F            FEXT less the insertion loss of the disturbed pair
TCL              difference mode in, common mode out, same pair and end
LCL              common mode in, difference mode out, same pair and end
TCTL             difference mode in at one end, common mode out at the other
LCTL             common mode in at one end, difference mode out at the other
ELTCTL           TCTL less the insertion loss of the pair
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from archive.formats.touchstone.mixed_mode import loss_db, mode_matrix, to_modes
from archive.formats.touchstone.network import Mode
from archive.formats.touchstone.port_map import PairPorts
from archive.vocabulary import ENDS, other_end


class Modes:
    """The modes that the pairs of a map have, and the losses between them.

    s: complex128 (F, N, N) over single ports, pairs of ports with equal reference impedance.
    """

    def __init__(self, s: Any, pairs: Sequence[PairPorts]) -> None:
        self._rows: dict[tuple[str, str, str], int] = {}
        modes: list[Mode] = []
        for pair in pairs:
            for end in ENDS:
                for kind in "DC":
                    mode = pair.mode(end, kind)
                    if mode is not None:
                        self._rows[pair.name, end, kind] = len(modes)
                        modes.append(mode)
        self._matrix = to_modes(s, modes)
        # what is smaller than the rounding of the sums it came from is zero: 1e-20 is no loss of 400 dB
        weights = np.abs(mode_matrix(modes, s.shape[-1]))
        self._matrix[np.abs(self._matrix) <= 8 * np.finfo(float).eps * (weights @ np.abs(s) @ weights.T)] = 0

    def wave(self, out: tuple[str, str, str], into: tuple[str, str, str]) -> Any:
        """The wave (F,) out of one mode for a wave into another, each given as pair, end, kind (D or C); None where
        the ports do not show one of them."""
        if out not in self._rows or into not in self._rows:
            return None
        return self._matrix[:, self._rows[out], self._rows[into]]


Curve = tuple[str, str | None, str, str, Any]
"""parameter, end, pairing, origin, values in dB (F,); NaN where there is no value."""


def curves(modes: Modes, pairs: Sequence[PairPorts]) -> Iterator[Curve]:
    """All curves that the ports allow, pair after pair."""
    through: dict[str, Any] = {}
    for pair in pairs:
        name = pair.name
        wave = modes.wave((name, "remote", "D"), (name, "local", "D"))
        if wave is not None:
            through[name] = loss_db(wave)
            yield "insertion_loss", None, name, "measured", through[name]
        for end in ENDS:
            yield from _one_end(modes, name, end)
    for i, pair in enumerate(pairs):
        for other in pairs[i + 1 :]:
            for end in ENDS:
                wave = modes.wave((other.name, end, "D"), (pair.name, end, "D"))
                if wave is not None:
                    yield "next", end, f"{pair.name}/{other.name}", "measured", loss_db(wave)
    for pair in pairs:
        for other in pairs:
            if pair is not other:
                yield from _far_crosstalk(modes, pair.name, other.name, through)
    for pair in pairs:
        yield from _far_conversion(modes, pair.name, through.get(pair.name))


def _one_end(modes: Modes, name: str, end: str) -> Iterator[Curve]:
    for parameter, out, into in (("return_loss", "D", "D"), ("tcl", "C", "D"), ("lcl", "D", "C")):
        wave = modes.wave((name, end, out), (name, end, into))
        if wave is not None:
            yield parameter, end, name, "measured", loss_db(wave)


def _far_crosstalk(modes: Modes, disturbing: str, disturbed: str, through: dict[str, Any]) -> Iterator[Curve]:
    for end in ENDS:
        wave = modes.wave((disturbed, end, "D"), (disturbing, other_end(end), "D"))
        if wave is None:
            continue
        loss = loss_db(wave)
        yield "fext", end, f"{disturbing}/{disturbed}", "measured", loss
        if disturbed in through:
            yield "acr_f", end, f"{disturbing}/{disturbed}", "derived", loss - through[disturbed]


def _far_conversion(modes: Modes, name: str, through: Any) -> Iterator[Curve]:
    for end in ENDS:
        wave = modes.wave((name, end, "C"), (name, other_end(end), "D"))
        if wave is not None:
            loss = loss_db(wave)
            yield "tctl", end, name, "measured", loss
            if through is not None:
                yield "eltctl", end, name, "derived", loss - through
        wave = modes.wave((name, end, "D"), (name, other_end(end), "C"))
        if wave is not None:
            yield "lctl", end, name, "measured", loss_db(wave)
