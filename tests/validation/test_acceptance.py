"""The acceptance report: what it states, and that it stays one page however much is open."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from typing import Any

import pytest

from archive.answers.acceptance import AcceptanceFacts, facts, html, pages, pdf
from archive.answers.wording import Wording
from archive.grading import grade
from archive.tables import Batch
from archive.validation.check import run
from archive.validation.job import JobCheck
from archive.validation.report import Collected
from archive.vocabulary.link_counts import LinkCounts, LinkResult
from tests.validation import examples, planted

TODAY = dt.date(2026, 11, 25)
ALONE = {"evidence": "verdict-only"}
"""Set in a record: only a verdict came along, so the instrument's counts."""


def _facts(batch: Batch, *scheduled: str, **more: Any) -> AcceptanceFacts:
    rows = [{"schedule_id": x, "link_label": x, **more} for x in scheduled]
    schedule = Batch.from_rows({"schedule": rows})["schedule"] if rows else None
    batch = grade(batch) if len(batch) else batch
    collected = Collected()
    outcome = run(batch, today=TODAY)
    collected.add_batch(batch, outcome.findings)
    job = JobCheck(schedule=schedule, today=TODAY)
    job.add(batch)
    whole = job.finish(lambda _: [batch])
    collected.add(whole.findings, whole.faults, whole.places)
    return facts(whole.summary, collected, made_on=TODAY, schedule="links.csv" if rows else "")


def _text(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_a_complete_job() -> None:
    said = _facts(examples.batch({}), "2-TR2-A117")
    assert said.complete
    text = _text(html(said))
    assert "Complete. 1 of 1 scheduled links have a result; passing: 1. No finding of severity error." in text
    assert "Not complete" not in text


@pytest.mark.parametrize(
    ("steps", "scheduled", "says"),
    [
        ([], ("2-TR2-A117", "2-TR2-A118"), "Missing: 2-TR2-A118"),
        ([{"table": "records", "set": {"reported_verdict": "fail"}}], ("2-TR2-A117",), "verdict contradicts ours 1"),
        ([{"table": "records", "set": {**ALONE, "reported_verdict": "fail"}}], ("2-TR2-A117",), "Failing: 2-TR2-A117"),
        (
            [{"table": "records", "set": {**ALONE, "reported_verdict": ""}}],
            ("2-TR2-A117",),
            "Without a verdict: 2-TR2-A117",
        ),
        ([{"table": "records", "set": {"limit_found": ""}}], ("2-TR2-A117",), "limit missing 1"),
        (
            [{"table": "set_aside", "add": {"source_id": "s1", "path": "a.csv", "reason": "torn"}}],
            ("2-TR2-A117",),
            "Parts of the input that could not be read and were set aside: 1",
        ),
    ],
)
def test_what_keeps_a_job_open(steps: list[dict[str, Any]], scheduled: tuple[str, ...], says: str) -> None:
    said = _facts(examples.batch({"do": steps}), *scheduled)
    assert not said.complete
    text = _text(html(said))
    assert "Not complete." in text
    assert says in text


def test_copied_curves_and_lapsed_units_are_named_in_words_not_by_a_rule_alone() -> None:
    steps = [
        {"record": {"label": "2-TR2-A118", "seed": 3}},
        {"table": "instruments", "set": {"calibration_due": "2019-01-01"}},
    ]
    said = _facts(examples.batch({"do": steps}))
    assert said.lapsed == ("2-TR2-A117", "2-TR2-A118")
    text = _text(html(said))
    assert "Tested with a unit whose calibration had run out (2): 2-TR2-A117, 2-TR2-A118." in text
    counts = LinkCounts([LinkResult("A", "passing"), LinkResult("B", "passing", copy_of="A")], False)
    with_copy = replace(said, summary=replace(said.summary, counts=counts))
    said_of_copies = "Curves of another link, number for number: B (of A)."
    text = _text(html(with_copy))
    assert text.count(said_of_copies) == 1 and text.index("Open") < text.index(said_of_copies)
    german = _text(html(with_copy, Wording("de")))
    assert "calibration" not in german and "had run out" not in german


def test_without_a_schedule_nothing_is_said_to_be_missing() -> None:
    said = _facts(examples.batch({}))
    assert said.complete
    text = _text(html(said))
    assert "Links with a result: 1; passing: 1. No finding of severity error. No schedule was given" in text
    assert "Complete." not in text


def test_passing_links_beyond_the_schedule_do_not_count_for_it() -> None:
    said = _facts(examples.batch({"do": [{"record": {"label": "2-TR2-Z001", "seed": 2}}]}), "2-TR2-A117", "2-TR2-A118")
    assert "Not complete. 1 of 2 scheduled links have a result; passing: 1." in _text(html(said))


def test_the_pages_stay_one() -> None:
    """Four hundred missing links and a record with many faults: one page, and the cuts are told."""
    steps = [
        {"table": "records", "set": {"limit_found": "", "operator_key": "", "zone_basis": "", "cable_type": ""}},
        {
            "table": "instruments",
            "set": {"serial": "", "model": "", "software": "", "adapter": "", "calibrated_on": ""},
        },
        {"table": "wiremap", "remove": True},
        {"table": "readings", "where": {"quantity": "propagation_delay"}, "scale": {"value": 3.0}},
    ]
    said = _facts(examples.batch({"do": steps}), *(f"2-TR2-B{n:03d}" for n in range(400)), due_on="2025-01-01")
    page = html(said)
    assert "386 more" in page
    assert len(said.found) > 12
    assert re.findall(rb"/Type\s*/Pages\s*/Count (\d+)", pdf(said)) == [b"1"]


def test_a_job_that_breaks_every_rule_stays_one_page_too() -> None:
    rows = {f"2-TR2-A{n}": None for n in range(117, 140)}
    said = _facts(planted.job(), *rows, due_on="2025-03-03")
    assert len(said.found) > 30
    assert pages(pdf(said)) == 1


def test_texts_cannot_act_as_markup() -> None:
    label = "<b>1A</b> & #strong[2]"
    said = _facts(examples.batch({"do": [{"table": "records", "set": {"link_label": label}}]}), "2-TR2-A117")
    page = html(said)
    assert "<b>1A</b>" not in page
    assert "&lt;b&gt;1A&lt;/b&gt; &amp; #strong[2]" in page
    assert pdf(said).startswith(b"%PDF-")


def test_the_same_job_gives_the_same_bytes() -> None:
    said = _facts(examples.batch({}), "2-TR2-A117")
    assert pdf(said) == pdf(said)
    assert html(said) == html(said)
