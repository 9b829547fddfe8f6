"""The link simulator: any number of invented, physical, fully swept links as batches of the canonical tables.

    for batch in simulate(5000, seed=1, category="cat6a"): ...

Link k depends on (seed, options, k) alone: `simulate(10, 1, start=490)` gives the same bytes for link 495 as
`simulate(5000, 1)`, whatever the size of the batches. The physics is in curves.py, the numbers behind it in
schemas/simulator.toml, where those of the trade have their sources and those that are invented say so. Nothing here
was measured. Measured curves of a record: insertion loss 4, return loss 8, NEXT 12, FEXT 24; `derived=True` adds
ACR-F 24, PS NEXT 8 and PS ACR-F 8, with origin derived.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from archive.demo import cables, draws, faults, jobs, population
from archive.demo.assemble import Tested, batch
from archive.demo.curves import Links, curves
from archive.demo.instrument import Judge, SimulatedWorst, judge
from archive.demo.margins import drawn
from archive.demo.options import BadBatch, Cable, OfJob, Options
from archive.demo.scalars import readings, round_to, velocity_percent
from archive.tables import Batch

__all__ = ["BadBatch", "Cable", "Options", "planted", "simulate"]

BLOCK = 16
"""Links whose curves are computed together, always the same ones: so that no chunking changes a bit."""


def simulate(
    n: int, seed: int = 1, options: Options | None = None, *, start: int = 0, **changes: Any
) -> Iterator[Batch]:
    """Links start to start + n, in order, as batches.

    changes: fields of Options by name. A link that is tested again gives two records, the second right after the
    first. A batch never mixes jobs of different cable types.
    Errors: Trouble for an option out of range; TypeError for an unknown one.
    """
    o = replace(options or Options(), **changes).checked()
    assert o.records is not None
    most = o.records // 2 if o.repeat_share or o.retest_share else o.records
    first = start
    while first < start + n:
        last = min(first + most, start + n)
        if o.mixture:
            last = min(last, (first // jobs.JOB + 1) * jobs.JOB)
        yield _links(seed, first, last, o)
        first = last


def planted(n: int, seed: int = 1, options: Options | None = None, *, start: int = 0, **changes: Any) -> dict[str, Any]:
    """The truth behind simulate(n, seed, ...): arrays (n,) by name.

    fails: the first test was made to fail; parameter: at which one; cable_is: what the cable is against its words;
    cable_type, job, week (ISO 8601 Monday).
    """
    o = replace(options or Options(), **changes).checked()
    k = np.arange(start, start + n)
    number = k // jobs.JOB
    of = {j: o.of_job(seed, j) for j in np.unique(number).tolist()}
    made = faults.plant(seed, k, np.array([of[j].fail_rate for j in number.tolist()]))
    return {
        "fails": made.fails,
        "parameter": made.names,
        "cable_type": np.array([of[j].cable_type for j in number.tolist()]),
        "cable_is": np.where(cables.odd(seed, k, o.cable_is, o.cable_is_share), o.cable_is, ""),
        "job": np.array([jobs.job(seed, j).job_id for j in number.tolist()]),
        "week": np.array([jobs.job(seed, j).week.isoformat() for j in number.tolist()]),
    }


def _links(seed: int, first: int, last: int, o: Options) -> Batch:
    block = BLOCK if o.sweeps else jobs.JOB
    parts = []
    for number in range(first // block, (last - 1) // block + 1):
        k = np.arange(number * block, (number + 1) * block)
        part = _tests(seed, k, o, o.of_job(seed, int(k[0]) // jobs.JOB))
        parts.append(part.only((part.link >= first) & (part.link < last)))
    return batch(seed, Tested.join(parts), o.of_job(seed, first // jobs.JOB), o)


def _tests(seed: int, k: Any, o: Options, of: OfJob) -> Tested:
    """Tests of the links of one block, all of one job."""
    plan = faults.plant(seed, k, of.fail_rate)
    court = judge(of.limit_id, of.category)
    again = _again(seed, k, o, plan)
    # a later test that no link of the block has is not worked out: its curves would be the dearest to throw away
    tests = [population.links(seed, k, o, of, i) for i, which in enumerate(again) if i == 0 or which.any()]
    values = _values(court, [links for links, _ in tests], plan, o.step) if o.sweeps else [None] * len(tests)
    parts = []
    for i, (links, degc) in enumerate(tests):
        scalars = readings(links, of.gauge, degc) if o.readings else None
        reported = _reported(court, values[i], scalars, links, plan if i == 0 else None)
        tested = Tested(k, np.full(len(k), i), scalars, velocity_percent(links), values[i], reported)
        parts.append(tested.only(again[i]))
    return Tested.join(parts)


def _values(court: Judge | None, tests: Sequence[Links], plan: faults.Planted, step: float | None) -> list[Any]:
    """Curves of the first and later tests of some links, as the instrument stores them."""

    def stored(raw: Any) -> Any:
        return raw.astype(np.float64) if step is None else round_to(raw, step)

    out: list[Any] = []
    better: tuple[Any, Any] | None = None
    for links in tests:
        raw = curves(links)
        if court is not None:
            if better is None or np.any(plan.names == "insertion_loss"):
                own = faults.improve(court, stored(raw), links.seed, links.link)
                if links.kind:  # such a cable loses what it loses, and fails by it where it is long
                    own = own[0], np.where(links.odd[:, None], np.float32(1), own[1])
                better = own if better is None else _of_rerun(plan, better, own)
            raw = faults.apply(raw, *better)
            if not out and plan.fails.any():
                raw = faults.apply(raw, *faults.spoil(court, raw, plan))
        out.append(stored(raw))
    return out


def _of_rerun(plan: faults.Planted, first: tuple[Any, Any], own: tuple[Any, Any]) -> tuple[Any, Any]:
    """Changes of a later test: those of the first, but for links that were run anew, and shorter, in between."""
    rerun = (plan.names == "insertion_loss")[:, None]
    return np.where(rerun, own[0], first[0]), np.where(rerun, own[1], first[1])


def _again(seed: int, k: Any, o: Options, plan: faults.Planted) -> list[Any]:
    """Which links have a first test (all), a second after mending, a repeat: boolean arrays (n,)."""
    u = draws.uniform(seed, "again", k, 2)
    out = [np.ones(len(k), dtype=bool)]
    if o.retest_share or o.repeat_share:
        mended = plan.fails & (u[:, 0] < o.retest_share)
        out.append(mended | (~plan.fails & (u[:, 1] < o.repeat_share)))
    return out


def _reported(
    court: Judge | None, values: Any, scalars: Any, links: Links, plan: faults.Planted | None
) -> list[SimulatedWorst]:
    if court is None:
        return []
    curves_said = drawn(court, links.seed, links.test, plan) if values is None else court.worst(values)
    return curves_said + ([] if scalars is None else court.scalars(scalars))
