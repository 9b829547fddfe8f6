"""Worst margins without curves, for simulations of a million records: drawn from a distribution, which is invented."""

from __future__ import annotations

from typing import Any

import numpy as np

from archive.demo import cables, draws
from archive.demo.faults import LEAST, Planted
from archive.demo.instrument import Judge, SimulatedWorst, subjects


def drawn(court: Judge, seed: int, test: Any, planted: Planted | None) -> list[SimulatedWorst]:
    """Worst margin of each parameter for some tests (n,), at a drawn curve and frequency.

    What is planted fails by its depth at its parameter; everything else passes. The distribution is a normal one cut
    off at LEAST, with mean and deviation from simulator.toml, fitted to simulated curves of category 6A.
    """
    out = []
    where = draws.uniform(seed, "worst point", test, 12)
    for i, name in enumerate(court.lines):
        line = court.limit.line(name)
        assert line is not None
        mean, deviation = cables.facts()["margins"][name]
        margin = np.maximum(mean + deviation * draws.normal(seed, "margin " + name, test)[:, 0], LEAST)
        if planted is not None:
            margin = np.where(planted.names == name, -planted.depth_db, margin)
        here = np.flatnonzero(np.isfinite(court.lines[name]))
        row = (where[:, i] * len(subjects(name))).astype(np.int64)
        point = here[((0.4 + 0.6 * where[:, 6 + i]) * len(here)).astype(np.int64)]
        limit = court.lines[name][point]
        value = limit - margin if line.sense == "max" else limit + margin
        out.append(SimulatedWorst(name, "worst_margin", row, point, value, limit, margin))
    return out
