"""Which record of a link is accepted and which is current: roles are decided by coverage and time, never by verdict."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.store.roles import Acceptance, RecordState, coverage, states


def row(number: int, tested: str | None, **facts: Any) -> dict[str, Any]:
    """A full sweep of a category 6A link that passes, tested in job J."""
    return {
        "row": number,
        "link": "L",
        "record_id": f"re-{number}",
        "job_id": "J",
        "kind": "retests",
        "former": None,
        "withdrawn": 0,
        "replaced": 0,
        "evidence": "full-sweep",
        "points": 1000,
        "step": 0.1,
        "verdict": "pass",
        "reported_verdict": "pass",
        "covers_from_mhz": 1.0,
        "covers_to_mhz": 500.0,
        "configuration": "permanent-link",
        "limit_id": "tia-568.2-d/cat6a/permanent-link",
        "tested_local": tested,
        "tested_at": None,
        "length_m": 42.0,
        **facts,
    }


def current(found: dict[int, RecordState]) -> list[int]:
    return [number for number, state in found.items() if state.current]


def accepted(found: dict[int, RecordState]) -> list[int]:
    return [number for number, state in found.items() if state.accepted]


def test_a_label_tested_again_in_later_jobs_leaves_the_certificate_of_the_first() -> None:
    rows = [
        row(1, "2005-05-16T10:00", job_id="A"),
        row(2, "2007-03-01T10:00", job_id="B"),
        row(3, "2016-09-01T10:00", job_id="C", verdict="fail"),
    ]
    found = states(rows, {"A": Acceptance("2005-06-01", "start of the warranty")})
    assert current(found) == [3]
    assert accepted(found) == [1, 2, 3]
    assert "2005-06-01" in found[1].why_accepted
    assert "no day of acceptance is known" in found[2].why_accepted


def test_a_fresh_failing_test_in_the_same_job_does_not_displace_the_certificate() -> None:
    rows = [row(1, "2019-05-16"), row(2, "2026-11-02", verdict="fail")]
    found = states(rows, {"J": Acceptance("2019-06-01", "stated")})
    assert (accepted(found), current(found)) == ([1], [2])


def test_a_mended_link_whose_export_lacks_a_parameter_does_not_stay_failed() -> None:
    """Equal gaps are equal evidence, whatever the verdict that they leave."""
    gaps = {"covers_from_mhz": None, "covers_to_mhz": None}
    rows = [row(1, "2026-11-10T15:40", verdict="fail", **gaps), row(2, "2026-11-11", verdict="not graded", **gaps)]
    found = states(rows)
    assert current(found) == [2]
    assert found[1].first


def test_a_later_failing_test_of_less_evidence_is_counted_and_does_not_displace() -> None:
    rows = [row(1, "2019-05-16"), row(2, "2020-01-01", evidence="worst-points", verdict="fail")]
    found = states(rows)
    assert current(found) == [1]
    assert found[1].lesser_fails == 1
    assert states([rows[0], {**rows[1], "verdict": "not graded", "reported_verdict": "pass"}])[1].lesser_fails == 0


def test_a_first_test_that_failed_is_the_first_whatever_its_evidence() -> None:
    rows = [row(1, "2019-05-16", evidence="verdict-only", verdict="fail"), row(2, "2019-05-17")]
    assert states(rows)[1].first
    passed = [row(1, "2019-05-16", evidence="verdict-only", verdict="not graded"), row(2, "2019-05-17")]
    assert states(passed)[2].first


def test_an_acceptance_day_by_which_no_test_was_complete_accepts_the_fullest() -> None:
    rows = [row(1, "2019-05-01", evidence="worst-points"), row(2, "2019-07-01")]
    found = states(rows, {"J": Acceptance("2019-06-01", "stated")})
    assert accepted(found) == [1]
    assert "partial evidence" in found[1].why_accepted


@pytest.mark.parametrize("tested", [None, "2019-06", "2019"])
def test_a_test_of_no_sure_day_is_never_accepted_by_a_day(tested: str | None) -> None:
    assert accepted(states([row(1, tested)], {"J": Acceptance("2019-06-15", "stated")})) == []
    assert accepted(states([row(1, tested)])) == [1]


def test_a_month_that_is_over_is_accepted() -> None:
    assert accepted(states([row(1, "2019-05")], {"J": Acceptance("2019-06-15", "stated")})) == [1]


def test_a_person_names_the_accepted_record() -> None:
    rows = [row(1, "2019-05-16"), row(2, "2019-05-17")]
    found = states(rows, {"J": Acceptance("2019-06-01", "stated")}, named={1: 5})
    assert accepted(found) == [1]
    assert "named by a person" in found[1].why_accepted


def test_conflicts_have_no_role_and_say_so() -> None:
    rows = [row(1, "2019-05-16", kind="new"), row(2, "2019-05-16", kind="conflicts", former=1)]
    found = states(rows)
    assert current(found) == accepted(found) == []
    assert found[1].conflict and found[2].conflict


def test_two_limit_families_of_one_link_are_one_link() -> None:
    other = {"limit_id": "iso-11801-1/class-ea/permanent-link-2", "verdict": "fail"}
    rows = [row(1, "2019-05-16"), row(2, "2019-05-17", **other)]
    found = states(rows)
    assert current(found) == [1, 2]
    assert {s.unit for s in found.values()} == {2}
    required = states(rows, {"J": Acceptance(family=("permanent-link", "cat6a"))})
    assert {s.unit for s in required.values()} == {1}
    assert {s.accepted_unit for s in required.values()} == {1}


def test_a_failing_trace_stands_beside_a_loss_test_and_never_displaces_it() -> None:
    loss = row(1, "2021-03-12T14:05", evidence="optical-loss", limit_id="iso-11801-1/os2/link", configuration="link")
    events = {"evidence": "optical-trace", "configuration": None, "verdict": "fail", "reported_verdict": None}
    limit = "optical-events/unknown/trace-1625nm-local-remote"
    found = states([loss, row(2, "2021-03-16T13:33", limit_id=limit, **events)])
    assert {found[n].unit for n in (1, 2)} == {1} and {found[n].accepted_unit for n in (1, 2)} == {1}
    assert found[1].lesser_fails == 1 and found[1].tests == 1
    alone = states([row(2, "2021-03-16T13:33", limit_id=limit, **events)])
    assert alone[2].unit == 2 and alone[2].accepted


def test_a_trace_under_the_limit_of_a_loss_test_does_not_displace_it() -> None:
    rows = [row(1, "2021-03-12T14:05", evidence="optical-loss"), row(2, "2021-03-16T13:33", evidence="optical-trace")]
    found = states(rows)
    assert current(found) == accepted(found) == [1]


def test_withdrawn_records_have_no_role() -> None:
    rows = [row(1, "2019-05-16"), row(2, "2019-05-17", withdrawn=1)]
    assert current(states(rows)) == [1]


_ROWS = st.lists(
    st.fixed_dictionaries(
        {
            "tested_local": st.sampled_from([None, "2005-05-16", "2007-03-01T10:00", "2016-09-01", "2016"]),
            "job_id": st.sampled_from(["A", "B", None]),
            "evidence": st.sampled_from(["full-sweep", "worst-points", "verdict-only"]),
            "verdict": st.sampled_from(["pass", "fail", "not graded", None]),
            "covers_to_mhz": st.sampled_from([500.0, 250.0, None]),
            "limit_id": st.sampled_from(["tia-568.2-d/cat6a/permanent-link", "tia-568.2-d/cat6/permanent-link", None]),
            "withdrawn": st.sampled_from([0, 0, 0, 1]),
        }
    ),
    min_size=1,
    max_size=7,
)
_DAYS = st.dictionaries(
    st.sampled_from(["A", "B"]),
    st.builds(Acceptance, st.sampled_from([None, "2005-06-01", "2010-01-01"]), st.just("stated")),
)


@given(_ROWS, _DAYS)
def test_what_holds_of_every_link(facts: list[dict[str, Any]], days: dict[str | None, Acceptance]) -> None:
    rows = [row(n, **f) if "tested" in f else {**row(n, None), **f} for n, f in enumerate(facts, 1)]
    found = states(rows, days)
    live = [r for r in rows if found[r["row"]].live]
    assert {s.unit for s in found.values() if s.live} <= {r["row"] for r in live}
    assert len({s.unit for s in found.values() if s.live}) == (1 if live else 0)
    assert sum(s.first for s in found.values()) == (1 if live else 0)
    for r in live:
        state = found[r["row"]]
        if state.current:  # nothing of its family covers more
            group = [o for o in live if found[o["row"]].why and o["limit_id"] == r["limit_id"]]
            assert all(coverage(o) <= coverage(r) for o in group)
        if state.accepted and days.get(r["job_id"], Acceptance()).day:
            assert r["tested_local"] is not None


@given(_ROWS)
def test_verdicts_decide_no_role_of_a_family(facts: list[dict[str, Any]]) -> None:
    rows = [{**row(n, None), **f} for n, f in enumerate(facts, 1)]
    turned = [{**r, "verdict": {"pass": "fail", "fail": "pass"}.get(r["verdict"], r["verdict"])} for r in rows]
    assert [s.current for s in states(rows).values()] == [s.current for s in states(turned).values()]
    assert [s.accepted for s in states(rows).values()] == [s.accepted for s in states(turned).values()]


def test_a_record_without_verdict_date_and_value_is_no_test() -> None:
    nothing = {"evidence": "verdict-only", "reported_verdict": None, "points": 0, "length_m": None}
    (state,) = states([row(1, None, **nothing)]).values()
    assert not state.live and "no test" in state.why
    assert states([row(1, None, **{**nothing, "length_m": 3.0})])[1].live
    assert states([row(1, "2019-05-16", **nothing)])[1].live
