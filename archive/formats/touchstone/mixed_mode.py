"""From single ports to the modes of pairs: renormalisation, mixed-mode matrices, and back.

D. E. Bockelman and W. R. Eisenstadt, "Combined differential and common-mode scattering parameters: theory and
simulation", IEEE Trans. MTT 43 (1995) 1530-1539, from memory: with ports a and b of a pair, the difference mode is
(a - b) / sqrt 2, the common mode (a + b) / sqrt 2; two ports of 50 ohm make 100 ohm of difference mode and 25 ohm
of common mode.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from archive.formats.touchstone.network import Mode


def mode_matrix(modes: Sequence[Mode], ports: int) -> Any:
    """Real matrix (M, N) that turns waves of N ports into waves of the modes; its rows are orthonormal."""
    out = np.zeros((len(modes), ports))
    for row, mode in enumerate(modes):
        if mode.kind == "S":
            out[row, mode.ports[0] - 1] = 1.0
            continue
        a, b = (p - 1 for p in mode.ports)
        out[row, a] = np.sqrt(0.5)
        out[row, b] = np.sqrt(0.5) * (-1.0 if mode.kind == "D" else 1.0)
    return out


def to_modes(s: Any, modes: Sequence[Mode]) -> Any:
    """Scattering matrices (F, N, N) of single ports as matrices (F, M, M) of modes.

    Right where the two ports of a pair have the same reference impedance (see renormalise).
    """
    m = mode_matrix(modes, s.shape[-1])
    return m @ s @ m.T


def to_ports(s: Any, modes: Sequence[Mode]) -> Any:
    """Matrices (F, N, N) over a complete set of modes as matrices over single ports: the way back of to_modes."""
    m = mode_matrix(modes, s.shape[-1])
    return m.T @ s @ m


def renormalise(s: Any, old_ohm: Any, new_ohm: Any) -> Any:
    """Matrices (F, N, N) for other reference impedances, real and positive, (N,) each, in ohm.

    With a = (V + Z I) / 2 sqrt Z and b = (V - Z I) / 2 sqrt Z at each port, the new waves are
    a' = P a + Q b and b' = Q a + P b, with P = (Z + Z') / 2 sqrt(Z Z') and Q = (Z - Z') / 2 sqrt(Z Z');
    so S' = (Q + P S) (P + Q S)^-1.
    Errors: numpy.linalg.LinAlgError where a matrix has no inverse, which no passive network shows.
    """
    old, new = np.asarray(old_ohm, dtype=float), np.asarray(new_ohm, dtype=float)
    p = np.diag((old + new) / (2 * np.sqrt(old * new)))
    q = np.diag((old - new) / (2 * np.sqrt(old * new)))
    return (q + p @ s) @ np.linalg.inv(p + q @ s)


def loss_db(s: Any) -> Any:
    """-20 lg |s| in dB; NaN where |s| is zero, which has no value in dB."""
    size = np.abs(s)
    with np.errstate(divide="ignore"):
        loss = -20.0 * np.log10(size)
    return np.where(size > 0, loss, np.nan)
