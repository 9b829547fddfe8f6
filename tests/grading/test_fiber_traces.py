"""Traces of one fiber against each other, and their events against what connections and splices may lose."""

from __future__ import annotations

from typing import Any

import pytest

from archive import vocabulary
from archive.grading import grade
from archive.grading.fiber.diagnosis import BEND, CONNECTION, SPLICE, by_losses, by_traces
from archive.grading.fiber.loss_tests import loss_tests
from archive.grading.fiber.traces import FiberTrace, echoes, in_dead_zone, places
from archive.tables import Batch
from tests.grading.fiber_making import BOTH, loss_test

Row = dict[str, Any]


def event(
    number: int, km: float, loss: float, *, kind: str = "non-reflective", reflectance: float | None = None
) -> Row:
    return {"number": number, "kind": kind, "distance_km": km, "loss_db": loss, "reflectance_db": reflectance}


def trace(nm: float, direction: str, *inner: Row, end: float = 2.0, **more: Any) -> FiberTrace:
    ends = event(0, 0.0, 0.0, kind="launch"), event(99, end, 0.0, kind="end", reflectance=-14.0)
    return FiberTrace(nm, direction, [ends[0], *inner, ends[1]], **more)


def graded(*events: Row, **columns: Any) -> Row:
    record = {"record_id": "r", "medium": "fiber", "evidence": "optical-trace", "cable_type": "os2/9", **columns}
    rows = [{"record_id": "r", "wavelength_nm": 1310.0, "fiber": "1", **e} for e in events]
    batch = Batch.from_rows({"records": [record], "trace_events": rows})
    (found,) = grade(batch)["verdicts"].to_pylist()
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize(("there", "back", "mean"), [(0.12, -0.04, 0.04), (0.20, 0.10, 0.15)])
def test_published_means_of_a_splice_from_both_sides(there: float, back: float, mean: float) -> None:
    """O23 and O24."""
    (place,) = places(
        [trace(1310, "local-remote", event(2, 0.5, there)), trace(1310, "remote-local", event(2, 1.5, back))]
    )
    assert place.mean(1310) == pytest.approx(mean)
    assert place.gainer == (back < 0)
    assert place.verdict(1310) == ("pass", 0.30)


def test_events_further_apart_than_a_few_metres_are_two_places() -> None:
    found = places([trace(1310, "local-remote", event(2, 0.5, 0.1)), trace(1310, "remote-local", event(2, 1.53, 0.1))])
    assert len(found) == 2 and [p.mean(1310) for p in found] == [None, None]


def test_a_bend_is_told_from_a_connector_and_from_a_splice() -> None:
    def both(km: float, short: float, long: float, kind: str, reflectance: float | None) -> list[FiberTrace]:
        found = []
        for nm, loss in ((1310.0, short), (1550.0, long)):
            for way in BOTH:
                at = km if way == "local-remote" else 2.0 - km
                found.append(trace(nm, way, event(2, at, loss, kind=kind, reflectance=reflectance)))
        return found

    (bend,) = by_traces(both(0.7, 0.1, 0.6, "non-reflective", None))
    (connector,) = by_traces(both(0.7, 1.1, 1.0, "reflective", -28.0))
    (splice,) = by_traces(both(0.7, 0.5, 0.5, "non-reflective", None))
    assert (bend.kind, connector.kind, splice.kind) == (BEND, CONNECTION, SPLICE)
    assert all(p.km == pytest.approx(0.7) for p in (bend, connector, splice))
    assert by_traces(both(0.7, 0.5, 0.5, "reflective", -48.0)) == []


def test_losses_alone_point_to_a_bend_after_the_slope_of_the_fiber_is_taken_off() -> None:
    """11.3 of the reference: at 8 km 0.9 dB of excess at 1550 nm shows as 1550 - 1310 = -0.12 dB only."""
    km = 8.0
    losses = {("1", 1310.0, way): 0.32 * km for way in BOTH}
    losses |= {("1", 1550.0, way): 0.19 * km + 0.92 for way in BOTH}
    assert losses["1", 1550.0, "local-remote"] - losses["1", 1310.0, "local-remote"] == pytest.approx(-0.12)
    (test,) = loss_tests(loss_test(losses, length_m=8000.0, cable_type="os2/9"))
    (found,) = by_losses(test)
    assert found.kind == "bend unplaced" and found.km is None and found.facts["excess"] == "0.92"


def test_echoes_and_dead_zones() -> None:
    one = trace(
        1310,
        "",
        event(2, 0.4, 0.3, kind="reflective", reflectance=-45.0),
        event(3, 0.8, 0.0, kind="reflective", reflectance=-62.0),
        event(4, 0.8015, 0.1),
        pulse_ns=30.0,
        index=1.468,
    )
    assert one.dead_zone_m == pytest.approx(3.06, abs=0.01)
    assert echoes(one) == [3]
    assert in_dead_zone(one) == [(3, 4)]


