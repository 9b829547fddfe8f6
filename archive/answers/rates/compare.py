"""Differences between groups: a test for each, one correction over all, and what else differs between the two."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from archive import schemas
from archive.answers import statistics
from archive.answers.rates.group import RateGroup, total

REST = "all others"


@dataclass(frozen=True)
class _Pair:
    a: int
    b: int | None
    one: RateGroup
    other: RateGroup


def differences(groups: Sequence[RateGroup], names: Sequence[Any], how: str = "auto") -> list[dict[str, Any]]:
    """Every comparison of final and of first-time rates, the surest differences first.

    groups: as counted; names: what each is called; how: pairs, rest (each with all others together), auto (pairs of
    a few groups, rest of many) or none. p: of the score test, or of Fisher's exact test where few are expected;
    p_holm: corrected over all comparisons made; p_by_job: of the difference measured by how much whole jobs differ.
    differs: p_holm is below the error allowed. Rates of the first test are compared where any link was tested again.
    """
    rules = schemas.load("rates.toml")["compare"]
    if how == "none" or len(groups) < 2:
        return []
    rest = how == "rest" or (how == "auto" and len(groups) > rules["pairs_up_to"])
    rest = rest and len(groups) > 2
    out = []
    for pair in _pairs(groups, rest):
        for of in ("rate", "first_time_rate"):
            made = _compared(pair, of, rules)
            if made is not None:
                named = {"a": names[pair.a], "b": REST if pair.b is None else names[pair.b]}
                out.append({**named, "of": of, **made})
    for one, corrected in zip(out, statistics.holm([d["p"] for d in out]), strict=True):
        one["p_holm"] = corrected
        one["differs"] = corrected < rules["alpha"]
        by_job = one["p_by_job"]
        if one["differs"] and by_job is not None and by_job >= rules["alpha"]:
            one["warnings"].append("single jobs differ by as much: see the intervals by job")
    return sorted(out, key=lambda d: (d["p_holm"], d["p"]))


def _pairs(groups: Sequence[RateGroup], rest: bool) -> Iterator[_Pair]:
    if not rest:
        for i, j in combinations(range(len(groups)), 2):
            yield _Pair(i, j, groups[i], groups[j])
        return
    everything = total(groups)
    for i, group in enumerate(groups):
        yield _Pair(i, None, group, _without(everything, group, groups))


def _without(everything: RateGroup, group: RateGroup, groups: Sequence[RateGroup]) -> RateGroup:
    other = RateGroup((REST,))
    for name in ("links", "passed", "first_links", "first_passed"):
        setattr(other, name, getattr(everything, name) - getattr(group, name))
    for g in groups:
        if g is not group:
            for name in ("lengths", "limits"):
                for key, number in getattr(g, name).items():
                    getattr(other, name)[key] += number
    effects = [(g.links, g.effect) for g in groups if g is not group and g.effect is not None]
    if effects:  # as if the jobs of all others differed as those of each do
        other.effect = sum(n * e for n, e in effects) / sum(n for n, _ in effects)
    firsts = [(g.first_links, g.first_effect) for g in groups if g is not group and g.first_effect is not None]
    if firsts:
        other.first_effect = sum(n * e for n, e in firsts) / sum(n for n, _ in firsts)
    return other


def _compared(pair: _Pair, of: str, rules: dict[str, Any]) -> dict[str, Any] | None:
    first = of == "first_time_rate"
    (x1, n1, e1), (x2, n2, e2) = (_of(g, first) for g in (pair.one, pair.other))
    if not n1 or not n2:
        return None
    exact = statistics.least_expected(x1, n1, x2, n2) < rules["least_expected"]
    p = statistics.fisher(x1, n1, x2, n2) if exact else statistics.score(x1, n1, x2, n2)
    warnings, mix = _mix(pair.one, pair.other, rules["mix_differs"])
    small = schemas.load("rates.toml")["small"]["below"]
    if min(n1, n2) < small:
        warnings.append(f"a group of fewer than {small} links")
    return {
        "share_a": x1 / n1,
        "links_a": n1,
        "share_b": x2 / n2,
        "links_b": n2,
        "difference": x1 / n1 - x2 / n2,
        "test": "fisher" if exact else "score",
        "p": p,
        "p_by_job": _by_job(x1, n1, e1, x2, n2, e2),
        **mix,
        "warnings": warnings,
    }


def _of(g: RateGroup, first: bool) -> tuple[int, int, float | None]:
    return (g.first_passed, g.first_links, g.first_effect) if first else (g.passed, g.links, g.effect)


def _by_job(x1: int, n1: int, e1: float | None, x2: int, n2: int, e2: float | None) -> float | None:
    """The score test with the effective numbers of links in place of their numbers; None where one is not known."""
    if e1 is None or e2 is None:
        return None
    return statistics.score_of(x1 / n1, n1 / e1, x2 / n2, n2 / e2)


def _mix(one: RateGroup, other: RateGroup, most: float) -> tuple[list[str], dict[str, float | None]]:
    """How far two groups differ in length and in limit: the share that would have to change places, 0 to 1."""
    warnings, found = [], {}
    for name, word in (("lengths", "length"), ("limits", "limit")):
        apart = _apart(getattr(one, name), getattr(other, name))
        found[f"{word}_differs"] = apart
        if apart is not None and apart > most:
            warnings.append(f"{word} differs: {apart:.0%} of the one group would have to change to match the other")
    return warnings, found


def _apart(one: dict[Any, int], other: dict[Any, int]) -> float | None:
    a, b = sum(one.values()), sum(other.values())
    if not a or not b:
        return None
    return sum(abs(one.get(k, 0) / a - other.get(k, 0) / b) for k in {*one, *other}) / 2
