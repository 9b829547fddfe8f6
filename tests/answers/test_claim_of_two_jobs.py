"""A link that two jobs accepted: whose claim it is, and what the page says of the other."""

from __future__ import annotations

import datetime as dt

import pytest
from answers_making import FLIPPED, JOB, SITE, STANDS, archive_of_troubles

from archive import formats, store
from archive.answers import jobs
from archive.answers.claim.causes import causes
from archive.answers.claim.gather import link_facts
from archive.answers.claim.sections import history
from archive.answers.claim.summary import summary
from archive.answers.intake import Choices, ingest
from archive.answers.wording import Wording
from archive.demo import job as demo
from archive.store.deposits import DepositFacts

LATER = "QUAY-2025-03"


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """The archive of troubles, in which the first link is tested again by a later job and fails."""
    folder = tmp_path_factory.mktemp("two-jobs")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(folder / "cache"))
        opened = archive_of_troubles(folder / "made")
        late = demo.links([14], [STANDS], dt.datetime(2025, 3, 4, 9, 5), demo.DAY_CREW, failing={STANDS: False})
        formats.write([late], folder / "late.xml", "xml")
        facts = DepositFacts(job=LATER, site=SITE, zone="Europe/Lisbon", by="H. Brume")
        ingest(opened, [folder / "late.xml"], facts, Choices(new=True))
        formats.write(
            [demo.links([1], [FLIPPED], dt.datetime(2026, 11, 4, 9, 5), demo.DAY_CREW, failing={FLIPPED: True})],
            folder / "fresh.xml",
            "xml",
        )
    return folder


@pytest.fixture
def archive(place, monkeypatch):
    monkeypatch.setenv("MUNIMENT_CACHE", str(place / "cache"))
    return store.open(place / "made" / "archive")


def certified(facts):
    return summary(facts, Wording()).rows[2][1]


def test_the_claim_is_of_the_job_whose_warranty_covers_the_day(archive):
    facts = link_facts(archive, STANDS, on=dt.date(2026, 11, 10))
    assert facts.job["job_id"] == JOB
    assert facts.standing.record["tested_local"].startswith("2024-06-12")
    assert f"Also accepted in job {LATER}, tested 4 March 2025: fail; --job {LATER}" in certified(facts)


def test_where_no_warranty_covers_the_day_the_latest_job_is_taken_and_the_other_named(archive):
    facts = link_facts(archive, STANDS, on=dt.date(2060, 1, 1))
    assert facts.job["job_id"] == LATER
    assert f"Also accepted in job {JOB}, tested 12 June 2024: pass; --job {JOB}" in certified(facts)
    listed = history(facts, Wording()).blocks[0].rows
    assert any(row[-1].startswith(f"accepted in job {JOB}: the latest complete test") for row in listed)


def test_a_job_that_is_named_is_taken(archive):
    assert link_facts(archive, STANDS, job=LATER, on=dt.date(2026, 11, 10)).job["job_id"] == LATER


def test_what_failed_as_much_when_it_was_certified_is_no_change(place, archive):
    facts = link_facts(archive, FLIPPED, retest=place / "fresh.xml")
    made = causes(facts.standing, facts.retest, Wording())
    assert [s.title for s in made] == ["What failed already when it was certified"]
    assert made[0].blocks[0].text.endswith("no change since certification: NEXT.")


def test_two_warranties_that_cover_the_day_leave_the_latest_job(archive, place):
    jobs.state(archive, LATER, ["warranty_start=2025-04-01", "warranty_end=2050-03-31"], by="H. Brume")
    try:
        assert link_facts(archive, STANDS, on=dt.date(2026, 11, 10)).job["job_id"] == LATER
    finally:
        jobs.state(archive, LATER, ["warranty_start=2025-04-01", "warranty_end=2025-04-02"], by="H. Brume")
