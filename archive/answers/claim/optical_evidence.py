"""Which records of an optical link are its loss test and its traces, and how far the two agree."""

from __future__ import annotations

from collections.abc import Sequence

from archive.answers.claim.claim_facts import ClaimFacts, Row, TestedRecord
from archive.answers.wording import Wording
from archive.grading.fiber import loss_tests
from archive.grading.fiber.link_facts import TraceAgainstLoss, against, optical_facts
from archive.grading.fiber.traces import FiberTrace
from archive.tables import Batch
from archive.validation import catalogue


def loss_test(facts: ClaimFacts) -> TestedRecord | None:
    """The loss test of the link: the record that is shown, else the newest that counts."""
    ranked = sorted(facts.tests, key=lambda t: t.record["tested_local"] or "", reverse=True)
    listed = [*([facts.standing] if facts.standing else []), *(t for t in ranked if _counts(t))]
    return next((t for t in listed if loss_tests(t.batch)[0].losses), None)


def _counts(tested: TestedRecord) -> bool:
    return tested.state != "withdrawn" and tested.relation in ("test", "fresh test")


def traced(facts: ClaimFacts) -> list[tuple[TestedRecord, FiberTrace]]:
    """The newest trace of each wavelength and direction among the tests of the link that count."""
    found: dict[tuple[str, float | None, str], tuple[TestedRecord, FiberTrace]] = {}
    ranked = sorted(facts.tests, key=lambda t: t.record["tested_local"] or "", reverse=True)
    for tested in ranked:
        if not _counts(tested):
            continue
        rows = tested.rows("trace_events")
        sweep = next(iter(_sweep_names(tested.batch)), None)
        if not rows and sweep is None:
            continue
        first = rows[0] if rows else sweep
        assert first is not None
        trace = FiberTrace(
            first["wavelength_nm"], first["direction"] or "", rows, _pulse(tested), tested.record["group_index"]
        )
        found.setdefault((str(rows[0]["fiber"]) if rows else "", trace.nm, trace.direction), (tested, trace))
    return list(found.values())


def _sweep_names(batch: Batch) -> list[Row]:
    names = batch["sweeps"].select(["parameter", "pairing", "wavelength_nm", "direction"]).to_pylist()
    return [row for row in names if row["parameter"] == "backscatter"]


def _pulse(tested: TestedRecord) -> float | None:
    for row in tested.rows("extras"):
        if row["name"] == "pulse_ns":
            first = str(row["value"] or "").split(" ")[0]
            return float(first) if first.replace(".", "", 1).isdigit() else None
    return None


def compared(facts: ClaimFacts) -> list[TraceAgainstLoss]:
    """Losses and length of the loss test beside those of the traces; nothing where one of the two is missing."""
    s = facts.standing
    lossy = loss_test(facts) if s is not None and s.record["medium"] == "fiber" else None
    test = optical_facts(lossy.batch).get(lossy.record["record_id"]) if lossy is not None else None
    if test is None:
        return []
    traces = [f for t, _ in traced(facts) for f in optical_facts(t.batch).values()]
    return list(against(test, traces, catalogue.rule("traces-contradict-loss-test").tolerances))


def agreement(seen: Sequence[TraceAgainstLoss], words: Wording) -> list[str]:
    """What was compared, in sentences."""
    said = []
    for one in seen:
        shown = 2 if one.unit == "dB" else 1
        numbers = {
            "what": words("loss at {nm} nm", nm=f"{one.nm:g}") if one.nm is not None else words("length"),
            "a": f"{words.number(one.by_test, shown)} {one.unit}",
            "b": f"{words.number(one.by_trace, shown)} {one.unit}",
        }
        if one.off:
            text = words(
                "The {what} is {a} by the loss test and {b} by the traces: both cannot be right for one link.",
                **numbers,
            )
        else:
            text = words("The {what} is {a} by the loss test and {b} by the traces.", **numbers)
        said.append(text + (" " + words("The traces are from one end alone.") if one.one_way else ""))
    return said
