"""Rules about labels across records."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from archive.validation.job.links import JobLook
from archive.validation.job.registry import NotLooked, Raised, Said, job_rule
from archive.validation.labels import alike, plain
from archive.validation.registry import Tolerances
from archive.validation.times import say


@job_rule("label-on-two-links")
def label_on_two_links(job: JobLook, _: Tolerances) -> Iterator[Said]:
    """Two records of one job and label at different places."""
    rows, found, expected = [], [], []
    first: dict[tuple[str, str], int] = {}
    for row in np.flatnonzero((job["place"] != "") & (job["link_label"] != "")) if job.size else ():
        key = (job["job_id"][row], job["link_label"][row])
        earlier = first.setdefault(key, int(row))
        if job["place"][earlier] != job["place"][row]:
            rows.append(row)
            found.append(job["place"][earlier])
            expected.append(job["place"][row])
    yield Raised(rows, where=list(job["link_label"][rows]) if rows else "", found=found, expected=expected)


@job_rule("label-with-two-lengths")
def label_with_two_lengths(job: JobLook, limits: Tolerances) -> Iterator[Said]:
    """The length of a test against that of the test before it under the same label."""
    rows, found, expected = [], [], []
    for tests in job.by_link():
        lengths = job["length_m"][tests]
        known = tests[~np.isnan(lengths)]
        for before, after in itertools.pairwise(known):
            a, b = job["length_m"][before], job["length_m"][after]
            if abs(a - b) > max(limits["m"], limits["percent"] / 100 * max(a, b)):
                rows.append(after)
                found.append(f"{a:.1f} m")
                expected.append(f"{b:.1f} m")
    yield Raised(rows, where=list(job["link_label"][rows]) if rows else "", found=found, expected=expected)


@job_rule("labels-look-alike")
def labels_look_alike(job: JobLook, _: Tolerances) -> Iterator[Said]:
    """Labels of one job that are alike and not equal, unless the schedule tells them apart."""
    scheduled = set(job.schedule.rows) if job.schedule else set()
    groups: dict[tuple[str, str], dict[str, int]] = {}
    for row, label in enumerate(job["link_label"]):
        if label:
            groups.setdefault((job["job_id"][row], alike(label)), {}).setdefault(label, row)
    rows, found, expected = [], [], []
    for group in groups.values():
        if len(group) < 2 or set(group) <= scheduled:
            continue
        (first, _row), *others = group.items()
        for label, row in others:
            rows.append(row)
            found.append("case, blanks or dashes" if plain(first) == plain(label) else "letters that look like figures")
            expected.append(first)
    yield Raised(rows, where=list(job["link_label"][rows]) if rows else "", found=found, expected=expected)


@job_rule("test-under-two-labels")
def test_under_two_labels(job: JobLook, _: Tolerances) -> Iterator[Said]:
    """One unit, one second, two links."""
    rows, found, expected = [], [], []
    for same in _at_once(job):
        first = same[0]
        others = [r for r in same[1:] if job.link[r] != job.link[first]]
        if others:
            rows.append(first)
            found.append(_time(job, first))
            expected.append(_few([str(job["link_label"][r]) for r in others]))
    yield Raised(rows, where=list(job["link_label"][rows]) if rows else "", found=found, expected=expected)


@job_rule("test-there-twice")
def test_there_twice(job: JobLook, _: Tolerances) -> Iterator[Said]:
    """Records that are one test of one link."""
    rows, found, expected = [], [], []
    count = np.bincount(job.test) if job.size else np.zeros(0, dtype=int)
    for row in job.first_of_test:
        if count[job.test[row]] > 1:
            rows.append(row)
            found.append(_time(job, row))
            expected.append(str(count[job.test[row]]))
    yield Raised(rows, where=list(job["link_label"][rows]) if rows else "", found=found, expected=expected)


@job_rule("scalars-under-two-links")
def scalars_under_two_links(job: JobLook, limits: Tolerances) -> Iterator[Said]:
    """Equal hashes of all readings under different links, apart from one test under two labels."""
    if not job.size:
        return
    enough = job["readings"] >= limits["readings"]
    yield NotLooked(np.flatnonzero(~enough & (job["readings"] > 0)), "too few readings to tell links apart")
    first: dict[tuple[int, int], int] = {}
    rows, found, expected = [], [], []
    for row in np.flatnonzero(enough):
        key = (int(job["scalars"][row]), int(job["readings"][row]))
        earlier = first.setdefault(key, int(row))
        one_test = (
            job["time"][row] >= 0
            and job["time"][row] == job["time"][earlier]
            and job["unit"][row] == job["unit"][earlier]
        )
        if job.link[row] != job.link[earlier] and not one_test:
            rows.append(row)
            found.append(str(job["readings"][row]))
            expected.append(str(job["link_label"][earlier]))
    yield Raised(rows, found=found, expected=expected)


def _at_once(job: JobLook) -> list[list[int]]:
    """Rows of records of one unit and one second, where there are several."""
    if not job.size:
        return []
    timed = np.flatnonzero((job["time"] >= 0) & (job["unit"] != "") & (job["precision"] == "second"))
    groups: dict[tuple[str, int], list[int]] = {}
    for row in timed:
        groups.setdefault((job["unit"][row], int(job["time"][row])), []).append(int(row))
    return [g for g in groups.values() if len(g) > 1]


def _time(job: JobLook, row: int) -> str:
    time = np.datetime64(int(job["time"][row]), "s") if job["time"][row] >= 0 else job["day"][row]
    return say(time, job["precision"][row] or "day")


def _few(labels: list[str]) -> str:
    shown = ", ".join(dict.fromkeys(labels[:3]))
    return shown if len(labels) <= 3 else f"{shown} and {len(labels) - 3} more"
