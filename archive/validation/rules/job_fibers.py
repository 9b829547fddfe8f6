"""Rules across the optical records of a job: a loss test against its traces, both directions, the fibers of a cable."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from archive.grading.fiber.link_facts import OpticalFacts, against
from archive.limits import fiber
from archive.tables.arrow import Words
from archive.validation.catalogue.registry import Answer, NotLooked, Raised, Tolerances, rule
from archive.validation.look import JobLook

Hit = tuple[int, str, str, str]
"""Row of the record, place, found, expected."""
_STRAND = re.compile(r"(.+\S)\s*[./:]\s*(\d{1,4})")
"""A label of a fiber of a cable: f1s1/f2s2-n.7, BB-1/7. After a hyphen a number may as well be that of a cable."""


def _raised(job: JobLook, hits: Sequence[Hit]) -> Raised:
    rows, where, found, expected = zip(*hits, strict=True) if hits else ((), (), (), ())
    named = [text or job.named(row) for row, text in zip(rows, where, strict=True)]
    return Raised(rows, where=named, found=list(found), expected=list(expected))


def _by_link(job: JobLook) -> Iterator[list[int]]:
    """Rows of the optical records of each link, the newest first."""
    optical = [row for row in range(job.size) if job["optical"][row] is not None and job.link[row] >= 0]
    found: dict[int, list[int]] = {}
    for row in optical:
        found.setdefault(int(job.link[row]), []).append(row)
    for rows in found.values():
        yield sorted(rows, key=lambda r: -int(job.when[r]))


def _loss_test(job: JobLook, rows: Sequence[int]) -> tuple[int, OpticalFacts] | None:
    """The newest loss test of a link, with its other records of that day: each fiber or direction may have its own."""
    lossy = [r for r in rows if job["optical"][r].losses]
    if not lossy:
        return None
    first: OpticalFacts = job["optical"][lossy[0]]
    losses, lengths = dict(first.losses), dict(first.lengths)
    for row in lossy[1:]:
        if job["day"][row] == job["day"][lossy[0]]:
            losses = {**job["optical"][row].losses, **losses}
            lengths = {**job["optical"][row].lengths, **lengths}
    return lossy[0], replace(first, losses=losses, lengths=lengths)


def _traces(job: JobLook, rows: Sequence[int]) -> list[OpticalFacts]:
    """The newest trace of each fiber, wavelength and direction."""
    seen, found = set(), []
    for row in rows:
        facts: OpticalFacts = job["optical"][row]
        key = (frozenset(facts.traced), frozenset(facts.lengths))
        if facts.is_trace and not facts.losses and key not in seen:
            seen.add(key)
            found.append(facts)
    return found


@rule("traces-contradict-loss-test")
def traces_contradict_loss_test(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Losses and length of each link by source and meter against those of its traces."""
    hits: list[Hit] = []
    blind = []
    for rows in _by_link(job):
        tested, traces = _loss_test(job, rows), _traces(job, rows)
        if tested is None or not traces:
            continue
        row, test = tested
        compared = list(against(test, traces, limits))
        if not compared:
            blind.append(row)
        for seen in compared:
            if seen.off:
                way = " from one side alone" if seen.one_way else ""
                shown = ".2f" if seen.unit == "dB" else ".1f"
                found = f"{seen.by_test:{shown}} {seen.unit} by the loss test"
                what = f"loss at {seen.nm:g} nm" if seen.nm is not None else "length"
                hits.append((row, what, found, f"{seen.by_trace:{shown}} {seen.unit} by its traces{way}"))
    yield NotLooked(blind, "its traces have no wavelength or fibre in common with it, or state no total")
    yield _raised(job, hits)


