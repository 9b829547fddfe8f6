"""A simulated link as a laboratory network analyser with eight differential ports would measure it."""

from __future__ import annotations

from typing import Any

import numpy as np

from archive.demo import cables, draws
from archive.demo.curves import Links, waves
from archive.vocabulary import COMBINATIONS, ENDS, ORDERED, PAIRS

PORTS = tuple((end, pair) for end in ENDS for pair in PAIRS)
"""End and pair at ports 1 to 8."""


def scattering(links: Links) -> Any:
    """complex128 (n, F, 8, 8) between the pairs at both ends, 100 ohm: reciprocal, without noise."""
    w = waves(links)
    n, _, points = w.through.shape
    s = np.zeros((n, points, 8, 8), dtype=np.complex128)
    turn = np.exp(1j * np.angle(w.through))
    for i in range(4):
        s[:, :, i, i + 4] = s[:, :, i + 4, i] = 10 ** (-w.loss[:, i] / 20) * turn[:, i]
        for e in (0, 1):
            s[:, :, 4 * e + i, 4 * e + i] = w.echo[:, e, i]
    for k, name in enumerate(COMBINATIONS):
        i, j = (PAIRS.index(p) for p in name.split("/"))
        for e in (0, 1):
            s[:, :, 4 * e + i, 4 * e + j] = s[:, :, 4 * e + j, 4 * e + i] = w.near[:, e, k]
    for k, name in enumerate(ORDERED):
        i, j = (PAIRS.index(p) for p in name.split("/"))
        # the phase of what couples over: that of the mean way of the two pairs
        way = w.far[:, k] * np.exp(0.5j * (np.unwrap(np.angle(turn[:, i])) + np.unwrap(np.angle(turn[:, j]))))
        s[:, :, 4 + j, i] = s[:, :, i, 4 + j] = way
    return s


def touchstone(links: Links, row: int, *, noise_db: float = 90.0) -> str:
    """One link as the text of a Touchstone 2.0 file, lower triangle, real and imaginary parts, with a little noise."""
    f = cables.grid(links.category)
    s = scattering(links)[row]
    hiss = draws.normal(links.seed, "analyser", links.test[row : row + 1], 2 * s.size)[0].reshape(2, *s.shape)
    s = s + (hiss[0] + 1j * hiss[1]) * 10 ** (-noise_db / 20)
    low = np.tril_indices(8)
    lines = [
        "! invented: a simulated link, written by the link simulator of muniment; no instrument measured it",
        "[Version] 2.0",
        "# MHz S RI R 100",
        "[Number of Ports] 8",
        f"[Number of Frequencies] {len(f)}",
        "[Matrix Format] Lower",
        "[Network Data]",
    ]
    for at, matrix in zip(f.tolist(), s, strict=True):
        cells = [f"{z.real:.6f} {z.imag:.6f}" for z in matrix[low].tolist()]
        first = 0
        for i in range(8):
            words = "  ".join(cells[first : first + i + 1])
            lines.append(f"{at:.6g} {words}" if i == 0 else f"  {words}")
            first += i + 1
    return "\n".join([*lines, "[End]"]) + "\n"


def port_map(facts: str) -> str:
    """The port map for `touchstone`: facts as TOML lines, then the pairs."""
    pairs = "".join(f'\n[pairs."{p}"]\nlocal = {i + 1}\nremote = {i + 5}\n' for i, p in enumerate(PAIRS))
    return facts + pairs
