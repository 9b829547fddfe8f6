"""The link simulator: any number of invented, physical, fully swept links as batches of the canonical tables.

    for batch in simulate(5000, seed=1, category="cat6a"): ...

Link k depends on (seed, options, k) alone: `simulate(10, 1, start=490)` gives the same bytes for link 495 as
`simulate(5000, 1)`. The physics is in curves.py, the numbers behind it in schemas/simulator.toml, where those of the
trade have their sources and those that are invented say so. Nothing here was measured.
Measured curves of a record: insertion loss 4, return loss 8, NEXT 12, FEXT 24; `derived=True` adds ACR-F 24 and the
power sums, with origin derived.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from archive.demo import cables, draws
from archive.demo.assemble import Tested, batch
from archive.demo.curves import Links, curves
from archive.demo.scalars import readings, velocity_percent
from archive.errors import Trouble
from archive.tables import MOST_RECORDS, Batch

BLOCK = 16
"""Links whose curves are computed together, always the same ones: so that no chunking changes a bit."""
SCALARS = 480
"""The same where only scalars are asked for."""


@dataclass(frozen=True)
class Options:
    """What to simulate.

    category: cat5e, cat6, cat6a, cat7, cat7a. configuration: permanent-link or channel. construction and gauge: of the
    cable type; by default what is common for the category. length_m: shortest, commonest and longest fixed cable.
    bundle: links of one bundle, neighbours in number. bundle_correlation: of the residuals in dB of two links of a
    bundle, 0 to 0.95. equal_lengths: links of a bundle have one length and one make of hardware. step: the numbers are
    rounded to it, in dB; None leaves them as they are. repeat_share: share of links that are tested a second time the
    same evening, with nothing changed but mating and noise. derived: adds ACR-F and power sums as derived curves.
    sweeps: False leaves the curves out (identities, readings and verdicts only).
    """

    category: str = "cat6a"
    configuration: str = "permanent-link"
    construction: str | None = None
    gauge: int | None = None
    length_m: tuple[float, float, float] = (12.0, 42.0, 88.0)
    bundle: int = 24
    bundle_correlation: float = 0.0
    equal_lengths: bool = False
    step: float | None = 0.1
    repeat_share: float = 0.0
    derived: bool = False
    sweeps: bool = True
    records: int = 240

    def checked(self) -> Options:
        """Self with the defaults of the category filled in. Errors: Trouble."""
        known = cables.facts()["category"]
        if self.category not in known:
            raise Trouble("the simulator has no such category", found=self.category, expected=", ".join(known))
        if not 0 <= self.bundle_correlation <= 0.95:
            raise Trouble("bundle correlation out of range", found=str(self.bundle_correlation), expected="0 to 0.95")
        if not 1 <= self.records <= MOST_RECORDS:
            raise Trouble("records of a batch out of range", found=str(self.records), expected=f"1 to {MOST_RECORDS}")
        made = known[self.category]["made"]
        return replace(self, construction=self.construction or made["construction"], gauge=self.gauge or made["gauge"])

    @property
    def cable_type(self) -> str:
        """Brand-neutral cable type."""
        return f"{self.category}/{self.construction}/awg{self.gauge}/solid"


def simulate(
    n: int, seed: int = 1, options: Options | None = None, *, start: int = 0, **changes: Any
) -> Iterator[Batch]:
    """Links start to start + n, in order, as batches of at most options.records links.

    changes: fields of Options by name. A link that is tested twice gives two records, the second right after the first.
    Errors: Trouble for an option out of range; TypeError for an unknown one.
    """
    chosen = replace(options or Options(), **changes).checked()
    for first in range(start, start + n, chosen.records // 2 if chosen.repeat_share else chosen.records):
        size = chosen.records // 2 if chosen.repeat_share else chosen.records
        last = min(first + size, start + n)
        tested = []
        block = BLOCK if chosen.sweeps else SCALARS
        for number in range(first // block, (last - 1) // block + 1):
            part = _block(seed, np.arange(number * block, (number + 1) * block), chosen)
            tested.append(part.only((part.link >= first) & (part.link < last)))
        yield batch(seed, tested, chosen.cable_type, chosen.configuration, chosen.category, chosen.step)


@cache
def _correlation(residual: float) -> float:
    """Correlation of complex amplitudes that gives this correlation of levels in dB.

    For two complex normal amplitudes with correlation r, the logarithms of their powers are correlated by
    Li2(r^2) / Li2(1), where Li2(x) is the sum of x^k / k^2.
    """
    k = np.arange(1, 4000)
    low, high = 0.0, 1.0
    for _ in range(50):
        middle = (low + high) / 2
        if np.sum(middle**k / k**2) * 6 / np.pi**2 < residual:
            low = middle
        else:
            high = middle
    return float(np.sqrt(low))


def _block(seed: int, k: Any, o: Options) -> Tested:
    """The tests of the links of one block."""
    spread, c = cables.facts()["spread"], cables.facts()
    bundle = k // o.bundle
    u = draws.uniform(seed, "link", k, 8)
    v = draws.uniform(seed, "bundle", bundle, 4)
    low, mode, high = o.length_m
    along = v[:, 0] if o.equal_lengths else np.clip(v[:, 0] + 0.12 * (u[:, 0] - 0.5), 0, 1)
    cut = (mode - low) / (high - low)
    rising = low + np.sqrt(along * (high - low) * (mode - low))
    falling = high - np.sqrt((1 - along) * (high - low) * (high - mode))
    length = np.where(along < cut, rising, falling)
    if o.equal_lengths:
        length = length + 0.04 * (u[:, 0] - 0.5)
    setup = c["configuration"][o.configuration]
    degc = np.interp(v[:, 1], [0, 1], spread["temperature_degc"]) + 0.5 * u[:, 1]
    screened = o.construction != "u-utp"
    warm = c["constants"]["loss_per_degc"]["screened" if screened else "unscreened"] * (degc - 20)
    lay = np.array(spread["lay"]) + spread["lay_sd"] * draws.normal(seed, "lay", bundle, 4)
    made = Links(
        seed=seed,
        category=o.category,
        link=k,
        bundle=bundle,
        test=k,
        length_m=length,
        run_m=length[:, None] * lay,
        loss_factor=np.interp(v[:, 2], [0, 1], spread["loss_of_standard"]) * (1 + warm),
        velocity=np.interp(v[:, 3], [0, 1], spread["velocity_of_standard"]),
        connections=setup["connections"],
        cord_m=setup["cord_m"],
        correlation=_correlation(o.bundle_correlation),
    )
    tests = [made]
    if o.repeat_share:
        tests.append(replace(made, test=k + 2**40))
    again = u[:, 2] < o.repeat_share
    assert o.gauge is not None
    parts = [
        Tested(
            link=k,
            test=np.full(len(k), t),
            readings=readings(m, o.gauge, degc),
            velocity=velocity_percent(m),
            connections=m.connections,
            curves=curves(m) if o.sweeps else None,
        )
        for t, m in enumerate(tests)
    ]
    return Tested.join([parts[0], parts[1].only(again)]) if o.repeat_share else parts[0]