@rule("traces-of-both-ends-differ")
def traces_of_both_ends_differ(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Length and group index of the traces from both ends."""
    hits: list[Hit] = []
    for rows in _by_link(job):
        traces = _traces(job, rows)
        first = next((r for r in rows if job["optical"][r].is_trace), None)
        if first is None:
            continue
        by_way: dict[tuple[str, str], list[float]] = {}
        for trace in traces:
            for key, metres in trace.lengths.items():
                by_way.setdefault(key, []).append(metres)
        for name in dict.fromkeys(f for f, _ in by_way):
            there, back = (by_way.get((name, way)) for way in ("local-remote", "remote-local"))
            if not there or not back:
                continue
            a, b = float(np.mean(there)), float(np.mean(back))
            if abs(a - b) > max(limits["metres"], limits["percent"] / 100 * max(a, b)):
                hits.append((first, "length", f"{a:.1f} m from the local end", f"{b:.1f} m from the remote end"))
        by_nm: dict[float, set[float]] = {}
        for trace in traces:
            for _, nm, _ in trace.traced:
                if trace.index is not None:
                    by_nm.setdefault(nm, set()).add(trace.index)
        for nm, indices in by_nm.items():
            if max(indices, default=0.0) - min(indices, default=0.0) > limits["index"]:
                listed = sorted(indices)
                hits.append((first, f"group index at {nm:g} nm", f"{listed[0]:g} set once", f"{listed[-1]:g} set once"))
    yield _raised(job, hits)


@rule("fiber-types-of-link-differ")
def fiber_types_of_link_differ(job: JobLook, _: Tolerances) -> Iterator[Answer]:
    """The class and the core of the fiber in the tests of one link."""
    hits: list[Hit] = []
    for rows in _by_link(job):
        for what, named in (("class", "fiber_class"), ("core", "core")):
            words = {str(getattr(job["optical"][r], named)): r for r in reversed(rows)}
            words.pop("", None)
            if len(words) > 1:
                first, *more = (f"{w.upper() if what == 'class' else w + ' µm'}" for w in words)
                hits.append((rows[0], what, first, " and ".join(more)))
                break
    yield _raised(job, hits)


def _cables(job: JobLook) -> Iterator[dict[str, int]]:
    """Fibers of each cable by their numbers, with the row that counts: of labels that name cable and fiber."""
    found: dict[tuple[str, str], dict[str, int]] = {}
    labels: Words = job["link_label"]
    for rows in job.counting:
        for row in rows:
            facts, said = job["optical"][row], _STRAND.fullmatch(str(labels[row]).strip())
            if facts is not None and said is not None:
                found.setdefault((str(job["job_id"][row]), said[1]), {}).setdefault(str(int(said[2])), row)
    yield from found.values()


@rule("fibers-of-cable-unlike")
def fibers_of_cable_unlike(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Lengths of the fibers of a cable, and losses that stand out of many, each fiber a record of its own."""
    hits: list[Hit] = []
    for strands in _cables(job):
        metres = {r: max(m) for r in strands.values() if (m := list(job["optical"][r].lengths.values()))}
        if len(metres) >= limits["lengths"]:
            middle = float(np.median(list(metres.values())))
            room = max(limits["percent"] / 100 * middle, limits["metres"])
            far = [(r, m) for r, m in metres.items() if abs(m - middle) > room]
            hits += [(r, "", f"{m:g} m", f"about {middle:g} m, as the others of its cable") for r, m in far]
        for nm in sorted({nm for r in strands.values() for _, nm, _ in job["optical"][r].losses}):
            hits += _outliers(job, list(strands.values()), nm, limits)
    yield _raised(job, hits)


def _outliers(job: JobLook, rows: Sequence[int], nm: float, limits: Tolerances) -> Iterator[Hit]:
    found = {r: [db for (_, at, _), db in job["optical"][r].losses.items() if at == nm] for r in rows}
    means = {r: float(np.mean(dbs)) for r, dbs in found.items() if dbs}
    if len(means) < limits["fibers"]:
        return
    values = np.array(list(means.values()))
    middle = float(np.median(values))
    spread = max(1.4826 * float(np.median(np.abs(values - middle))), limits["least_spread_db"])
    for row, db in means.items():
        if db - middle > limits["sigma"] * spread:
            yield row, f"{nm:g} nm", f"{db:.2f} dB", f"about {middle:.2f} dB, as the others of its cable"


@rule("polarity-of-cable-contradicts")
def polarity_of_cable_contradicts(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Where the fibers of a cable arrive, one against the other; each is a record of its own."""
    hits: list[Hit] = []
    for strands in _cables(job):
        facts = {row: job["optical"][row] for row in strands.values()}
        first = next(iter(facts))
        methods = sorted({f.method for f in facts.values() if f.method})
        if len(methods) > 1:
            hits.append((first, "its cable", " and ".join(methods), "one method for the whole cable"))
        arrivals = [(near, far, row) for row, f in facts.items() for near, far in f.arrivals.items() if far]
        seen: dict[str, str] = {}
        for near, far, row in arrivals:
            if seen.setdefault(far, near) != near:
                hits.append(
                    (row, f"position {near}", f"it arrives at {far}", f"one position each: {seen[far]} does too")
                )
        if not methods:
            hits += _off_the_map(arrivals, limits)
    yield _raised(job, hits)


def _off_the_map(arrivals: Sequence[tuple[str, str, int]], limits: Tolerances) -> Iterator[Hit]:
    """Positions that leave the method that nearly all others of their cable follow, where no record names one."""
    if len(arrivals) < limits["positions"]:
        return
    size = fiber.plug_size(position for near, far, _ in arrivals for position in (near, far))
    fits: Mapping[str, int] = Counter(
        m for m in fiber.array_methods() for near, far, _ in arrivals if far in fiber.partners(near, m, size)
    )
    best = max(fits, key=lambda m: fits[m], default=None)
    if best is None or fits[best] < limits["share"] * len(arrivals):
        return
    for near, far, row in arrivals:
        wanted = fiber.partners(near, best, size)
        if wanted and far not in wanted:
            said = f"{' or '.join(wanted)} by {best}, as the others of its cable"
            yield row, f"position {near}", f"it arrives at {far}", said


@rule("optical-losses-under-two-links")
def optical_losses_under_two_links(job: JobLook, limits: Tolerances) -> Iterator[Answer]:
    """Records of different links whose losses are all equal, apart from one test under two labels."""
    first: dict[frozenset[tuple[object, float]], int] = {}
    few, hits = [], []
    for row in range(job.size):
        facts: OpticalFacts | None = job["optical"][row]
        if facts is None or not facts.losses:
            continue
        if len(facts.losses) < limits["losses"]:
            few.append(row)
            continue
        earlier = first.setdefault(frozenset(facts.losses.items()), row)
        one_test = job["time"][row] >= 0 and job["time"][row] == job["time"][earlier]
        one_test = one_test and job["unit"][row] == job["unit"][earlier]
        if job.link[row] != job.link[earlier] and not one_test:
            hits.append((row, str(len(facts.losses)), job.named(earlier)))
    yield NotLooked(few, "too few losses to tell links apart")
    yield Raised.each(hits)
