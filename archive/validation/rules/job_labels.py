"""Rules about labels across the records of a job."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from archive.validation.catalogue.registry import AboutLinks, Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import JobLook
from archive.validation.look.labels import alike, plain
from archive.validation.look.local_times import iso


@rule("label-on-two-links")
def label_on_two_links(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """Two records of one job and label at different places, unless each is a line of the schedule."""
    hits = []
    first: dict[tuple[str, str], np.int64] = {}
    for row in np.flatnonzero((job["place"] != "") & (job["link_label"] != "")):
        earlier = first.setdefault((job["job_id"][row], job["link_label"][row]), row)
        if job["place"][earlier] != job["place"][row] and not _told_apart(job, earlier, row):
            hits.append((row, job["place"][earlier], job["place"][row]))
    yield Raised.each(hits, job["link_label"])


def _told_apart(job: JobLook, a: np.int64, b: np.int64) -> bool:
    """Whether two records are of one scheduled place each, and not of the same."""
    one, other = job.lines_of(a), job.lines_of(b)
    return len(one) == 1 and len(other) == 1 and one != other


@rule("link-in-doubt")
def link_in_doubt(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """Links whose place is not given far enough, where their label is tested or scheduled at several."""
    found = {i: f"{n} links of this label at other places" for i, n in job.links.unsure.items()}
    found |= {i: f"{n} places at which this label is scheduled" for i, n in job.open_lines.items()}
    labels = [job.label[i] for i in found]
    yield Raised(AboutLinks(labels), where=[job.named(job.latest[i]) for i in found], found=list(found.values()))


@rule("label-with-two-lengths")
def label_with_two_lengths(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """The length of a test against that of the test before it under the same label."""
    hits = []
    for tests in job.by_link:
        known = tests[~np.isnan(job["length_m"][tests])]
        for before, after in itertools.pairwise(known):
            a, b = job["length_m"][before], job["length_m"][after]
            if abs(a - b) > max(limits["m"], limits["percent"] / 100 * max(a, b)):
                hits.append((after, f"{a:.1f} m", f"{b:.1f} m"))
    yield Raised.each(hits, job["link_label"])


@rule("labels-look-alike")
def labels_look_alike(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """Labels of one job that are alike and not equal, unless the schedule tells them apart."""
    scheduled = {line[0] for line in job.schedule.lines} if job.schedule else set()
    groups: dict[tuple[str, str], dict[str, int]] = {}
    for row, label in enumerate(job["link_label"]):
        if label:
            groups.setdefault((job["job_id"][row], alike(label)), {}).setdefault(label, row)
    hits = []
    for group in groups.values():
        if len(group) < 2 or set(group) <= scheduled:
            continue
        first, *others = group
        for label in others:
            same = plain(first) == plain(label)
            hits.append((group[label], "case, blanks or dashes" if same else "letters that look like figures", first))
    yield Raised.each(hits, job["link_label"])


@rule("test-under-two-labels")
def test_under_two_labels(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """One unit, one second, two links."""
    hits = []
    for first, *same in _at_once(job):
        others = [r for r in same if job.link[r] != job.link[first]]
        if others:
            hits.append((first, _time(job, first), _few([job.named(r) for r in others])))
    yield Raised.each(hits, job["link_label"])


@rule("test-there-twice")
def test_there_twice(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """Records that are one test of one link."""
    count = np.bincount(job.test)[job.test]
    hits = [(row, _time(job, row), str(count[row])) for row in job.first_of_test if count[row] > 1]
    yield Raised.each(hits, job["link_label"])


@rule("scalars-under-two-links")
def scalars_under_two_links(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Equal hashes of all readings under different links, apart from one test under two labels."""
    if not job.size:
        return
    enough = job["readings"] >= limits["readings"]
    yield NotLooked(np.flatnonzero(~enough & (job["readings"] > 0)), "too few readings to tell links apart")
    first: dict[tuple[int, int], np.int64] = {}
    hits = []
    for row in np.flatnonzero(enough):
        earlier = first.setdefault((int(job["scalars"][row]), int(job["readings"][row])), row)
        timed = job["time"][row] >= 0 and job["time"][row] == job["time"][earlier]
        one_test = timed and job["unit"][row] == job["unit"][earlier]
        if job.link[row] != job.link[earlier] and not one_test:
            hits.append((row, str(job["readings"][row]), job.named(earlier)))
    yield Raised.each(hits)


def _at_once(job: JobLook) -> list[list[int]]:
    """Rows of records of one unit and one second, where there are several."""
    timed = (
        np.flatnonzero((job["time"] >= 0) & (job["unit"] != "") & (job["precision"] == "second")) if job.size else ()
    )
    groups: dict[tuple[str, int], list[int]] = {}
    for row in timed:
        groups.setdefault((job["unit"][row], int(job["time"][row])), []).append(int(row))
    return [g for g in groups.values() if len(g) > 1]


def _time(job: JobLook, row: int) -> str:
    time = np.datetime64(int(job["time"][row]), "s") if job["time"][row] >= 0 else job["day"][row]
    return iso(time, job["precision"][row] or "day")


def _few(labels: list[str]) -> str:
    shown = ", ".join(dict.fromkeys(labels[:3]))
    return shown if len(labels) <= 3 else f"{shown} and {len(labels) - 3} more"
