"""Runs that are too long for every change: `python -m tests.endurance [NAME...] [--quick]`.

Names: kills, writers, object-store, flips, damages, memory, exports, properties, mutations, cables, rates,
twenty-years, fuzz, desk; without one, all.
After `fuzz` readers may be named: `fuzz delimited trees --seconds 300`. Figures go to standard output, as text and,
with --json, as one document. A promise that is broken ends the run: AssertionError.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from tests.endurance import (
    cable_detection,
    damages,
    desk_day,
    error_rates,
    exports,
    fuzz,
    mutations,
    object_store_runs,
    open_forms,
    properties,
    store_runs,
    twenty_years,
)
from tests.endurance.store_disks import DISKS
from tests.endurance.store_work import WORK


def kills(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """200 SIGKILLs at random instants of each operation, and of deposits where an entry is created exclusively."""
    for kind in WORK:
        yield store_runs.kills(folder, kind, 5 if quick else 200, seed=1)
    yield store_runs.kills(folder, "deposit", 5 if quick else 200, seed=2, disk="exclusive creation")


def writers(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """Eight writers for a minute, on each kind of disk."""
    for disk in DISKS:
        yield store_runs.writers(folder, 8, 5 if quick else 60, disk=disk)


def object_store(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """50 SIGKILLs of each operation, and four writers for a minute, on an S3 server whose answers are lost."""
    with object_store_runs.faulty_store() as proxy:
        for kind in object_store_runs.KINDS[: 2 if quick else None]:
            yield object_store_runs.kills(kind, 3 if quick else 50, seed=1, proxy=proxy)
        yield object_store_runs.writers(4, 5 if quick else 60, proxy)


def flips(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """2,000 random flips in a large archive."""
    yield store_runs.flips(folder, 50 if quick else 2_000, 80 if quick else 1_200)


def every_damage(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """Every kind of damage over every file of an archive, and all questions after each."""
    yield damages.damages(folder / "damages", 20) if quick else damages.every_damage(folder / "damages")


def random_properties(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """Ten minutes of property tests at random; quick: one round of those of the tables."""
    yield from properties.rounds(0, "tests/tables") if quick else properties.rounds(600)


def planted_faults(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """Twenty minutes of small faults planted in limits and grading; quick: one minute."""
    yield from mutations.score(folder, 60 if quick else 1200, keep=not quick)


def cables(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """400 links of each cable that is not what its words say, in three categories, and 2,000 clean ones."""
    yield from cable_detection.detection(*((40, 100) if quick else (400, 2_000)), seed=28)


def rates(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """Coverage and false alarms of the statistics of rates over simulated archives with fixed seeds."""
    found = error_rates.run(30 if quick else 1000)
    yield from ({"what": name, "share": round(value, 4)} for name, value in found.items())
    assert quick or not error_rates.broken(found), error_rates.broken(found)


def fuzzed(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """Five minutes of changed fixtures for each reader."""
    for reader in fuzz.READERS:
        yield fuzz.fuzz(reader, 10 if quick else 300)


RUNS: dict[str, Callable[[Path, bool], Iterator[dict[str, Any]]]] = {
    "kills": kills,
    "writers": writers,
    "object-store": object_store,
    "flips": flips,
    "damages": every_damage,
    "memory": open_forms.memory,
    "exports": exports.exports,
    "properties": random_properties,
    "mutations": planted_faults,
    "cables": cables,
    "fuzz": fuzzed,
    "rates": rates,
    "twenty-years": twenty_years.tour,
    "desk": desk_day.desk,
}


def main() -> None:
    """Runs them and prints their figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", help=f"of {', '.join(RUNS)}")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--seconds", type=float, default=300, help="fuzz: for each reader")
    parser.add_argument("--case", type=int, help="fuzz: this one case again")
    chosen = parser.parse_args()
    if chosen.names[:1] == ["fuzz"] and (chosen.names[1:] or chosen.case is not None or chosen.seconds != 300):
        most = None if chosen.case is None else 1
        for reader in chosen.names[1:] or fuzz.READERS:
            print(fuzz.fuzz(reader, chosen.seconds, chosen.case or 0, most), flush=True)
        return
    told = []
    with tempfile.TemporaryDirectory(prefix="muniment-endurance-") as folder:
        store_runs.with_own_cache(Path(folder))
        for name in chosen.names or RUNS:
            began = time.monotonic()
            for figures in RUNS[name](Path(folder), chosen.quick):
                figures["seconds"] = round(time.monotonic() - began, 1)
                began = time.monotonic()
                told.append(figures)
                if not chosen.json:
                    print(", ".join(f"{k}: {v}" for k, v in figures.items()), flush=True)
    if chosen.json:
        print(json.dumps(told, indent=1))


if __name__ == "__main__":
    main()
