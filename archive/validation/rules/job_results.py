"""Rules about the results of a job as a whole."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from archive.tables.arrow import Reals
from archive.validation.catalogue.registry import AboutLinks, Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import JobLook
from archive.vocabulary import cables
from archive.vocabulary.link_counts import REGRADED


@rule("link-still-failing")
def link_still_failing(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """The latest test of a link fails."""
    rows = [row for row in job.latest if job.verdict[row] == "fail"]
    days = [str(job["day"][r]) for r in rows]
    expected = ["no date" if d == "NaT" else d for d in days]
    yield Raised(rows, where=job.labels(rows), expected=expected)


@rule("link-retested")
def link_retested(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """Links with several tests, and their verdicts in order."""
    many = [t for t in job.by_link if len(t) > 1]
    hits = [(t[-1], str(len(t)), ", ".join(v or "no verdict" for v in job.verdict[t[:8]])) for t in many]
    yield Raised.each(hits, job["link_label"])


@rule("marginal-share-too-high")
def marginal_share_too_high(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Links whose latest test is marked as marginal, of all links."""
    if not job.size:
        return
    most = limits["most_percent"]
    if most < 0:
        yield NotLooked(
            AboutLinks(), "what the contract allows is not stated (policy: marginal-share-too-high, most_percent)"
        )
        return
    share = 100 * float(np.mean(job["marginal"][job.latest].astype(bool))) if job.latest else 0.0
    if share > most:
        yield Raised(AboutLinks(), found=f"{share:.1f} %", expected=f"{most:g} %")


@rule("everything-passes")
def everything_passes(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """A large job in which every link passes at its only test and none is marginal."""
    links = job.by_link
    if len(links) < limits["links"] or any(len(t) > 1 for t in links):
        return
    rows = np.concatenate(links)
    if (job.verdict[rows] == "pass").all() and not job["marginal"][rows].any():
        yield Raised(AboutLinks(), found=str(len(links)))


@rule("alien-sample-too-small")
def alien_sample_too_small(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Links with alien crosstalk among those whose cable needs a sample, against the plan."""
    kinds = [cables.known(k) for k in job["cable_type"]]
    wanted = [
        k.get("class") in limits["categories"] and k.get("construction") in limits["constructions"] and job.link[i] >= 0
        for i, k in enumerate(kinds)
    ]
    rows = np.flatnonzero(wanted)
    if not len(rows):
        return
    links = len(np.unique(job.link[rows]))
    tested = len(np.unique(job.link[rows[job["alien"][rows].astype(bool)]]))
    need = _sample(links, limits)
    if tested < need:
        yield Raised(AboutLinks(), found=f"{tested} of {links}", expected=str(need))


def _sample(links: int, limits: Tolerances) -> int:
    """Links of the sample, by the plan."""
    if limits["plan"] == "iso-2859-1":
        table = limits["iso_2859_1"]
        return min(links, int(next((n for most, n in table if links <= most), table[-1][1])))
    return min(links, max(int(limits["least"]), int(np.ceil(links * limits["share_percent"] / 100))))


@rule("velocity-differs-within-job")
def velocity_differs_within_job(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Lowest and highest velocity of each cable type within a job."""
    groups: dict[tuple[str, str], list[float]] = {}
    for job_id, kind, velocity in zip(job["job_id"], job["cable_type"], job["velocity"], strict=True):
        if kind and not np.isnan(velocity):
            groups.setdefault((job_id, kind), []).append(float(velocity))
    for (_, kind), values in groups.items():
        if max(values) - min(values) > limits["percent"]:
            yield Raised(AboutLinks(), where=kind, found=f"{min(values):g} to {max(values):g} %")


@rule("retested-to-another-limit")
def retested_to_another_limit(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """The latest test passes one limit, and the latest test that failed was to another."""
    hits, blind = [], []
    for tests in job.by_link:
        last = int(tests[-1])
        failed = [int(t) for t in tests[:-1] if job.verdict[t] == "fail"]
        if job.verdict[last] != "pass" or not failed:
            continue
        before, after = job["limit_id"][failed[-1]], job["limit_id"][last]
        if not before or not after:
            blind.append(last)
        elif before != after:
            hits.append((last, after, before))
    yield NotLooked(blind, "the limit of one of its tests is not known")
    yield Raised.each(hits, job["link_label"])


_EVIDENCE = {
    "full-sweep": "whole curves",
    "optical-loss": "the losses of fibres",
    "optical-trace": "an optical trace",
    "worst-points": "the worst cases alone",
    "verdict-only": "a verdict alone",
}
_RANK = {**dict.fromkeys(REGRADED, 0), "worst-points": 1, "verdict-only": 2}


@rule("latest-test-tells-less")
def latest_test_tells_less(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """What the latest test can prove against what the best of the earlier ones can."""
    hits = []
    for tests in job.by_link:
        words = [str(w) for w in job["evidence"][tests]]
        best = min(words, key=lambda w: _RANK.get(w, 9))
        if _RANK.get(best, 9) < _RANK.get(words[-1], 9):
            hits.append((tests[-1], _EVIDENCE.get(words[-1], words[-1]), _EVIDENCE[best]))
    yield Raised.each(hits, job["link_label"])


def _lengths(job: JobLook) -> Reals:
    """Lengths in m of the latest test of each link that has one."""
    values = job["length_m"][job.latest] if job.latest else np.zeros(0)
    return values[~np.isnan(values)]


@rule("lengths-too-alike")
def lengths_too_alike(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """The share of links whose length lies near the median."""
    lengths = _lengths(job)
    if job.size and not len(lengths):
        yield NotLooked(AboutLinks(), "no record has a length")
    if len(lengths) < max(2, limits["links"]):
        return
    middle = float(np.median(lengths))
    share = 100 * float(np.mean(np.abs(lengths - middle) <= limits["m"] + 1e-9))
    if share >= limits["share_percent"]:
        yield Raised(AboutLinks(), where=f"{limits['m']:g} m", found=f"{share:.0f} %", expected=f"{middle:.1f} m")


@rule("last-digits-uneven")
def last_digits_uneven(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Chi-square of the last digits of lengths that are kept to 0.1 m, and the share of the commonest."""
    lengths = _lengths(job)
    tenths = np.rint(lengths * 10).astype(np.int64)
    tenths = tenths[np.abs(lengths * 10 - tenths) < 1e-6]
    count = np.bincount(tenths % 10, minlength=10)
    if job.size and (len(tenths) < limits["lengths"] or (count == 0).any()):
        # an instrument that counts in nanoseconds may never show some digits
        yield NotLooked(AboutLinks(), "too few lengths to a tenth of a metre, or they come in coarser steps")
        return
    even = len(tenths) / 10
    most = int(count.argmax())
    uneven = float(np.sum((count - even) ** 2 / even)) if even else 0.0
    if uneven > limits["chi_square"] and 100 * count[most] / len(tenths) >= limits["share_percent"]:
        yield Raised(AboutLinks(), where=str(len(tenths)), found=str(count[most]), expected=str(most))
