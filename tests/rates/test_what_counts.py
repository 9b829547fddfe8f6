"""What a rate is of: parameters that are not named, the instrument's own results, cohorts, what is uncertain."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from archive.answers.rates.pareto import failed
from archive.answers.rates.rates import Asked, sensitivity
from archive.answers.rates.rates import rates as count
from archive.answers.rates.source import Choice
from archive.errors import Trouble
from archive.store import Archive
from tests.rates.test_counting import graded
from tests.rates.test_rates import of_verdicts, reported, run, told
from tests.store import store_making as making

_PASSES = {"verdict": "pass", "provisional": False, "limits_version": "tests", "program": "tests"}


def naming(label: str, verdict: str, parameter: str, margin: float, **more: Any) -> making.Rows:
    """A record whose instrument names its worst parameter and nothing else."""
    made = making.rows(label, evidence="worst-points", reported_verdict=verdict, place=f"row {label}", **more)
    point = {
        "record_id": made["records"][0]["record_id"],
        "parameter": parameter,
        "kind": "worst_margin",
        "margin": margin,
        "verdict": "fail" if margin < 0 else "pass",
    }
    return {**made, "sweeps": [], "readings": [], "wiremap": [], "reported": [point]}


def test_a_parameter_that_nobody_names_passes_where_the_record_does(archive: Archive) -> None:
    """Of a hundred links four fail NEXT, thirty name NEXT as the tightest that passes, the others return loss."""
    listed = [naming(f"F{i}", "fail", "next", -1.0) for i in range(4)]
    listed += [naming(f"N{i}", "pass", "next", 2.0) for i in range(30)]
    listed += [naming(f"R{i}", "pass", "return_loss", 1.0) for i in range(66)]
    making.deposit(archive, graded(*listed))
    rows = {r["parameter"]: r for r in count(archive, ["parameter"]).rows}
    assert (rows["next"]["links"], rows["next"]["passed"]) == (100, 96)
    # of the four that fail NEXT nothing says what return loss came to
    assert (rows["return_loss"]["links"], rows["return_loss"]["not_graded"]) == (96, 4)
    assert (rows["return_loss"]["passed"], rows["return_loss"]["rate"]) == (96, 1.0)


def test_of_fiber_and_unknown_limits_the_instruments_results_count(archive: Archive) -> None:
    fiber = {"medium": "fiber", "cable_type": "om4/50", "limit_found": "A limit of our own"}
    listed = [naming(f"F{i}", "fail", "optical_loss", -0.4, **fiber) for i in range(6)]
    listed += [naming(f"P{i}", "pass", "optical_loss", 0.9, **fiber) for i in range(54)]
    making.deposit(archive, graded(*listed))
    (row,) = count(archive, ["parameter"]).rows
    assert (row["parameter"], row["links"], row["passed"]) == ("optical_loss", 60, 54)
    assert row["p5_margin"] == pytest.approx(-0.4)
    found = failed(archive)
    assert (found.links, found.unknown, found.rows[0]["parameter"]) == (6, 0, "optical_loss")
    assert found.rows[0]["worst_margin"] == pytest.approx(-0.4)


def test_what_failed_is_by_the_verdicts_that_were_asked_for(archive: Archive) -> None:
    """One link fails by its curves alone, one by the instrument alone, without saying at what."""
    making.deposit(archive, graded(making.rows("A1", shift=20.0), reported("B1", "fail", place="row 9")))
    found = {v: failed(archive, Choice(verdicts=v)) for v in ("best", "program", "reported")}
    assert {v: (f.links, f.unknown) for v, f in found.items()} == {
        "best": (1, 1),
        "program": (1, 0),
        "reported": (0, 1),
    }
    shares = [r["share_of_links"] for r in found["best"].rows]
    assert shares and max(shares) == 0.5  # of both failing links, not only of that which says why


def test_what_still_fails_is_asked_by_the_test_that_counts(archive: Archive) -> None:
    making.deposit(archive, graded(*(naming(f"A{i}", "fail", "next", -1.0) for i in range(2))))
    assert [failed(archive, tests=t).failing for t in ("all", "first", "current")] == [2, 2, 2]
    later = {"tested_local": "2019-03-09T08:00", "tested_found": "2019-03-09T08:00", "source": "b" * 64}
    making.deposit(archive, graded(naming("A1", "pass", "next", 2.0, **later)))
    found = {t: failed(archive, tests=t) for t in ("all", "first", "current")}
    assert [f.failing for f in found.values()] == [2, 2, 1]
    assert [f.rows[0]["links"] for f in found.values()] == [2, 2, 1]


def two_crews(archive: Archive) -> None:
    """Builders test 50 links in December, of which 5 fail; menders mend 4 of them in January."""
    december = {"tested_local": "2020-12-10T10:00", "tested_found": "2020-12-10T10:00", "job_id": "BUILD"}
    january = {"tested_local": "2021-01-20T10:00", "tested_found": "2021-01-20T10:00", "job_id": "MEND"}
    first = [reported(f"A{i}", "fail" if i < 5 else "pass", place=f"row {i}", **december) for i in range(50)]
    again = [reported(f"A{i}", "pass", place=f"row {i}", source="b" * 64, **january) for i in range(4)]
    making.deposit(archive, making.batch(*first), job=None, site="Quay")
    making.deposit(archive, making.batch(*again), job=None, site="Quay")


def test_a_cohort_keeps_the_links_that_others_mended(archive: Archive) -> None:
    two_crews(archive)
    plain = {r["job"]: r for r in count(archive, ["job"]).rows}
    assert (plain["BUILD"]["links"], plain["MEND"]["links"]) == (46, 4)
    rows = {r["job"]: r for r in count(archive, ["job"], Choice(cohort="first-test")).rows}
    (built,) = rows.values()
    assert (built["links"], built["passed"], built["fixed"]) == (50, 49, 4)
    assert (built["first_links"], built["first_passed"], built["tests"]) == (50, 45, 50)
    by_month = told("rates", archive.root, "--by", "month", "--cohort", "first-test")["rows"]
    assert [(r["month"], r["links"]) for r in by_month] == [("2020-12", 50)]


def test_the_state_of_a_day_is_another_question(archive: Archive) -> None:
    two_crews(archive)
    then = told("rates", archive.root, "--as-of", "2020-12-31")["total"]
    assert (then["links"], then["passed"]) == (50, 45)


def test_all_that_is_uncertain_is_under_the_headline(archive: Archive) -> None:
    of_verdicts(archive, 8, 1)
    assert sensitivity(count(archive).total) == ""
    making.deposit(archive, making.batch(reported("Z1", None, source="e" * 64)))
    total = count(archive).total
    assert (total["rate_at_least"], total["rate_at_most"]) == (8 / 10, 9 / 10)
    assert "1 not graded" in sensitivity(total)


def test_a_later_fail_of_less_evidence_and_a_copy_are_uncertain(archive: Archive) -> None:
    swept = [making.rows(f"A{i}", place=f"row {i}", shift=0.3 * i) for i in range(4)]
    for made in swept:
        made["verdicts"] = [{"record_id": made["records"][0]["record_id"], **_PASSES}]
    making.deposit(archive, making.batch(*swept))
    copied = making.rows("B9", place="row 1", shift=0.3, source="d" * 64, time="2019-03-04T11:40")
    copied["verdicts"] = [{"record_id": copied["records"][0]["record_id"], **_PASSES}]
    making.deposit(archive, making.batch(copied))
    may = {"tested_local": "2024-05-02T10:00", "tested_found": "2024-05-02T10:00", "source": "c" * 64}
    making.deposit(archive, making.batch(naming("A0", "fail", "next", -1.0, **may)))
    total = count(archive).total
    assert (total["links"], total["passed"], total["copied"], total["later_lesser_fails"]) == (4, 4, 1, 1)
    assert (total["rate_at_least"], total["rate_at_most"]) == (3 / 5, 1.0)


def jobs_of(archive: Archive, listed: list[tuple[str, str, int, int]]) -> None:
    """Jobs of a crew and a cable type with so many passes and fails."""
    from archive.answers.jobs import state

    for n, (crew, cable, passed, failed_) in enumerate(listed):
        job = f"J{n:03d}"
        rows = [
            reported(
                f"{job}-{i}", "pass" if i < passed else "fail", place=f"row {i}", source=f"{n:064d}", cable_type=cable
            )
            for i in range(passed + failed_)
        ]
        making.deposit(archive, making.batch(*rows), job=job)
        state(archive, job, [f"crew={crew}"], by="R. Ostrander", reason=None)


def test_an_order_that_turns_round_within_cable_types_is_told(archive: Archive) -> None:
    """Blue is better in both cables, and does nearly all of the cable that fails more often."""
    one, other = "cat6/u-utp", "cat6/f-utp"
    jobs_of(
        archive,
        [("blue", one, 60, 0)]
        + [("blue", other, 54, 6)] * 7
        + [("red", one, 58, 2), ("red", one, 57, 3)] * 4
        + [("red", other, 46, 14)] * 2,
    )
    found = count(archive, ["crew"])
    (turned,) = (t for t in found.told if t.kind == "reversal")
    assert (turned.group, turned.against) == ("blue", "red")
    assert turned.effect is not None and turned.low is not None and 0 < turned.low < turned.effect
    assert "cable type" in turned.sentence and "turns round" in turned.sentence
    rows = {r["crew"]: r for r in count(archive, ["crew"], None, Asked(standardise=["cable_type"])).rows}
    assert rows["blue"]["rate"] < rows["red"]["rate"]
    assert rows["blue"]["standardised_rate"] > rows["blue"]["standardised_others"]
    assert rows["blue"]["within_difference"] == pytest.approx(turned.effect)


def test_one_job_cannot_be_told_from_its_group(archive: Archive) -> None:
    jobs_of(archive, [("blue", "cat6/u-utp", 100, 0), ("red", "cat6/u-utp", 60, 40)])
    found = count(archive, ["crew"])
    assert found.told == []
    assert found.closing == ["Each group is one job: a difference between groups cannot be told from one between jobs."]
    assert any("cannot be told apart" in n for n in found.notes)


def test_no_failure_is_told_by_what_others_do(archive: Archive) -> None:
    """Nothing is said of the only group there is, however large; of one beside jobs that fail, it is."""
    of_verdicts(archive, 201, 0)
    assert count(archive).told == []
    jobs_of(archive, [("red", "cat6/u-utp", 54, 6)] * 5 + [("blue", "cat6/u-utp", 60, 0)] * 5)
    perfect = {t.group: t.sentence for t in count(archive, ["crew"]).told if t.kind == "no_failure"}
    assert set(perfect) <= {"blue", "unknown"} and "once in" in perfect["blue"]


def test_a_word_that_no_record_has_is_answered_with_the_nearest(of_years: Path) -> None:
    for words, near in ((["--cable-type", "cat6a/futp"], "cat6a/f-utp"), (["--only", "crew=blu crew"], "blue crew")):
        result = run("rates", of_years, *words)
        assert isinstance(result.exception, Trouble) and near in str(result.exception)
    assert told("rates", of_years, "--only", "year=unknown")["rows"] == []


def test_what_is_not_known_can_be_asked_for(archive: Archive) -> None:
    of_verdicts(archive, 5, 1, tested_local=None, tested_found=None)
    for name in ("year", "crew", "month"):
        (row,) = count(archive, [name], Choice(only=[(name, "unknown")])).rows
        assert (row["links"], row[name]) == (6, None)
