"""Curves of a block of links: loss, return loss, near-end and far-end crosstalk as sums of many small causes.

Near-end crosstalk is the sum of CELLS couplings of random size along the cable, each seen through the cable up to
it and back, and of the connections at both ends; return loss the same with roughness of the impedance, a step of
impedance at both ends (which gives the ripple c NVP / 2L), and reflections of connections. Far-end coupling all
arrives together but for the difference of delay between the pairs. Local and remote end draw their couplings
apart, which is true of long links only. Far-end crosstalk is reciprocal: pair i to j seen at the remote end is
pair j to i seen at the local end, but for the noise of the instrument.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from archive.demo import cables, draws
from archive.vocabulary import COMBINATIONS, ORDERED, PAIRS

_I = np.array([PAIRS.index(c.split("/")[0]) for c in COMBINATIONS])
_J = np.array([PAIRS.index(c.split("/")[1]) for c in COMBINATIONS])
_FIRST = np.array([PAIRS.index(c.split("/")[0]) for c in ORDERED])
_SECOND = np.array([PAIRS.index(c.split("/")[1]) for c in ORDERED])
_TURNED = np.array([ORDERED.index("/".join(reversed(c.split("/")))) for c in ORDERED])
POOL = 2**20


@dataclass(frozen=True)
class Links:
    """What a block of n links is made of. Arrays (n,) or (n, 4 pairs).

    link, bundle: numbers that draws hang on; test: number that the noise hangs on; length_m: of the fixed cable;
    run_m: (n, 4) of the pairs' conductors; loss_factor, velocity: against the standard's formulas (velocity as a
    factor on delay); degc; odd, kind: links whose cable is not what its words say (cables.ODD); correlation: of the
    couplings of two links in one bundle, 0 to 1.
    """

    seed: int
    category: str
    link: Any
    bundle: Any
    test: Any
    length_m: Any
    run_m: Any
    loss_factor: Any
    velocity: Any
    connections: int
    cord_m: float
    correlation: float
    odd: Any = None
    kind: str = ""


@cache
def noise_pool() -> Any:
    """float32 normal noise, laid out once; tests take stretches of it from places that their number gives."""
    pool = draws.normal(11, "noise", [0], POOL)[0].astype(np.float32)
    pool.setflags(write=False)
    return pool


def _noise(seed: int, stream: str, test: Any, rows: int, length: int) -> Any:
    """(n, rows, length) float32 noise of deviation 1."""
    start = draws.bits(seed, stream, test, rows) % np.uint64(POOL - length)
    windows = np.lib.stride_tricks.sliding_window_view(noise_pool(), length)
    return windows[start.astype(np.int64)]


def _shared(links: Links, stream: str, count: int) -> Any:
    """float32 (n, count): part of each draw is common to the bundle."""
    own = draws.flat(links.seed, stream, links.link, count)
    if not links.correlation:
        return own
    common = draws.flat(links.seed, stream + " of bundle", links.bundle, count)
    a, b = np.float32(np.sqrt(links.correlation)), np.float32(np.sqrt(1 - links.correlation))
    return a * common + b * own


def _remated(links: Links, stream: str, size: Any) -> Any:
    """Complex connections (n, ...) as this test met them: each mating changes them a little."""
    spread = cables.facts()["spread"]["mating"]
    n, count = size.shape[0], size[0].size
    u = draws.flat(links.seed, stream, links.test, 2 * count).reshape(n, 2, *size.shape[1:])
    return size * (1 + np.float32(spread) * (u[:, 0] + 1j * u[:, 1]))


def _level(links: Links, stream: str, mean: float, deviation: float, count: int) -> Any:
    """Levels in dB as factors of amplitude, float32 (n, count)."""
    return (10 ** (-(mean + deviation * _shared(links, stream, count)) / 20)).astype(np.float32)


def _laid_out(sizes: Any, basis: Any) -> Any:
    """Sizes (..., K) on a basis (K, 2F), as complex64 (..., F), in one product."""
    flat = sizes.reshape(-1, sizes.shape[-1]) @ basis
    return flat.view(np.complex64).reshape(*sizes.shape[:-1], -1)


def transmission(links: Links) -> tuple[Any, Any]:
    """Insertion loss in dB, float32 (n, 4, F), and the wave that passes, complex64 (n, 4, F)."""
    m, c = cables.model(links.category), cables.facts()
    spread, hardware = c["spread"], c["category"][links.category]["connection"]
    root = np.sqrt(m.f)
    plugs = 0.35 + 0.25 * draws.uniform(links.seed, "plug loss", links.link, 4)
    per_root = links.connections * hardware["loss"] * plugs
    cord = 2 * links.cord_m * c["configuration"]["channel"]["cord_factor"]
    metres = links.run_m / np.mean(links.run_m, axis=1, keepdims=True) * (links.length_m[:, None] + cord)
    per_m = cables.loss_100m(links.category, m.f) / 100
    loss = (metres * links.loss_factor[:, None])[:, :, None] * per_m
    if links.kind:
        loss = np.where(links.odd[:, None, None], loss * cables.odd_loss(links.kind, m.f), loss)
    loss = (loss + per_root[:, :, None] * root).astype(np.float32)
    delay = delay_ns(links, m.f)
    turns = (delay * (m.f * 1e-3)) % 1.0
    angle = (turns * (-2 * np.pi)).astype(np.float32)
    size = np.exp(loss * np.float32(-1 / cables.NEPER))
    wave = np.empty(loss.shape, dtype=np.complex64)
    wave.real, wave.imag = size * np.cos(angle), size * np.sin(angle)
    return loss + _ripple(links, m, spread["loss_ripple_100"]), wave


def _ripple(links: Links, m: cables.Model, size: float) -> Any:
    own = _shared(links, "ripple", 4 * (cables.DELAYS + 2)).reshape(-1, 4, cables.DELAYS + 2) * np.float32(size)
    own[..., : cables.DELAYS] *= np.float32(1 / np.sqrt(cables.MOST_SKEW_NS))
    own[..., cables.DELAYS :] *= np.float32(0.2)
    return _laid_out(own, m.far).real


def delay_ns(links: Links, f_mhz: Any) -> Any:
    """Delay of each pair in ns, float64 (n, 4, F)."""
    c = cables.facts()
    metres = links.run_m + 2 * links.cord_m
    plugs = links.connections * c["constants"]["connection_delay_ns"] * 0.6
    per_metre = metres * links.velocity[:, None] / 100
    return per_metre[:, :, None] * cables.delay_100m(f_mhz) + plugs


def _near(links: Links, m: cables.Model, wave: Any) -> Any:
    """NEXT as complex64 (n, 2 ends, 6, F)."""
    c = cables.facts()
    spread, kind = c["spread"], c["category"][links.category]
    n, cells = len(links.link), cables.CELLS
    mean = kind["next_100"] + kind["next_lead"] + spread["peak_over_rms"]
    levels = _level(links, "next level", mean, spread["next_sd"], 12).reshape(n, 2, 6, 1)
    sizes = np.empty((n, 2, 6, cells + 2), dtype=np.float32)
    sizes[..., :cells] = _shared(links, "next", 12 * cells).reshape(n, 2, 6, cells) * levels
    sizes[..., :cells] *= (m.places[None, :] < links.length_m[:, None])[:, None, None, :]
    plugs = _plugs(links, "next plug", kind["connection"]["next_100"] + spread["connection_lead"])
    sizes[..., cells], sizes[..., cells + 1] = plugs.real, plugs.imag
    if links.connections > 2 and links.cord_m:
        # a channel has a cord and a second connection at each end
        at = int(np.searchsorted(m.places, links.cord_m))
        more = _plugs(links, "next second plug", kind["connection"]["next_100"] + spread["connection_lead"])
        weight = np.linalg.norm(m.near[at, :].reshape(-1, 2)[_hundred(m)])
        sizes[..., at] += (more.real / np.float32(weight)).astype(np.float32)
    out = _laid_out(sizes, m.near)
    through = wave[:, _I] * wave[:, _J] * (m.f / 100).astype(np.float32)
    return out + plugs[:, ::-1, :, None].astype(np.complex64) * through[:, None]


def _plugs(links: Links, stream: str, mean: float) -> Any:
    """Connections of both ends, complex64 (n, 2, 6): size at 100 MHz and a phase that depends on how the pair lies."""
    n, spread = len(links.link), cables.facts()["spread"]
    size = _level(links, stream, mean, spread["connection_sd"], 12).reshape(n, 2, 6)
    turn = _shared(links, stream + " turn", 12).reshape(n, 2, 6) * np.float32(0.9)
    return _remated(links, stream + " mating", (size * np.exp(1j * turn)).astype(np.complex64)).astype(np.complex64)


def _hundred(m: cables.Model) -> int:
    return int(np.argmin(np.abs(m.f - 100.0)))


def _echo(links: Links, m: cables.Model, wave: Any) -> Any:
    """Reflection as complex64 (n, 2 ends, 4, F)."""
    c = cables.facts()
    spread, kind = c["spread"], c["category"][links.category]
    n, cells = len(links.link), cables.CELLS
    lead = kind.get("return_lead", 0.0)
    level = _level(links, "roughness level", spread["roughness_rms_100"] + lead, 1.2, 8).reshape(n, 2, 4, 1)
    sizes = np.empty((n, 2, 4, cells + 4), dtype=np.float32)
    rough = _shared(links, "roughness", 8 * cells).reshape(n, 2, 4, cells)
    rough += _periodic(links, m)
    sizes[..., :cells] = rough * level * (m.places[None, :] < links.length_m[:, None])[:, None, None, :]
    step = _shared(links, "impedance", 4).reshape(n, 1, 4) * np.float32(spread["impedance_sd_ohm"] / 200)
    rise = np.float32(spread["impedance_rise"])
    mean = kind["connection"]["return_100"] + spread["return_lead"] + lead
    size = _level(links, "return plug", mean, spread["connection_sd"], 8).reshape(n, 2, 4)
    turn = (_shared(links, "return plug turn", 8).reshape(n, 2, 4) * 0.5 + np.pi / 2).astype(np.float32)
    plugs = _remated(links, "return mating", (size * np.exp(1j * turn)).astype(np.complex64)).astype(np.complex64)
    sizes[..., cells], sizes[..., cells + 1] = step, rise
    sizes[..., cells + 2], sizes[..., cells + 3] = plugs.real, plugs.imag
    out = _laid_out(sizes, m.echo)
    # from the far end: the same step the other way, and the far connection, seen twice through the cable
    slope = (m.f / 100).astype(np.float32)
    low = (rise * (1 - 1j) / np.sqrt(m.f)).astype(np.complex64)
    twice = wave * wave
    back = plugs[:, ::-1, :, None] * slope - step.astype(np.complex64)[..., None] - low
    return out + twice[:, None] * back


def _periodic(links: Links, m: cables.Model) -> Any:
    """A roughness that comes again every few decimetres, as a twisting machine leaves it, (n, 1, 4, CELLS)."""
    spread = cables.facts()["spread"]
    u = draws.uniform(links.seed, "drum", links.bundle if links.correlation else links.link, 9)
    period = 0.14 + 0.9 * u[:, :4, None]
    size = np.where(u[:, 8:9] < spread["periodic_share"], spread["periodic_size"] * (0.5 + u[:, 4:8]), 0.0)
    wave = size[..., None] * np.cos(2 * np.pi * m.places[None, None, :] / period)
    return wave[:, None].astype(np.float32)


def _far(links: Links, m: cables.Model) -> Any:
    """Far-end coupling without the loss of the link, complex64 (n, 12, F), as seen at the remote end."""
    c = cables.facts()
    spread, kind = c["spread"], c["category"][links.category]
    n, cells = len(links.link), cables.DELAYS
    mean = kind["acr_f_100"] + spread["acr_f_lead"] + spread["peak_over_rms"] - 2.5
    level = _level(links, "far level", mean, spread["next_sd"], 12).reshape(n, 12, 1)
    run = links.run_m * links.velocity[:, None] * 5.4
    skew = np.maximum(np.abs(run[:, _FIRST] - run[:, _SECOND]), 0.8)
    here = (m.delays[None, None, :] < skew[..., None]) | (np.arange(cells) == 0)
    total = np.sqrt(np.sum(here * cables.delay_weights(), axis=-1, keepdims=True))
    # what was reflected on its way comes later and weaker
    here = np.where(here, 1.0, spread["late_far"])
    sizes = np.empty((n, 12, cells + 2), dtype=np.float32)
    reach = np.sqrt(links.length_m / 100)[:, None, None]
    sizes[..., :cells] = _shared(links, "far", 12 * cells).reshape(n, 12, cells) * (level * here * (reach / total))
    mean = kind["connection"]["fext_100"] + spread["connection_lead"]
    size = _level(links, "far plug", mean, spread["connection_sd"], 12) * np.float32(np.sqrt(links.connections / 2))
    turn = _shared(links, "far plug turn", 12) * np.float32(0.9)
    plugs = _remated(links, "far mating", (size * np.exp(1j * turn)).astype(np.complex64))
    sizes[..., cells], sizes[..., cells + 1] = plugs.real, plugs.imag
    return _laid_out(sizes, m.far)


def _decibel(power: Any) -> Any:
    """-10 lg of power, float32, in place."""
    np.maximum(power, np.float32(1e-12), out=power)
    np.log(power, out=power)
    power *= np.float32(-10 / np.log(10))
    return power


def _power(z: Any) -> Any:
    parts = z.view(np.float32).reshape(*z.shape, 2)
    np.multiply(parts, parts, out=parts)
    return parts[..., 0] + parts[..., 1]


@dataclass(frozen=True)
class Waves:
    """What comes out of n links for a wave of size 1 that goes in, without noise. Arrays of shape (n, ..., F).

    loss: insertion loss in dB, (n, 4, F). through: complex (n, 4, F), the same with its phase, but for the ripple.
    echo: (n, 2 ends, 4, F). near: (n, 2 ends, 6, F). far: (n, 12, F) at the remote end, in the order of ORDERED.
    """

    loss: Any
    through: Any
    echo: Any
    near: Any
    far: Any


def waves(links: Links) -> Waves:
    """The waves of some links on the grid of their category."""
    m = cables.model(links.category)
    loss, wave = transmission(links)
    middle = (loss[:, _FIRST] + loss[:, _SECOND]) * np.float32(-0.5 / cables.NEPER)
    return Waves(loss, wave, _echo(links, m, wave), _near(links, m, wave), _far(links, m) * np.exp(middle))


def curves(links: Links) -> Any:
    """dB, float32 (n, 48, F), unrounded: insertion loss 4, return loss local 4 and remote 4, NEXT local 6 and
    remote 6, FEXT local 12 and remote 12, pairings in the order of the vocabulary."""
    m = cables.model(links.category)
    n, points = len(links.link), len(m.f)
    spread = cables.facts()["spread"]
    floor = (10 ** (-spread["noise_floor_100"] / 20) * np.sqrt(m.f / 100)).astype(np.float32)
    out = np.empty((n, 48, points), dtype=np.float32)
    w = waves(links)
    out[:, :4] = w.loss
    hiss = _noise(links.seed, "floor", links.test, 44, 2 * points).reshape(n, 44, points, 2)
    hiss = hiss * (floor * np.float32(np.sqrt(0.5)))[:, None]
    hiss = hiss.view(np.complex64)[..., 0]
    echo = w.echo.reshape(n, 8, points)
    echo += hiss[:, :8]
    out[:, 4:12] = _decibel(_power(echo))
    near = w.near.reshape(n, 12, points)
    near += hiss[:, 8:20]
    out[:, 12:24] = _decibel(_power(near))
    out[:, 36:48] = _decibel(_power(w.far + hiss[:, 32:44]))
    out[:, 24:36] = _decibel(_power(w.far[:, _TURNED] + hiss[:, 20:32]))
    trace = _noise(links.seed, "trace", links.test, 48, points)
    trace[:, :4] *= np.float32(spread["trace_noise"]["loss"])
    trace[:, 4:] *= np.float32(spread["trace_noise"]["other"])
    out += trace
    return out
