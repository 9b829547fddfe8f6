"""Loss tests of one link in one direction each, in two records: graded together where an edition wants both directions.

Two records go together where job, link, place, limit, fiber, reference method, connections and splices are the same,
each holds one direction and they are opposite, their lengths agree, and they were taken within some days of each
other. Neither record changes: the verdict of one rests on both, and says so.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from archive.grading.fiber.link_grade import tolerance
from archive.grading.fiber.loss_tests import LossTest
from archive.limits.fiber import nominal

BOTH_WAYS = "losses of the other direction are those of the record "
"""How a verdict begins to name the record that holds the other direction."""
WAYS = ("local-remote", "remote-local")
_SAME = ("job_id", "link_label", "local_place_id", "remote_place_id", "limit_found", "cable_type", "reference_method",
         "connections", "splices", "connector_grade")  # fmt: skip


@dataclass(frozen=True)
class OtherWay:
    """A loss test with the losses of the other direction beside its own. note: whose they are."""

    test: LossTest
    record_id: str
    note: str


def other_ways(tests: Sequence[LossTest]) -> dict[str, OtherWay]:
    """By record, the test that holds both directions; nothing where no record belongs to it, or it has both itself."""
    by: dict[tuple[Any, ...], dict[str, list[LossTest]]] = {}
    for test in tests:
        if (way := _way(test)) and test.row["link_label"] is not None:
            by.setdefault(tuple(test.row[name] for name in _SAME), {}).setdefault(way, []).append(test)
    made = {}
    for both in by.values():
        for way, mine in both.items():
            others = both.get(WAYS[1 - WAYS.index(way)], [])
            for test in mine:
                fitting = [o for o in others if _fit(test, o)]
                if fitting:
                    other = max(fitting, key=lambda t: t.row["tested_local"] or "")
                    made[test.row["record_id"]] = _joined(test, other)
    return made


def _way(test: LossTest) -> str:
    """The one direction of all losses of a record; "" where there are two, or one is not stated."""
    ways = {loss.direction for loss in test.losses}
    return next(iter(ways)) if len(ways) == 1 and ways <= set(WAYS) else ""


def _fit(test: LossTest, other: LossTest) -> bool:
    """Whether both can be of one link as it was at one time: the same fibers and wavelengths, as long, and near in
    time."""
    if _measured(test) != _measured(other) or not near(test.row, other.row):
        return False
    for name in test.fibers:
        a, b = test.length(name), other.length(name)
        if a is None or b is None or abs(a - b) > max(tolerance("ends_m"), tolerance("ends_share") * max(a, b)):
            return False
    return True


def _measured(test: LossTest) -> set[tuple[str, float | None]]:
    return {(x.fiber, nominal(x.nm, test.fiber_class) if x.nm is not None else None) for x in test.losses}


def near(row: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two records were taken within the days in which a link is taken for the same; without a day of both
    nobody knows."""
    a, b = _day(row["tested_local"]), _day(other["tested_local"])
    return a is not None and b is not None and abs((a - b).days) <= tolerance("ends_days")


def _day(text: str | None) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat((text or "")[:10])
    except ValueError:
        return None


def _joined(test: LossTest, other: LossTest) -> OtherWay:
    name, day = other.row["record_id"], (other.row["tested_local"] or "")[:10]
    both = replace(test, losses=[*test.losses, *other.losses])
    return OtherWay(both, name, f"{BOTH_WAYS}{name} of {day}")
