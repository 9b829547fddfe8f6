"""The job of 2005 whose labels were tested again in 2007 and 2016, and what stays accepted, current and in doubt."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from store_making import batch, deposit, rows

from archive.answers.doubts import doubts, settle
from archive.answers.history import history
from archive.answers.jobs import state
from archive.answers.link import open_link
from archive.answers.progress import progress
from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.events.accept import accept_job, accept_records
from archive.store.events.withdraw import withdraw
from archive.store.past import PastArchive

LABEL, SITE = "2-TR2-A105", "Lantern Quay 4"
BY = "R. Ostrander"


def add_test(archive: Archive, job: str, time: str, *, shift: float, **facts: Any) -> str:
    """Deposits a test of the label in a job; the record's id."""
    made = rows(LABEL, time=time, shift=shift, source=f"{time[:4]}{time[5:7]}{time[8:10]}".ljust(64, "0"), **facts)
    deposit(archive, batch(made), job=job, site=SITE)
    return str(made["records"][0]["record_id"])


@pytest.fixture
def three(archive: Archive) -> dict[str, str]:
    """Record ids by year; the cable of 2016 is another one."""
    return {
        "2005": add_test(archive, "GRANARY-2005", "2005-05-16T10:00", shift=0.0),
        "2007": add_test(archive, "GRANARY-2007", "2007-03-01T10:00", shift=0.4),
        "2016": add_test(archive, "GRANARY-2016", "2016-09-01T10:00", shift=0.9, cable_type="cat6a/f-utp"),
    }


def test_the_certificate_of_the_first_job_stays_accepted(archive: Archive, three: dict[str, str]) -> None:
    state(archive, "GRANARY-2005", ["warranty_start=2005-06-01"], by=BY)
    found = open_link(archive, LABEL, job="GRANARY-2005")
    assert found.standing is not None and found.standing["record_id"] == three["2005"]
    assert found.current is not None and found.current["record_id"] == three["2007"]
    assert "2005-06-01" in found.why and three["2007"] in found.why
    assert progress(archive, "GRANARY-2005").links[0].record["record_id"] == three["2005"]  # type: ignore[index]


def test_another_cable_under_the_label_is_in_doubt_until_somebody_decides(
    archive: Archive, three: dict[str, str]
) -> None:
    (doubt,) = doubts(archive)
    assert "cat6 and cat6a" in doubt["why"]
    assert [side["records"] for side in doubt["sides"]] == [[three["2005"], three["2007"]], [three["2016"]]]
    settle(archive, Filters(link=LABEL), same=False, by=BY, reason="the room was refitted")
    assert doubts(archive) == []
    first = open_link(archive, LABEL, job="GRANARY-2005")
    assert {r["record_id"] for r in first.rows} == {three["2005"], three["2007"]}
    with pytest.raises(Trouble, match="places have a link"):
        open_link(archive, LABEL)
    assert len(open_link(archive, LABEL, record=three["2016"]).rows) == 1
    with pytest.raises(Trouble, match="no label in doubt"):
        settle(archive, Filters(link=LABEL), same=True, by=BY, reason="x")


def test_decided_to_be_one_link_the_latest_is_current(archive: Archive, three: dict[str, str]) -> None:
    settle(archive, Filters(link=LABEL), same=True, by=BY, reason="the cable type of 2005 was a misprint")
    found = open_link(archive, LABEL)
    assert found.current is not None and found.current["record_id"] == three["2016"]
    assert len(found.rows) == 3
    assert "identity" in {e["kind"] for e in history(archive, found)}


def test_a_day_of_acceptance_wins_over_the_start_of_the_warranty(archive: Archive) -> None:
    early = add_test(archive, "J", "2019-05-16T10:00", shift=0.0)
    late = add_test(archive, "J", "2019-05-20T10:00", shift=0.4)
    assert open_link(archive, LABEL, job="J").accepted["record_id"] == late  # type: ignore[index]
    accept_job(archive, "J", date(2019, 5, 17), by=BY, reason="minutes")
    state(archive, "J", ["warranty_start=2019-06-01"], by=BY)
    found = open_link(archive, LABEL, job="J")
    assert found.accepted is not None and found.accepted["record_id"] == early
    assert found.current is not None and found.current["record_id"] == late


