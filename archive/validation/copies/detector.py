"""The detector: from sketches to pairs of records, each with how much they agree and how."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive import schemas
from archive.tables import Batch
from archive.tables.arrow import Bools
from archive.validation.catalogue.policy import Policy
from archive.validation.copies import index
from archive.validation.copies.compare import Compared, Evidence, compare, evidence
from archive.validation.copies.residual import SLOTS, parts
from archive.validation.copies.sketch import Sketches
from archive.validation.look import RecordLook

EXACT, SOME, NEAR = "curves-under-two-links", "some-curves-under-two-links", "curves-nearly-under-two-links"
RULES = (EXACT, SOME, NEAR)
AT_ONCE = 4000
"""Records whose curves are held in memory at once while pairs are compared (some 80 kB each)."""

Fetch = Callable[[list[str]], Iterable[Batch]]
"""Batches that hold at least the named records."""


@dataclass(frozen=True)
class CopiedPair:
    """Two records that agree.

    a, b: record ids; label_a, label_b, job_a, job_b; rule: name of the rule it breaks; kind: exact, rounded, shifted,
    scaled or near; score: mean correlation of the residuals of the agreeing curves (1 for equal ones); curves: how many
    agree, of how many common ones; parameters: which; swapped: the ends are exchanged; differs_db: deviation of the
    difference; likely: in words, how rare this is among different links.
    """

    a: str
    b: str
    label_a: str
    label_b: str
    job_a: str
    job_b: str
    rule: str
    kind: str
    score: float
    curves: int
    of: int
    parameters: tuple[str, ...]
    swapped: bool
    differs_db: float
    likely: str


@dataclass(frozen=True)
class Copies:
    """pairs, the number of records compared, and the false alarm rate: pairs of different links reported per link, as
    bounded on simulated links of the hardest kind. The rate in the field is not known."""

    pairs: tuple[CopiedPair, ...]
    compared: int
    false_alarm_rate: float


def false_alarm_rate() -> float:
    """Upper bound (95 %) of false alarms per link at the thresholds of the catalogue, from the calibration there."""
    return float(schemas.load("rules/copies.toml")["calibration"]["false_alarms_per_link_at_most"])


def find(sketches: Sketches, fetch: Fetch | None, policy: Policy | None = None) -> Copies:
    """All pairs among the sketched records that are neither one link nor one test.

    fetch(record_ids): yields batches with at least these records; it is asked only for those that a closer look needs.
    Without it only equal curves are reported.
    """
    policy = policy or Policy()
    near = policy.tolerance(NEAR)
    a, b, count = index.equal_curves(sketches)
    if fetch is None:
        pairs = [_equal(sketches, int(x), int(y), int(n), policy) for x, y, n in zip(a, b, count, strict=True)]
        return Copies(tuple(pairs), len(sketches), false_alarm_rate())
    c, d, swapped = index.near(sketches, near["least_correlation"] - 0.02, near["part_correlation"] - 0.02)
    asked = {(int(x), int(y), False) for x, y in zip(a, b, strict=True)}
    asked |= {(int(x), int(y), bool(s)) for x, y, s in zip(c, d, swapped, strict=True)}
    best: dict[tuple[int, int], CopiedPair] = {}
    for (x, y, turned), left, right in _both(sketches, sorted(asked), fetch):
        pair = _judge(sketches, x, y, turned, left, right, policy)
        if pair and ((x, y) not in best or pair.score > best[x, y].score):
            best[x, y] = pair
    order = sorted(best, key=lambda k: (-best[k].score, k))
    return Copies(tuple(best[k] for k in order), len(sketches), false_alarm_rate())


def find_in(batches: Callable[[], Iterable[Batch]], policy: Policy | None = None) -> Copies:
    """The same over batches that can be gone through twice: batches() starts over each time."""
    sketches = sketches_for(policy)
    for batch in batches():
        sketches.add(batch)
    return find(sketches, lambda _: batches(), policy)


def sketches_for(policy: Policy | None = None) -> Sketches:
    """Empty sketches with the tolerances of a policy."""
    exact, near = ((policy or Policy()).tolerance(r) for r in (EXACT, NEAR))
    return Sketches(int(exact["least_points"]), float(exact["least_residual_db"]), int(near["smooth_terms"]))


def _both(
    sketches: Sketches, asked: list[tuple[int, int, bool]], fetch: Fetch
) -> Iterator[tuple[tuple[int, int, bool], Evidence, Evidence]]:
    """Each pair with the evidence of both, some records at a time."""
    while asked:
        wanted: set[int] = set()
        taken = 0
        for x, y, _ in asked:
            if len(wanted | {x, y}) > AT_ONCE:
                break
            wanted |= {x, y}
            taken += 1
        now, asked = asked[:taken], asked[taken:]
        held = _load({sketches.who.record_ids[i]: i for i in wanted}, fetch)
        for x, y, turned in now:
            if x in held and y in held:
                yield (x, y, turned), held[x], held[y]


def _load(numbers: dict[str, int], fetch: Fetch) -> dict[int, Evidence]:
    out: dict[int, Evidence] = {}
    for batch in fetch(sorted(numbers)):
        here = [i for i in batch["records"].column("record_id").to_pylist() if i in numbers]
        if not here:
            continue
        look = RecordLook(batch.select(here), "1970-01-01")
        ids = look.ids.to_pylist()
        for part in parts(look.curves):
            for place, row in enumerate(part.rows):
                out.setdefault(numbers[ids[row]], evidence(part, place))
        if len(out) == len(numbers):
            break
    return out


def _judge(
    sketches: Sketches, x: int, y: int, turned: bool, left: Evidence, right: Evidence, policy: Policy
) -> CopiedPair | None:
    exact, near = policy.tolerance(EXACT), policy.tolerance(NEAR)
    said = compare(
        left,
        right,
        turned,
        terms=int(near["smooth_terms"]),
        least_points=int(near["least_points"]),
        least_residual_db=float(near["least_residual_db"]),
    )
    equal = int(said.equal.sum())
    part = max(said.by_part.values(), default=0.0)
    if equal:
        rule = EXACT if equal >= exact["curves"] or equal == said.curves else SOME
        agreeing, kind, score = said.equal, "exact", 1.0
    elif said.curves >= near["least_curves"] and said.mean >= near["least_correlation"]:
        rule, agreeing, kind, score = NEAR, ~np.isnan(said.r), said.kind, said.mean
    elif part >= near["part_correlation"]:
        rule, kind, score = NEAR, said.kind, part
        agreeing = np.nan_to_num(said.r) >= near["least_correlation"]
    else:
        return None
    return _pair(
        sketches,
        (x, y),
        rule=rule,
        kind=kind,
        score=round(score, 6),
        curves=int(agreeing.sum()),
        of=said.curves,
        parameters=_parameters(agreeing),
        swapped=turned,
        differs_db=round(said.differs, 3),
        likely=_likely(said, equal),
    )


def _equal(sketches: Sketches, x: int, y: int, equal: int, policy: Policy) -> CopiedPair:
    """A pair known from equal hashes alone."""
    here, there = sketches.arrays.hashes[x], sketches.arrays.hashes[y]
    common = int(((here != 0) & (there != 0)).sum())
    whole = equal >= policy.tolerance(EXACT)["curves"] or equal == common
    return _pair(
        sketches,
        (x, y),
        rule=EXACT if whole else SOME,
        kind="exact",
        score=1.0,
        curves=equal,
        of=common,
        parameters=_parameters(np.isin(here, there) & (here != 0)),
        swapped=False,
        differs_db=0.0,
        likely=_EQUAL,
    )


def _pair(sketches: Sketches, pair: tuple[int, int], **found: Any) -> CopiedPair:
    """A pair of records by their numbers, with who they are."""
    who = sketches.who
    (a, b), (label_a, label_b), (job_a, job_b) = (
        (column[pair[0]], column[pair[1]]) for column in (who.record_ids, who.labels, who.jobs)
    )
    return CopiedPair(a=a, b=b, label_a=label_a, label_b=label_b, job_a=job_a, job_b=job_b, **found)


def _parameters(slots: Bools) -> tuple[str, ...]:
    """Parameters of the slots that are true."""
    return tuple(sorted({SLOTS[k][0] for k in np.flatnonzero(slots)}))


_EQUAL = "two tests of different links are not known to agree to the last digit over hundreds of points"


def _likely(said: Compared, equal: int) -> str:
    """How rare this is, in words, without a word about how it came about."""
    if equal:
        return _EQUAL
    most = float(schemas.load("rules/copies.toml")["calibration"]["highest_of_different_links"])
    if said.mean > most:
        return f"closer than any two different links among those simulated (highest {most:.3f})"
    return "rare among different links of one bundle in simulation; repeated tests of one link agree like this"