def test_one_side_alone_passes_provisionally_and_fails_beyond_its_error() -> None:
    ends = (event(1, 0.0, 0.0, kind="launch"), event(9, 2.0, 0.0, kind="end"))
    passing = graded(ends[0], event(2, 0.5, 0.2), ends[1])
    near = graded(ends[0], event(2, 0.5, 0.45), ends[1])
    failing = graded(ends[0], event(2, 0.5, 0.7), ends[1])
    assert [v["verdict"] for v in (passing, near, failing)] == ["pass", "not graded", "fail"]
    assert passing["provisional"] and "one side alone" in passing["provisional_because"]
    assert passing["limit_id"] == "optical-events/os2/trace-1310nm"
    gainer = graded(ends[0], event(2, 0.5, -0.1), ends[1])
    assert gainer["verdict"] == "pass"


def test_an_event_is_named_as_one_and_never_as_the_whole_trace() -> None:
    found = graded(event(1, 0.0, 0.0, kind="launch"), event(2, 0.3, 1.3), event(9, 2.0, 0.0, kind="end"))
    assert found["parameter"] == found["leading_parameter"] == "event_loss"
    assert "event 2 at 0.300 km" in found["pairing"] and found["leading_pairing"] == found["pairing"]
    assert vocabulary.parameter("event_loss").name == "loss of an event"
    assert vocabulary.parameter("event_reflectance").name == "reflectance of an event"


def test_reflectance_is_graded_from_memory_and_only_where_the_kind_of_fiber_is_known() -> None:
    bad = event(2, 0.5, 0.3, kind="reflective", reflectance=-28.0)
    found = graded(bad)
    assert found["verdict"] == "fail" and found["parameter"] == "event_reflectance"
    assert (found["value"], found["limit"]) == (-28.0, -35.0) and found["margin"] == -7.0
    assert found["provisional"]
    unknown = graded(bad, cable_type=None)
    assert unknown["verdict"] == "pass" and "reflectance not graded" in unknown["reason"]


def test_no_verdict_without_events() -> None:
    batch = Batch.from_rows(
        {
            "records": [{"record_id": "r", "medium": "fiber", "evidence": "optical-trace"}],
            "axes": [{"axis_id": "a", "distances_km": [0.0, 1.0]}],
            "sweeps": [
                {
                    "record_id": "r",
                    "parameter": "backscatter",
                    "origin": "measured",
                    "axis_id": "a",
                    "values": [-1.0, -2.0],
                    "wavelength_nm": 1310.0,
                }
            ],
        }
    )
    (found,) = grade(batch)["verdicts"].to_pylist()
    assert found["verdict"] == "not graded" and "none is made up" in found["reason"]


def both_ends(there: list[Row], back: list[Row], **of_back: Any) -> dict[str, Row]:
    """Verdicts of two records, one from each end of a fibre of 2 km."""
    shared = {
        "medium": "fiber",
        "evidence": "optical-trace",
        "cable_type": "os2/9",
        "link_label": "B-1",
        "group_index": 1.468,
    }
    records = [{"record_id": "there", **shared}, {"record_id": "back", **shared, **of_back}]
    rows = []
    for record, way, inner in (("there", BOTH[0], there), ("back", BOTH[1], back)):
        mine = [event(1, 0.0, 0.0, kind="launch"), *inner, event(99, 2.0, 0.0, kind="end")]
        rows += [{"record_id": record, "wavelength_nm": 1310.0, "fiber": "1", "direction": way, **e} for e in mine]
    found = grade(Batch.from_rows({"records": records, "trace_events": rows}))["verdicts"].to_pylist()
    return {v["record_id"]: v for v in found}


def test_the_mean_of_both_ends_is_graded_where_both_are_there() -> None:
    """O23: 0.12 and -0.04 dB are 0.04 dB. A splice that looks like 0.45 dB from one end and 0.05 dB from the other
    loses 0.25 dB and passes 0.30 dB; one of 0.45 and 0.25 dB loses 0.35 dB and fails it."""
    good = both_ends([event(2, 0.5, 0.12), event(3, 1.2, 0.45)], [event(2, 0.8, 0.05), event(3, 1.5, -0.04)])
    for verdict in good.values():
        assert (verdict["verdict"], verdict["provisional"]) == ("pass", False)
        assert verdict["value"] == pytest.approx(0.25) and verdict["limit"] == 0.30
        assert "events as means of both ends" in verdict["reason"] and not verdict["provisional_because"]
    assert "with the trace back" in good["there"]["reason"]
    bad = both_ends([event(2, 0.5, 0.45)], [event(2, 1.5, 0.25)])
    assert {v["verdict"] for v in bad.values()} == {"fail"} and not any(v["provisional"] for v in bad.values())


def test_one_end_alone_is_said_where_the_other_does_not_belong_to_it() -> None:
    """Another index, another length, another link, or an event that only one end saw."""
    for other in ({"group_index": 1.475}, {"link_label": "B-2"}):
        found = both_ends([event(2, 0.5, 0.12)], [event(2, 1.5, -0.04)], **other)["there"]
        assert found["provisional"] and "from one side alone" in found["provisional_because"]
    lonely = both_ends([event(2, 0.5, 0.12), event(3, 1.0, 0.1)], [event(2, 1.5, -0.04)])["there"]
    assert lonely["provisional"] and "from one side alone" in lonely["provisional_because"]
    assert "means of both ends" in lonely["reason"]
