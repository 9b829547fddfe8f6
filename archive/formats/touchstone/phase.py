"""What the phase of a pair's transmission says: its polarity and its delay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

_HARMLESS_NS = -0.5
"""A delay this far below zero is still noise of a thru, not a turn of phase lost between two points."""


@dataclass(frozen=True)
class LinePhase:
    """polarity: "straight", "crossed" or "" where it is not certain, with the reason. delay_ns: mean delay over the
    points that were used, None where it is not certain. delay_10_ns: phase delay at 10 MHz, None where 10 MHz is
    not covered or the delay is not certain."""

    polarity: str
    reason: str
    delay_ns: float | None = None
    delay_10_ns: float | None = None


def line_phase(f_mhz: Any, through: Any, tolerances: Mapping[str, float]) -> LinePhase:
    """Polarity and delay of a pair.

    f_mhz: float64 (F,), rising; through: complex128 (F,), its differential transmission; tolerances: those of the
    rule polarity-crossed. A line turns phase by 2 pi f tau, and its skin effect by as many radian as it attenuates
    nepers. With that taken away the phase is a straight line, which meets 0 Hz at 0 degrees (straight) or 180
    (crossed). Where the steps of the sweep are so wide that a turn between two points can be lost, every delay that
    the loss allows is tried, and nothing is said unless all agree.
    """
    if len(f_mhz) and f_mhz[0] == 0:
        # At 0 Hz there is no phase to speak of.
        f_mhz, through = f_mhz[1:], through[1:]
    used = _prefix(f_mhz, through, tolerances)
    if used < tolerances["points"]:
        return LinePhase("", f"fewer than {tolerances['points']:.0f} points at equal steps")
    f, d = f_mhz[:used], through[:used]
    turns = _turns(d)
    phase = turns - np.log(np.abs(d))
    line = np.polynomial.polynomial.polyfit(f, phase, 1)
    scatter = float(np.sqrt(np.mean((phase - np.polynomial.polynomial.polyval(f, line)) ** 2)))
    if scatter > tolerances["scatter_rad"]:
        return LinePhase("", f"the phase scatters by {scatter:.2f} rad around a line")
    step = float(f[1] - f[0])
    loss_100 = float(np.median(-20 * np.log10(np.abs(d)) / np.sqrt(f / 100)))
    longest_ns = max(loss_100, 0.1) / tolerances["least_db_per_ns"]
    # A turn added between any two points makes the delay longer by 1000 / step (MHz to ns).
    found: list[tuple[str, float, int]] = []
    delay = -float(line[1]) / (2 * np.pi) * 1e3
    extra = int(np.ceil((_HARMLESS_NS - delay) * step / 1e3))
    while not found or delay + extra * 1e3 / step <= longest_ns:
        at_zero = float(line[0]) + 2 * np.pi * extra * float(f[0]) / step
        found.append((_polarity(at_zero, tolerances), delay + extra * 1e3 / step, extra))
        extra += 1
    if len({polarity for polarity, _, _ in found}) > 1 or not found[0][0]:
        return LinePhase("", "the steps between frequencies are too wide for the length of the pair")
    if len(found) > 1:
        return LinePhase(found[0][0], "")
    polarity, delay, extra = found[0]
    half = np.pi if polarity == "crossed" else 0.0
    shifted = turns - 2 * np.pi * extra * (f - f[0]) / step
    # The phase at 0 Hz is 0 or pi but for whole turns, which the line gives.
    whole = np.round((float(line[0]) + 2 * np.pi * extra * float(f[0]) / step - half) / (2 * np.pi))
    at_10 = None
    if f[0] <= 10.0 <= f[-1]:
        at_10 = -(float(np.interp(10.0, f, shifted)) - half - 2 * np.pi * float(whole)) / (2 * np.pi * 10.0) * 1e3
    return LinePhase(polarity, "", delay, at_10)


def _turns(wave: Any) -> Any:
    """Phase of a wave without jumps, radian. The usual turn of one step is taken away first, so that a line whose
    step is near half a turn does not flip between both ways round."""
    steps = wave[1:] / wave[:-1]
    usual = np.angle(np.sum(steps / np.abs(steps)))
    turned = usual + np.angle(steps * np.exp(-1j * usual))
    return np.angle(wave[0]) + np.concatenate(([0.0], np.cumsum(turned)))


def _prefix(f_mhz: Any, through: Any, tolerances: Mapping[str, float]) -> int:
    """How many points from the first, stand at equal steps with a loss small enough for their phase."""
    if len(f_mhz) < 3:
        return 0
    steps = np.diff(f_mhz)
    equal = np.abs(steps - steps[0]) <= 1e-3 * steps[0]
    count = 1 + (len(steps) if equal.all() else int(np.argmin(equal)))
    loud = (np.abs(through) > 10 ** (-tolerances["to_db"] / 20)) & (f_mhz <= tolerances["to_mhz"])
    return int(min(count, len(loud) if loud.all() else int(np.argmin(loud))))


def _polarity(radian: float, tolerances: Mapping[str, float]) -> str:
    off = abs(float(np.degrees(np.angle(np.exp(1j * radian)))))
    if off <= tolerances["within_degrees"]:
        return "straight"
    return "crossed" if off >= 180 - tolerances["within_degrees"] else ""
