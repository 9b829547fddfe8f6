"""An invented archive of seven years with true rates and one bad lot of cable planted in it.

    python -m tests.rates.years DIR      makes it, for the tour of the analyst in the README

48 jobs of the link simulator, 120 links of each, three kinds of cable. Links that fail their first test do so by plan;
nine in ten of them are mended and pass a second test the same evening. Two jobs of the F/UTP cable come with whole
curves, one of them of the bad lot; of the others worst points came along, as from an old instrument's summary.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import numpy as np

from archive import grading, store
from archive.demo import jobs
from archive.demo.simulator import BadBatch, Cable, planted, simulate
from archive.store import Archive
from archive.store.deposits import Deposit, DepositFacts

SEED = 3
JOBS, LINKS = 48, 120
GOOD, OPEN, SIX = "cat6a/f-utp/awg23/solid", "cat6a/u-utp/awg23/solid", "cat6/u-utp/awg23/solid"
RATES = {GOOD: 0.02, OPEN: 0.05, SIX: 0.03}
"""Share of links that are to fail their first test."""
BAD = BadBatch(GOOD, "2022-04-01", "2022-09-30", 0.15)
"""The lot: F/UTP cable installed in the second and third quarter of 2022. Three jobs used it."""
BAD_QUARTER = "2022-Q2"
MENDED = 0.9
SWEPT = {36: 48, 42: 48}
"""Jobs with whole curves, and how many of their links."""
OPTIONS: dict[str, Any] = {
    "mixture": (Cable(GOOD, 2.0, RATES[GOOD]), Cable(OPEN, 1.0, RATES[OPEN]), Cable(SIX, 1.0, RATES[SIX])),
    "bad_batches": (BAD,),
    "retest_share": MENDED,
}


def numbers(links: int = LINKS) -> dict[int, int]:
    """Links of each job."""
    return {n: min(links, SWEPT.get(n, links)) for n in range(JOBS)}


def build(path: Path, links: int = LINKS, swept: bool = True) -> Archive:
    """Makes the archive through the path that every deposit takes."""
    archive = store.create(path)
    for n, count in numbers(links).items():
        making = Deposit(archive, DepositFacts(by="H. Brume", reason="invented"))
        try:
            start = n * jobs.JOB
            for batch in simulate(count, SEED, start=start, sweeps=swept and n in SWEPT, **OPTIONS):
                making.add(grading.grade(batch))
            making.commit()
        except BaseException:
            making.abandon()
            raise
    return archive


def truth(links: int = LINKS) -> dict[str, Any]:
    """What was planted: arrays by name, an entry per link: fails, parameter, cable_type, week, quarter, job, number."""
    parts = []
    for n, count in numbers(links).items():
        part = planted(count, SEED, start=n * jobs.JOB, **OPTIONS)
        part["number"] = np.full(count, n)
        parts.append(part)
    made = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    made["quarter"] = np.array([f"{w[:4]}-Q{(int(w[5:7]) + 2) // 3}" for w in made["week"].tolist()])
    return made


if __name__ == "__main__":
    os.fsync = lambda _handle: None  # invented data need not outlive a power cut
    build(Path(sys.argv[1]))
