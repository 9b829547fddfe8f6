"""Invented jobs: links, tests, scalars and curves of copper with plausible physics. The truth behind a layout.

Nothing here was measured. Losses are positive decibels; lengths in m, times in ns, resistances in ohm, frequencies in
MHz. The formulas are rough shapes of the trade (loss grows with the root of frequency, crosstalk falls by 15 dB per
decade, a power sum is worse than its parts), so that whoever reads a document may lean on physics.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random

import numpy as np

from tests.formats.layouts.traits import Traits

PAIRS = ("1-2", "3-6", "4-5", "7-8")
COMBINATIONS = tuple(f"{a}/{b}" for a, b in itertools.combinations(PAIRS, 2))
ORDERED = tuple(f"{a}/{b}" for a, b in itertools.permutations(PAIRS, 2))
ENDS = ("local", "remote")

PARAMETERS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "insertion_loss": (PAIRS, ("",)),
    "return_loss": (PAIRS, ENDS),
    "next": (COMBINATIONS, ENDS),
    "ps_next": (PAIRS, ENDS),
    "acr_f": (ORDERED, ENDS),
    "ps_acr_f": (PAIRS, ENDS),
}
"""Parameters of curves: what they are taken of, and at which ends ("" where the end makes no difference)."""

PLACES = {"length": 1, "delay": 0, "skew": 0, "resistance": 2}
"""Scalars of a pair, with the decimals that a field test shows."""

_GRIDS: tuple[tuple[float, ...], ...] = (
    (1, 4, 8, 10, 16, 20, 25, 31.25, 62.5, 100),
    (1, 4, 8, 10, 16, 20, 25, 31.25, 62.5, 100, 200, 250),
    tuple(float(f) for f in range(5, 101, 5)),
    tuple(float(f) for f in range(10, 501, 35)),
    tuple(round(1 + 3.3 * i, 2) for i in range(31)),
)
_LIMITS = (
    ("Category 5e channel", 100.0),
    ("Category 6 permanent link", 250.0),
    ("Class D permanent link", 100.0),
    ("Class E channel", 250.0),
    ("Cat 6A channel", 500.0),
)
_CABLES = ("Cat 6 U/UTP", "Cat 5e F/UTP", "Cat 6A S/FTP 23 AWG", "Cat 7 S/FTP", "Cat 6 F/UTP LSZH")
_PEOPLE = ("R. Ostrander", "J. Marchetti", "L. Åkesson", "T. Nowicka", "M. Ibáñez", "K. Dubreuil", "S. Vroom")
_SITES = ("Lantern Quay 4", "Mill Yard", "Ferry Terminal North", "Old Brewery", "Tidal Institute")

CurveKey = tuple[str, str, str]
"""Parameter, end ("" where none), pair or combination."""


@dataclass
class Test:
    """One test of one link. curves and margins by parameter, end and pairing; scalars by quantity and pair."""

    label: str
    when: datetime
    facts: dict[str, str]
    velocity: float
    scalars: dict[tuple[str, str], float] = field(default_factory=dict)
    curves: dict[CurveKey, np.ndarray] = field(default_factory=dict)
    passed: bool = True


@dataclass
class Job:
    """All of one document: the frequencies of its curves, in MHz, a limit per parameter, and the tests."""

    frequencies: np.ndarray
    limits: dict[str, np.ndarray]
    tests: list[Test]


def limit_line(parameter: str, f: np.ndarray) -> np.ndarray:
    """An invented limit in dB at frequencies in MHz; rounded to 0.1 dB as documents print it."""
    lines = {
        "insertion_loss": 2.0 * np.sqrt(f) + 0.02 * f + 0.3,
        "return_loss": np.where(f < 20, 17.0, np.maximum(17.0 - 10 * np.log10(f / 20), 6.0)),
        "next": np.minimum(60.0, 62.0 - 15 * np.log10(f)),
        "ps_next": np.minimum(57.0, 59.0 - 15 * np.log10(f)),
        "acr_f": np.minimum(58.0, 57.4 - 20 * np.log10(f)),
        "ps_acr_f": np.minimum(55.0, 54.4 - 20 * np.log10(f)),
    }
    return np.round(lines[parameter], 1)


def margin(parameter: str, value: np.ndarray, limit: np.ndarray) -> np.ndarray:
    """Distance to the limit in dB; below zero fails. Insertion loss is limited from above, all others from below."""
    return np.round(limit - value if parameter == "insertion_loss" else value - limit, 1)


def invent(draw: Random, tests: int, parameters: tuple[str, ...], step: float) -> Job:
    """A job of some tests whose curves are of the parameters named, rounded to step dB."""
    f = np.array(draw.choice(_GRIDS))
    noise = np.random.default_rng(draw.randrange(2**32))
    number = draw.randrange(1, 400)
    label = draw.choice(_LABELS)
    site, limit, cable = draw.choice(_SITES), draw.choice(_LIMITS)[0], draw.choice(_CABLES)
    serials = [f"{draw.choice('BKMRT')}{draw.randrange(10**6, 10**7)}" for _ in ENDS]
    began = datetime(2014, 1, 1) + timedelta(minutes=draw.randrange(60 * 24 * 365 * 8))
    people = draw.sample(_PEOPLE, 2)
    version = f"{draw.randrange(1, 9)}.{draw.randrange(20)}.{draw.randrange(300)}"
    made = []
    for i in range(tests):
        facts = {
            "operator": draw.choice(people),
            "standard": limit,
            "cable": cable,
            "site": site,
            "building": draw.choice("ABC"),
            "floor": str(1 + (number + i) // 40 % 9),
            "room": f"R{1 + (number + i) // 20 % 12:02d}",
            "serial local": serials[0],
            "serial remote": serials[1],
            "software": version,
        }
        made.append(
            _test(Test(label(number + i), began + timedelta(minutes=4 * i + i // 3), facts, 0.0), noise, f, parameters)
        )
        for key, values in made[-1].curves.items():
            made[-1].curves[key] = np.round(np.round(values / step) * step, 4)
        made[-1].passed = all(
            bool((margin(p, v, limit_line(p, f)) >= 0).all()) for (p, _, _), v in made[-1].curves.items()
        )
    return Job(f, {p: limit_line(p, f) for p in parameters}, made)


def invent_for(traits: Traits) -> Job:
    """The job of a document."""
    return invent(Random(f"truth {traits.split} {traits.seed}"), traits.tests, traits.parameters, traits.step)


_LABELS = (
    lambda n: f"{1 + n // 60}-TR{1 + n // 20 % 3}-A{n:03d}",
    lambda n: f"D{n // 24 + 1:02d}.{n % 24 + 1:02d}",
    lambda n: f"{n:04d}",
    lambda n: f"EG/R{n // 12 + 1}/D{n:03d}",
    lambda n: f"OUT {n}{'AB'[n % 2]}",
)


def _test(test: Test, noise: np.random.Generator, f: np.ndarray, parameters: tuple[str, ...]) -> Test:
    metres = float(noise.uniform(12, 88))
    velocity = float(noise.integers(62, 80))
    test.velocity = velocity
    twist = dict(zip(PAIRS, noise.uniform(1.0, 1.045, 4), strict=True))
    slowest = {p: metres * twist[p] / (velocity / 100 * 0.299792458) for p in PAIRS}
    for pair in PAIRS:
        test.scalars["length", pair] = round(metres * twist[pair], PLACES["length"])
        test.scalars["delay", pair] = round(slowest[pair], PLACES["delay"])
        test.scalars["skew", pair] = round(slowest[pair] - min(slowest.values()), PLACES["skew"])
        test.scalars["resistance", pair] = round(0.17 * metres * twist[pair] + noise.uniform(0.1, 0.4), 2)
    worse = float(noise.choice([0, 0, 0, 0, 7]))
    near: dict[tuple[str, str], np.ndarray] = {}
    for parameter in ("next", "acr_f"):
        for end, what in itertools.product(ENDS, PARAMETERS[parameter][0]):
            slope = 15 if parameter == "next" else 20
            line = 70.0 - slope * np.log10(f) + noise.uniform(0, 6) - worse
            near[f"{parameter} {end}", what] = line + noise.normal(0, 1.3, f.size)
    for parameter in parameters:
        of, ends = PARAMETERS[parameter]
        for end, what in itertools.product(ends, of):
            if parameter == "insertion_loss":
                share = metres * twist[what] / 100
                curve = share * (1.82 * np.sqrt(f) + 0.017 * f + 0.25 / np.sqrt(f)) + noise.normal(0, 0.03, f.size)
            elif parameter == "return_loss":
                curve = np.clip(34 - 7 * np.log10(f) + noise.normal(0, 2.2, f.size) + noise.uniform(-2, 3), 4, 45)
            elif parameter in ("next", "acr_f"):
                curve = near[f"{parameter} {end}", what]
            else:
                parts = [v for (k, c), v in near.items() if k == f"{parameter[3:]} {end}" and _disturbs(c, what, k)]
                curve = -10 * np.log10(sum(10 ** (-v / 10) for v in parts))
            test.curves[parameter, end, what] = np.maximum(curve, 0.1)
    return test


def _disturbs(combination: str, pair: str, key: str) -> bool:
    first, second = combination.split("/")
    return second == pair or (first == pair and key.startswith("next"))
