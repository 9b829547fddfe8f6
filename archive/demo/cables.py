"""Models of cable: loss, delay, resistance, and the bases on which random coupling is laid out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from archive import schemas
from archive.demo import draws

CELLS = 176
"""Places along the cable at which coupling and roughness sit."""
DELAYS = 48
"""Differences of delay between two pairs at which far-end coupling sits."""
LONGEST_M = 130.0
MOST_SKEW_NS = 60.0
NEPER = 8.685889638065035


ODD = ("copper-clad", "thin", "stranded")
"""What a cable may be against its words: copper-clad aluminium, copper of a thinner gauge, stranded."""


def odd(seed: int, link: Any, kind: str, share: float) -> Any:
    """Which links have such a cable, a boolean array (n,)."""
    if not kind:
        return np.zeros(len(link), dtype=bool)
    return draws.uniform(seed, "what the cable is", link)[:, 0] < share


def facts() -> dict[str, Any]:
    """The numbers of schemas/simulator.toml."""
    return schemas.load("simulator.toml")


@cache
def grid(category: str) -> Any:
    """Frequencies of a field test in MHz, float64: 478 points for cat5e, 778 for cat6, 1,028 for cat6a."""
    top = facts()["category"][category]["top_mhz"]
    parts = []
    for first, last, step in facts()["constants"]["grid"]:
        count = round((min(last, top) - first) / step) + 1
        if first <= top:
            parts.append(np.round(first + step * np.arange(count), 6))
    return np.concatenate(parts)


def loss_100m(category: str, f_mhz: Any) -> Any:
    """Insertion loss of 100 m of cable in dB by the standard's formula k1 sqrt f + k2 f + k3 / sqrt f."""
    k1, k2, k3 = facts()["category"][category]["loss"]
    f = np.asarray(f_mhz, dtype=np.float64)
    return k1 * np.sqrt(f) + k2 * f + k3 / np.sqrt(f)


def delay_100m(f_mhz: Any) -> Any:
    """Delay of 100 m of cable in ns by the standard's formula."""
    a, b = facts()["constants"]["delay_ns_100m"]
    return a + b / np.sqrt(np.asarray(f_mhz, dtype=np.float64))


def diameter_mm(gauge: int) -> float:
    """Diameter of a solid conductor of American wire gauge."""
    smallest, base, first, span = facts()["constants"]["gauge_mm"]
    return float(smallest * base ** ((first - gauge) / span))


def resistance_ohm_m(gauge: int, degc: Any = 20.0) -> Any:
    """Resistance of one conductor in ohm per metre."""
    c = facts()["constants"]
    area = np.pi / 4 * diameter_mm(gauge) ** 2
    return c["copper_ohm_mm2_m"] / area * (1 + c["copper_per_degc"] * (np.asarray(degc) - 20.0))


def odd_loss(kind: str, f_mhz: Any) -> Any:
    """Insertion loss of a cable of ODD against that of its words, by frequency.

    Of copper-clad aluminium the current flows in the copper at high frequencies and in the aluminium at low ones; it
    falls to 1/e in the depth of the skin, which goes as 1 / sqrt(f).
    """
    c = facts()["odd"][kind]
    if kind != "copper-clad":
        return np.full(len(f_mhz), float(c["loss"]))
    inside = np.exp(-2 * c["skin_um"] / (c["depth_um_1mhz"] / np.sqrt(np.asarray(f_mhz, dtype=np.float64))))
    return 1 + (np.sqrt(c["resistance"]) - 1) * inside


@dataclass(frozen=True)
class Model:
    """One category: its grid and its bases. float32 bases hold real and imaginary part in turn.

    near: (CELLS + 2, 2F): f/100 exp(-2 gamma z) at each place, then a connection at the plug (real, imaginary).
    echo: (CELLS + 4, 2F): the same with the growth of roughness, then a step of impedance, the rise of
    impedance towards low frequencies, and a connection at the plug (real, imaginary).
    far: (DELAYS + 2, 2F): f/100 exp(-j omega t) at each difference of delay, then a connection.
    """

    category: str
    f: Any
    places: Any
    delays: Any
    near: Any
    echo: Any
    far: Any


def _interleaved(z: Any) -> Any:
    return np.ascontiguousarray(np.stack([z.real, z.imag], axis=-1).reshape(z.shape[0], -1), dtype=np.float32)


@cache
def model(category: str) -> Model:
    """The model of one category. Errors: KeyError where simulator.toml has no such category."""
    f = grid(category)
    spread = facts()["spread"]
    # The places are dense near the plug, where near-end coupling counts, and shaken, so that no two frequencies
    # see the same sum; the weight of a place is the square root of the length that it stands for.
    shake = draws.uniform(7, "places", [0], CELLS)[0]
    edge = LONGEST_M * (np.arange(CELLS + 1) / CELLS) ** 1.6
    places = edge[:-1] + np.diff(edge) * shake
    weight = np.sqrt(np.diff(edge))
    omega = 2e-3 * np.pi * f  # rad per ns
    phase = omega * delay_100m(f) * 0.9 / 100
    gamma = loss_100m(category, f) * 0.94 / 100 / NEPER + 1j * phase
    wave = np.exp(-2 * gamma[None, :] * places[:, None]) * weight[:, None]
    hundred = int(np.argmin(np.abs(f - 100.0)))
    wave /= np.sqrt(np.sum(np.abs(wave[:, hundred]) ** 2))
    slope = f / 100.0
    plug = slope * np.exp(-0.15j * omega)
    near = np.concatenate([wave * slope, [plug, 1j * plug]])
    rough = wave * slope ** spread["roughness_slope"]
    echo = np.concatenate([rough, [np.ones_like(f) + 0j, (1 - 1j) / np.sqrt(f), plug, 1j * plug]])
    edge_t = MOST_SKEW_NS * (np.arange(DELAYS + 1) / DELAYS) ** 1.5
    delays = edge_t[:-1] + np.diff(edge_t) * draws.uniform(7, "delays", [0], DELAYS)[0]
    turn = np.exp(-1j * omega[None, :] * delays[:, None]) * np.sqrt(np.diff(edge_t))[:, None]
    far = np.concatenate([turn * slope, [slope + 0j, 1j * slope]])
    return Model(category, f, places, delays, _interleaved(near), _interleaved(echo), _interleaved(far))


def delay_weights() -> Any:
    """Length in ns that each difference of delay stands for, (DELAYS,)."""
    return np.diff(MOST_SKEW_NS * (np.arange(DELAYS + 1) / DELAYS) ** 1.5)
