"""Coverage of intervals and false alarms of comparisons, charts and drift, over simulated archives with fixed seeds.

python -m tests.endurance error-rates      a table of all cells; ends with 1 where a promise is broken
"""

from __future__ import annotations

from typing import Any

import numpy as np

from archive.answers.inference import drift, trends
from archive.answers.inference.differ import no_failure
from tests.inference import simulated_jobs as simulated

COVERED, ALARMS = 0.925, 0.07
"""What is promised for correlations of 0 to 0.05."""


def intervals(runs: int) -> dict[str, float]:
    """Lowest and median coverage by jobs a group, over three rates, correlations and numbers of groups."""
    out: dict[str, float] = {}
    for jobs in (1, 2, 5, 10, 20, 50):
        cells = [
            simulated.coverage(1000 * jobs + k, max(20, 2 * runs // groups), [jobs] * groups, mean, rho)
            for k, (groups, mean, rho) in enumerate(
                (g, m, r) for g in (3, 8, 40) for m in (0.9, 0.97, 0.99) for r in (0.0, 0.02, 0.05)
            )
        ]
        out[f"coverage, {jobs} jobs: lowest of 27 cells"] = min(cells)
        out[f"coverage, {jobs} jobs: median of 27 cells"] = float(np.median(cells))
    return out


def comparisons(runs: int) -> dict[str, float]:
    """False alarms of any group, at 97 %."""
    out: dict[str, float] = {}
    for groups, share in ((3, 1.0), (8, 1.0), (40, 0.4)):
        for jobs in (1, 5, 20, "1 to 20"):
            for rho in (0.0, 0.02, 0.05):
                listed = (
                    [1 + 19 * i // max(1, groups - 1) for i in range(groups)] if jobs == "1 to 20" else [jobs] * groups
                )
                name = f"false alarms, {groups} groups of {jobs} jobs, correlation {rho:g}"
                out[name] = simulated.false_alarms(groups, int(runs * share), listed, 0.97, rho)
    for rho in (0.02, 0.05):
        found = simulated.false_alarms(99, runs, [5] * 8, 0.97, rho, "t")
        out[f"false alarms, 8 groups of 5 jobs, heavy tails, correlation {rho:g}"] = found
    return out


def charts(runs: int) -> dict[str, float]:
    """False alarms anywhere on a chart of like months."""
    out: dict[str, float] = {}
    some = max(20, runs // 4)
    for months, jobs, tails in ((12, 2, "beta"), (24, 2, "beta"), (24, 5, "beta"), (24, 5, "t"), (60, 5, "t")):
        words = "heavy tails" if tails == "t" else "ordinary tails"
        draw = np.random.default_rng(months * 100 + jobs)
        told = np.zeros(3, np.int64)
        for _ in range(some):
            made = trends.PeriodJobs(simulated.groups(draw, [jobs] * months, 0.97, 0.02, tails), 199)
            shown, change = made.chart(), made.change()
            told += (shown.outside.any(), shown.drifted.any(), change is not None and change.p <= trends.TOLD)
        for what, number in zip(("a point", "the smoothed line", "a change"), told.tolist(), strict=True):
            out[f"chart of {months} months, {jobs} jobs a month, {words}: {what} told"] = number / some
    return out


def steps(runs: int) -> dict[str, float]:
    """How soon the smoothed line tells that the rate fell from 97 to 90 % after eighteen months."""
    out: dict[str, float] = {}
    for jobs in (2, 5, 20):
        draw = np.random.default_rng(jobs)
        first = []
        for _ in range(max(20, runs // 10)):
            whole = simulated.groups(draw, [jobs] * 30, [0.97] * 18 + [0.9] * 12, 0.02)
            for months in range(19, 31):
                made = trends.PeriodJobs(whole.only(np.arange(months)), 199).chart()
                if made.drifted[-1] or made.outside[-1]:
                    first.append(months - 18)
                    break
            else:
                first.append(13)
        out[f"months until a fall from 97 to 90 % is told, {jobs} jobs a month, median"] = float(np.median(first))
    return out


def honest_groups(runs: int) -> dict[str, float]:
    """Honest groups told to have had failures left out, any of twenty."""
    draw = np.random.default_rng(20)
    told = 0
    for _ in range(runs // 4):
        made = simulated.groups(draw, [5] * 20, 0.99, 0.02)
        full = [g for g in range(20) if (made.passed[made.group == g] == made.links[made.group == g]).all()]
        told += any((no_failure(made, g) or 1.0) < 0.05 / 20 for g in full)
    return {"any of 20 honest groups told to be without failure": told / (runs // 4)}


def archive_of_units(draw: Any, months: int, per_month: int, between: float, slope: float) -> drift.JobMargins:
    """Jobs of eight units on three cables: crews of their own half of the time, lots of each cable that change every
    eight months. The first unit drifts by slope dB a month from the start. Archives know no lots: what is given is the
    cable and the month."""
    unit = np.repeat(np.tile(np.arange(8), months), per_month)
    month = np.repeat(np.arange(months), 8 * per_month)
    cable = draw.integers(0, 3, len(unit))
    lot = cable * 100 + (month + draw.integers(0, 8, 3)[cable]) // 8
    crew = np.where(draw.random(len(unit)) < 0.5, unit % 6, draw.integers(0, 6, len(unit)))
    lots, crews = draw.normal(0, 0.3, 400), draw.normal(0, 0.15, 6)
    noise = draw.normal(0, np.sqrt(between**2 + 1.57 * 0.6**2 / 60), len(unit))
    margin = 4 + lots[lot] + crews[crew] + slope * month * (unit == 0) + noise
    return drift.JobMargins(margin, month.astype(float), unit, crew, cable, month)


def until(jobs: drift.JobMargins, month: int) -> drift.JobMargins:
    """What is known before a month."""
    some = jobs.months < month
    return drift.JobMargins(*(part[some] for part in vars(jobs).values()))


def told_units(jobs: drift.JobMargins) -> list[int]:
    """Units that are told to drift."""
    p = drift.corrected([s.p for s in drift.slopes(jobs)])
    return [unit for unit, value in enumerate(p) if value is not None and value < drift.TOLD]


def drifts(runs: int) -> dict[str, float]:
    """Told by month fifteen, looked at each month from the sixth on; innocent units told in 24 months, with and without
    drift."""
    out: dict[str, float] = {}
    for between, per_month in ((0.15, 2), (0.25, 4)):
        for slope in (-0.043, 0.0):
            draw = np.random.default_rng(int(1000 * between))
            found = innocent = 0
            for _ in range(runs):
                made = archive_of_units(draw, 24, per_month, between, slope)
                told: dict[int, int] = {}
                for month in range(6, 25):
                    for unit in told_units(until(made, month)):
                        told.setdefault(unit, month)
                found += told.get(0, 99) <= 15 and slope != 0
                innocent += any(u != 0 or slope == 0 for u in told)
            name = f"{between} dB between jobs, {per_month} jobs a month"
            if slope:
                out[f"drift of 0.043 dB a month told within 15 months, {name}"] = found / runs
                out[f"an innocent unit told beside it in 24 months, {name}"] = innocent / runs
            else:
                out[f"any unit told where none drifts, in 24 months, {name}"] = innocent / runs
    return out


def run(runs: int = 1000) -> dict[str, float]:
    """All cells."""
    return (
        intervals(runs)
        | comparisons(runs)
        | charts(runs)
        | steps(runs)
        | honest_groups(runs)
        | drifts(max(20, runs // 2))
    )


def broken(found: dict[str, float]) -> list[str]:
    """Cells that break a promise."""
    out = [n for n, v in found.items() if "coverage" in n and v < COVERED]
    out += [n for n, v in found.items() if n.startswith(("false alarms", "any of 20")) and v > ALARMS]
    out += [n for n, v in found.items() if n.startswith(("chart", "change")) and v > 0.09]
    # Of 500 runs: beyond what is promised, 5 and 90 %, by more than two standard errors.
    out += [n for n, v in found.items() if "unit told" in n and v > 0.0695]
    return out + [n for n, v in found.items() if n.startswith("drift") and v < 0.873]
