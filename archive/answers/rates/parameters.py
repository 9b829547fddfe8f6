"""Counting by parameter: what each parameter of each record came to."""

from __future__ import annotations

from collections.abc import Sequence

from archive.answers.rates.count import Group
from archive.answers.rates.fields import Field
from archive.answers.rates.source import Choice, Source, grouped
from archive.store.catalogue.counting_columns import BITS, GRADED, PROVISIONAL


def by_parameter(source: Source, choice: Choice, fields: Sequence[Field], place: int) -> list[Group]:
    """Groups by the other fields and by parameter, in one pass. place: of parameter among the fields.

    A parameter passes where it was graded so. Where only worst points came along it fails where one fails, and passes
    where the worst margin that the instrument names is not negative.
    """
    others = [f for i, f in enumerate(fields) if i != place]
    columns, by = grouped(others)
    where, values = choice.where()
    state = choice.state
    sums, groups = [], []
    for name in source.files.parameters:
        code, margin = f"r.graded_{name}", f"r.margin_{name}"
        fails = f"{code} % {PROVISIONAL} = {GRADED['fail']}"
        passes = f"{code} % {PROVISIONAL} = {GRADED['pass']}"
        if choice.verdicts == "best":
            said = f"(r.evidence != 'full-sweep' AND {margin} >= 0)"
            passes, asked = f"(NOT {fails} AND ({passes} OR {said}))", f"{code} IS NOT NULL"
        else:
            asked = f"({code} IS NOT NULL AND r.evidence = 'full-sweep')"
        stands, first = f"{asked} AND {state} & {BITS['standing']} > 0", f"{asked} AND {state} & {BITS['first']} > 0"
        decided = f"{stands} AND ({passes} OR {fails})"
        wanted = {
            "tests": asked,
            "stands": stands,
            "passed": f"{stands} AND {passes}",
            "failed": f"{stands} AND {fails}",
            "first_passed": f"{first} AND {passes}",
            "first_failed": f"{first} AND {fails}",
            "provisional": f"{decided} AND r.evidence = 'full-sweep' AND {code} >= {PROVISIONAL}",
            "instrument": f"{decided} AND r.evidence != 'full-sweep'",
        }
        sums += [f"count(*) FILTER ({condition})" for condition in wanted.values()]
        sums.append(f"quantile_cont({margin}, [0.05, 0.5]) FILTER ({stands})")
    if not sums:
        return []
    end = f" GROUP BY {by}" if by else ""
    found = source.rows(f"SELECT {columns}{', '.join(sums)} FROM {source.records} r WHERE {where}{end}", values)
    for row in found:
        key = row[: len(others)]
        for i, name in enumerate(source.files.parameters):
            at = len(others) + 9 * i
            tests, stands_n, passed, failed, first_passed, first_failed, provisional, instrument, quantiles = row[
                at : at + 9
            ]
            if not tests:
                continue
            group = Group((*key[:place], name, *key[place:]), tests=tests, links=passed + failed, passed=passed)
            group.not_graded = stands_n - passed - failed
            group.first_links, group.first_passed = first_passed + first_failed, first_passed
            group.provisional, group.by_instrument = provisional, instrument
            group.fixed = group.retested = group.marginal = group.marginal_known = None
            if quantiles:
                group.p5, group.median = quantiles
            groups.append(group)
    order = {name: i for i, name in enumerate(source.files.parameters)}
    return sorted(groups, key=lambda g: order[g.key[place]])
