"""What is kept of an optical record so that tests of one link can be held against each other: losses, lengths, traces.

A trace measures from inside the first connection to inside the last unless cords before and behind the link are part of
it, which no file says; so the end connections that a loss test holds may be missing in the trace.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from archive.grading.fiber.loss_tests import LossTest, Row, loss_tests
from archive.limits.fiber import event_limits, nominal, reference
from archive.tables import Batch
from archive.vocabulary import cables

Seen = tuple[str, float, str]
"""Fiber, nominal wavelength in nm, direction; "" where they are not stated."""


@dataclass(frozen=True)
class OpticalFacts:
    """One record. losses: by source and meter, dB; traced: by a trace, dB; lengths: m by fiber and direction.

    ends: end connections that the reference method leaves in the losses, None where it is not stated. index: group
    index. fiber_class, core: of the cable type, "" where it does not say. arrivals: position at the far end by that at
    the near one.
    """

    losses: Mapping[Seen, float] = field(default_factory=dict)
    traced: Mapping[Seen, float] = field(default_factory=dict)
    lengths: Mapping[tuple[str, str], float] = field(default_factory=dict)
    ends: int | None = None
    index: float | None = None
    fiber_class: str = ""
    core: str = ""
    method: str = ""
    arrivals: Mapping[str, str] = field(default_factory=dict)
    is_trace: bool = False


@dataclass(frozen=True)
class TraceAgainstLoss:
    """A trace and a loss test of one fiber. nm: of the loss that is meant, None for the length. off: they cannot be of
    one link. one_way: the trace is from one end alone."""

    nm: float | None
    by_trace: float
    by_test: float
    unit: str
    one_way: bool
    off: bool


def optical_facts(batch: Batch) -> dict[str, OpticalFacts]:
    """Facts of the optical records of a batch, by record."""
    tests = {t.row["record_id"]: t for t in loss_tests(batch) if t.row["medium"] == "fiber"}
    if not tests:
        return {}
    lengths = _by_record(batch, "readings", ("length",))
    traced = _by_record(batch, "readings", ("trace_loss",))
    arrivals: dict[str, dict[str, str]] = {}
    for row in batch["wiremap"].to_pylist():
        arrivals.setdefault(row["record_id"], {})[row["near"]] = row["far"] or ""
    return {i: _facts(test, lengths.get(i, ()), traced.get(i, ()), arrivals.get(i, {})) for i, test in tests.items()}


def _facts(test: LossTest, lengths: Sequence[Row], traced: Sequence[Row], arrivals: dict[str, str]) -> OpticalFacts:
    known = cables.known(test.row["cable_type"])
    method = reference(test.row["reference_method"] or "")
    return OpticalFacts(
        losses={key: db for key, db in ((_key(test, x.fiber, x.nm, x.direction), x.db) for x in test.losses) if key},
        traced={
            key: r["value"] for r in traced if (key := _key(test, r["subject"], r["wavelength_nm"], r["direction"]))
        },
        lengths={(r["subject"] or "", r["direction"] or ""): r["value"] for r in lengths},
        ends=method.ends if method else None,
        index=test.row["group_index"],
        fiber_class=test.fiber_class,
        core=known.get("gauge", ""),
        method=test.row["polarity_method"] or "",
        arrivals=arrivals,
        is_trace=test.row["evidence"] == "optical-trace" or bool(traced),
    )


def _key(test: LossTest, fiber: str | None, nm: float | None, direction: str | None) -> Seen | None:
    if nm is None:
        return None
    near = nominal(nm, test.fiber_class) if test.fiber_class else None
    return fiber or "", near if near is not None else nm, direction or ""


def _by_record(batch: Batch, table: str, words: Sequence[str]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in batch[table].to_pylist():
        if row["quantity"] in words and row["origin"] == "measured" and row["value"] is not None:
            found.setdefault(row["record_id"], []).append(row)
    return found


def against(
    test: OpticalFacts, traces: Sequence[OpticalFacts], room: Mapping[str, float]
) -> Iterator[TraceAgainstLoss]:
    """A loss test held against the traces of its link. room: db, percent and metres of the rule.

    Each loss is the mean of both directions where both are there. Nothing is said of a fiber that the traces do not
    name, where there are several.
    """
    known = list(dict.fromkeys(fiber for fiber, _, _ in test.losses))
    for fiber in known:
        mine = [t for t in traces if _of_fiber(t, fiber, known)]
        ours = {nm for f, nm, _ in test.losses if f == fiber}
        ends = (2 if test.ends is None else test.ends) * event_limits().connection.db
        for nm in sorted(ours & {nm for t in mine for _, nm, _ in t.traced}):
            by_trace = [(way, db) for t in mine for (_, at, way), db in t.traced.items() if at == nm]
            by_test = [db for (f, at, _), db in test.losses.items() if (f, at) == (fiber, nm)]
            a, b = _mean([db for _, db in by_trace]), _mean(by_test)
            off = b < a - room["db"] or b > a + room["db"] + ends
            one_way = len({way for way, _ in by_trace if way}) < 2
            yield TraceAgainstLoss(nm, a, b, "dB", one_way, off)
        metres = [m for t in mine for m in t.lengths.values()]
        length = next((m for (f, _), m in test.lengths.items() if f in (fiber, "")), None)
        if metres and length is not None:
            a = _mean(metres)
            off = abs(a - length) > max(room["metres"], room["percent"] / 100 * length)
            yield TraceAgainstLoss(None, a, length, "m", False, off)


def _of_fiber(trace: OpticalFacts, fiber: str, known: Sequence[str]) -> bool:
    named = {f for f, _, _ in trace.traced} | {f for f, _ in trace.lengths}
    return fiber in named or len(known) == 1


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)