def test_a_person_names_the_accepted_record_and_the_last_word_holds(archive: Archive) -> None:
    first = add_test(archive, "J", "2019-05-16T10:00", shift=0.0)
    second = add_test(archive, "J", "2019-05-20T10:00", shift=0.4)
    accept_records(archive, [first], by=BY, reason="the one on the certificate")
    assert open_link(archive, LABEL, job="J").accepted["record_id"] == first  # type: ignore[index]
    accept_records(archive, [second], by=BY, reason="no, the other")
    assert open_link(archive, LABEL, job="J").accepted["record_id"] == second  # type: ignore[index]


def test_bad_acceptances_write_nothing(archive: Archive) -> None:
    record = add_test(archive, "J", "2019-05-16T10:00", shift=0.0)
    size = archive.head().size
    with pytest.raises(Trouble, match="by that day"):
        accept_job(archive, "J", date(2019, 5, 15), by=BY, reason="x")
    with pytest.raises(Trouble, match="no test of this job"):
        accept_job(archive, "K", date(2019, 5, 15), by=BY, reason="x")
    with pytest.raises(Trouble, match="no record"):
        accept_records(archive, ["re-nope"], by=BY, reason="x")
    assert archive.head().size == size
    withdraw(archive, records=[record], by=BY, reason="wrong room")
    with pytest.raises(Trouble, match="cannot be accepted"):
        accept_records(archive, [record], by=BY, reason="x")


def test_the_state_of_a_day_by_what_had_been_tested(archive: Archive, three: dict[str, str]) -> None:
    settle(archive, Filters(link=LABEL), same=True, by=BY, reason="one link")
    then = PastArchive(archive, date(2010, 1, 1), known=False)
    found = open_link(then, LABEL)
    assert found.current is not None and found.current["record_id"] == three["2007"]
    assert len(found.rows) == 2
    assert open_link(archive, LABEL).current["record_id"] == three["2016"]  # type: ignore[index]
    with pytest.raises(Trouble, match="past"):
        accept_job(then, "GRANARY-2005", date(2005, 6, 1), by=BY, reason="x")


def test_the_state_of_a_day_by_what_the_ledger_held(archive: Archive, three: dict[str, str]) -> None:
    now = PastArchive(archive, date.today(), known=True)
    assert now.head() == archive.head()
    assert [tuple(r) for r in now.db.execute("SELECT * FROM records")] == [
        tuple(r) for r in archive.db.execute("SELECT * FROM records")
    ]
    with pytest.raises(Trouble, match="no entry"):
        PastArchive(archive, date(2010, 1, 1), known=True).catch_up()


def test_floors_of_one_label_are_two_links(archive: Archive) -> None:
    from archive.tables import with_id

    for floor, source in (("1", "b" * 64), ("2", "c" * 64)):
        place = with_id("places", {"site": SITE, "floor": floor})
        made = rows("A-101", source=source, time=f"2019-05-1{floor}T10:00", shift=0.4 * int(floor))
        made["places"] = [place]
        made["records"][0]["local_place_id"] = place["place_id"]
        deposit(archive, batch(made), job="J", site=SITE)
    links = {r[0] for r in archive.db.execute("SELECT link FROM records WHERE current")}
    assert len(links) == 2
    with pytest.raises(Trouble, match="floor 2"):
        open_link(archive, "A-101")


def test_progress_says_which_links_were_tested_after_the_day_and_which_are_accepted_by_an_older_test(
    archive: Archive,
) -> None:
    def of(label: str, time: str, shift: float) -> Any:
        return rows(label, time=time, shift=shift, source=f"{label}{time[:10]}".replace("-", "").lower().ljust(64, "0"))

    deposit(
        archive, batch(of("Q-1", "2005-05-01T10:00", 0.0), of("Q-1", "2005-07-01T10:00", 0.3)), job="QUARRY", site=SITE
    )
    deposit(archive, batch(of("Q-2", "2005-07-02T10:00", 0.6)), job="QUARRY", site=SITE)
    assert progress(archive, "QUARRY").notes == []
    accept_job(archive, "QUARRY", date(2005, 6, 1), by=BY, reason="minutes")
    (note,) = progress(archive, "QUARRY").notes
    assert note == (
        "counted by the accepted record of each link; the current one is another for 1: Q-1; "
        "1 has none, being tested only after the day of acceptance: Q-2"
    )
    assert progress(archive, "QUARRY", role="current").notes == []
