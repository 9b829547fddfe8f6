"""Rules about time across the records of one unit."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from archive.tables.arrow import Bools, Ints
from archive.validation.catalogue.registry import AboutLinks, Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import JobLook
from archive.validation.look.local_times import iso


def _units(job: JobLook) -> Iterator[tuple[str, Ints]]:
    """Each serial number with its rows, one row per test."""
    rows = job.first_of_test
    serials = job["unit"][rows]
    order = np.argsort(serials.astype(str), kind="stable")
    rows, serials = rows[order], serials[order].astype(str)
    edges = np.flatnonzero(serials[1:] != serials[:-1]) + 1
    for part in np.split(rows, edges):
        if len(part) and job["unit"][part[0]]:
            yield str(job["unit"][part[0]]), part


def _timed(job: JobLook, rows: Ints) -> Ints:
    """Rows with a time of day, in the order of time."""
    rows = rows[job["time"][rows] >= 0]
    return rows[np.argsort(job["time"][rows], kind="stable")]


def _to_the_second(job: JobLook, rows: Ints) -> bool:
    """True where the times of these rows are kept to the second, and not only written so."""
    return bool((job["precision"][rows] == "second").all() and (job["time"][rows] % 60 != 0).any())


@rule("tests-too-close-together")
def tests_too_close_together(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Gaps between tests of different links where times are kept to the second; tests of a minute where they are not.

    One test under two labels is another rule's; a verdict alone may come from a quicker test.
    """
    looked = False
    for serial, mine in _units(job):
        rows = _timed(job, mine[job["evidence"][mine] != "verdict-only"])
        if len(rows) < 2:
            continue
        looked = True
        times = job["time"][rows]
        if _to_the_second(job, rows):
            gaps = np.diff(times)
            close = np.flatnonzero((gaps < limits["seconds"]) & (gaps > 0))
            found = [f"two tests within {gaps[i]} s, at {_say(times[i + 1])}" for i in close]
            yield Raised(rows[close + 1], where=serial, found=found, expected=f"{limits['seconds']:g} s")
        else:
            minute, first, count = np.unique(times // 60, return_index=True, return_counts=True)
            many = np.flatnonzero(count > limits["in_a_minute"])
            found = [f"{count[i]} tests in the minute {_say(minute[i] * 60)[:16]}" for i in many]
            yield Raised(rows[first[many]], where=serial, found=found, expected=f"{limits['seconds']:g} s")
    if job.size and not looked:
        yield NotLooked(AboutLinks(), "no unit has two tests with a time of day")


def _steps_back(job: JobLook, least: float) -> Iterator[tuple[str, Ints, Ints, Ints]]:
    """For each unit with numbered tests: neighbours in its memory of which the later number is dated earlier."""
    for serial, mine in _units(job):
        numbers = np.array([int(s) if s.isdigit() else -1 for s in job["sequence"][mine]], dtype=np.int64)
        rows = mine[(numbers >= 0) & (job["time"][mine] >= 0)]
        if len(rows) < 2:
            continue
        numbers = np.array([int(s) for s in job["sequence"][rows]], dtype=np.int64)
        # a memory that was emptied counts from 1 again: only numbers of one job belong together
        jobs = np.unique(job["job_id"][rows].astype(str), return_inverse=True)[1]
        order = np.lexsort((numbers, jobs))
        rows, numbers, jobs = rows[order], numbers[order], jobs[order]
        gaps = np.diff(job["time"][rows])
        back = np.flatnonzero((gaps < -least) & (np.diff(numbers) > 0) & (np.diff(jobs) == 0))
        yield serial, rows[back], rows[back + 1], -gaps[back]


@rule("tests-out-of-order")
def tests_out_of_order(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Steps back in time along the memory of a unit, apart from those of about an hour."""
    looked = False
    for serial, before, after, back in _steps_back(job, limits["seconds"]):
        looked = True
        yield _out_of_order(job, serial, before, after, ~_about_an_hour(back, 600.0))
    if job.size and not looked:
        yield NotLooked(AboutLinks(), "no unit has two tests with numbers of its memory and times")


@rule("clock-moved-by-an-hour")
def clock_moved_by_an_hour(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Steps back of about an hour along the memory of a unit."""
    for serial, before, after, back in _steps_back(job, 60.0):
        yield _out_of_order(job, serial, before, after, _about_an_hour(back, limits["seconds"]))


def _out_of_order(job: JobLook, serial: str, before: Ints, after: Ints, keep: Bools) -> Raised:
    found, expected = ([_test(job, r) for r in rows[keep]] for rows in (after, before))
    return Raised(after[keep], where=serial, found=found, expected=expected)


def _about_an_hour(seconds: Ints, slack: float) -> Bools:
    return (seconds > 3600 - slack) & (seconds <= 3600)


@rule("many-tests-in-a-day")
def many_tests_in_a_day(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Tests of a unit by day."""
    for serial, mine in _units(job):
        rows = mine[~np.isnat(job["day"][mine])]
        days, first, count = np.unique(job["day"][rows], return_index=True, return_counts=True)
        many = np.flatnonzero(count > limits["tests"])
        found = [str(n) for n in count[many]]
        yield Raised(rows[first[many]], where=serial, found=found, expected=[str(d) for d in days[many]])


@rule("evenly-spaced-tests")
def evenly_spaced_tests(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """A run of equal gaps between tests of a unit, where times are kept to the second."""
    for serial, mine in _units(job):
        rows = _timed(job, mine)
        if len(rows) < limits["tests"] or not _to_the_second(job, rows):
            continue
        gaps = np.diff(job["time"][rows])
        turns = np.flatnonzero(np.abs(np.diff(gaps)) > limits["slack_seconds"]) + 1
        for run in np.split(np.arange(len(gaps)), turns):
            if len(run) + 1 >= limits["tests"] and gaps[run[0]] > 0:
                found, expected = f"{len(run) + 1}", f"{gaps[run[0]]} s"
                yield Raised(rows[run[:1]], where=serial, found=found, expected=expected)


@rule("unit-with-two-partners")
def unit_with_two_partners(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """Remote units of a main unit by day."""
    for serial, mine in _units(job):
        rows = mine[(job["partner"][mine] != "") & ~np.isnat(job["day"][mine])]
        by_day: dict[np.datetime64, dict[str, int]] = {}
        for row in rows:
            by_day.setdefault(job["day"][row], {}).setdefault(str(job["partner"][row]), int(row))
        for day, partners in by_day.items():
            if len(partners) > 1:
                found = ", ".join(sorted(partners))
                yield Raised([max(partners.values())], where=serial, found=found, expected=str(day))


def _say(seconds: int) -> str:
    return iso(np.datetime64(int(seconds), "s"))


def _test(job: JobLook, row: int) -> str:
    return f"{job['sequence'][row]} ({_say(job['time'][row])})"
