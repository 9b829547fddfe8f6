"""What losses and traces of a fiber point to, and what they cannot tell. No verdict rests on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from archive.grading.coverage import rules
from archive.grading.fiber.link_grade import tolerance
from archive.grading.fiber.loss_tests import LossTest
from archive.grading.fiber.traces import FiberPlace, FiberTrace, places
from archive.limits.fiber import event_limits, nominal

BEND, CONNECTION, SPLICE, UNPLACED, BEND_UNPLACED, CLEAR = (
    "bend",
    "connection",
    "splice",
    "unplaced",
    "bend unplaced",
    "clear",
)


@dataclass(frozen=True)
class Pointer:
    """One thing that the evidence points to. kind: of the words above. km: where, from the local end, None where that
    is not known. fiber: "" where none is named. facts: numbers for the sentence, by name."""

    kind: str
    km: float | None
    fiber: str
    facts: Mapping[str, str]


def by_traces(traces: Sequence[FiberTrace], fiber: str = "") -> list[Pointer]:
    """Places that lose more than they may, or more at long wavelengths."""
    found = []
    for place in places(traces):
        waves = sorted({nm for nm, _ in place.losses if nm is not None})
        at = {nm: loss for nm in waves if (loss := place.at(nm)) is not None}
        if not at:
            continue
        short, long = min(at), max(at)
        facts = {"short": f"{short:g}", "long": f"{long:g}", "a": f"{at[short]:.2f}", "b": f"{at[long]:.2f}"}
        if long > short and at[long] - at[short] > tolerance("bend_event_db"):
            found.append(Pointer(BEND, place.km, fiber, facts))
        elif max(at.values()) > _limit(place):
            reflected = max(place.reflectances.values(), default=None)
            facts["reflectance"] = "" if reflected is None else f"{reflected:.1f}"
            found.append(Pointer(CONNECTION if place.reflective else SPLICE, place.km, fiber, facts))
    return found


def _limit(place: FiberPlace) -> float:
    return event_limits().connection.db if place.reflective else event_limits().splice.db


def by_losses(test: LossTest, failing: Sequence[str] = ()) -> list[Pointer]:
    """What the losses of a record alone point to, by fiber. failing: fibers with a loss beyond its limit."""
    found = []
    typical = rules()["optical"]["typical_db_km"]
    for name in test.fibers:
        at: dict[float, list[float]] = {}
        for loss in test.losses:
            nm = nominal(loss.nm, test.fiber_class) if loss.nm is not None and loss.fiber == name else None
            if nm is not None:
                at.setdefault(nm, []).append(loss.db)
        mean = {nm: sum(v) / len(v) for nm, v in at.items()}
        length = test.length(name)
        if {1310.0, 1550.0} <= mean.keys() and length is not None:
            slope = (typical["1550"] - typical["1310"]) * length / 1000
            excess = mean[1550.0] - mean[1310.0] - slope
            if excess > tolerance("bend_link_db"):
                facts = {"short": "1310", "long": "1550", "a": f"{mean[1310.0]:.2f}", "b": f"{mean[1550.0]:.2f}",
                         "excess": f"{excess:.2f}"}  # fmt: skip
                found.append(Pointer(BEND_UNPLACED, None, name, facts))
                continue
        if name in failing:
            found.append(Pointer(UNPLACED, None, name, {}))
    return found
