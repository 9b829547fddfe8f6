"""The invented backbone from four exports and its traces to claim files: what was planted is found, and named."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from typing import Any

import pytest

from archive import grading, store
from archive.answers.book.gather import gather as gather_book
from archive.answers.book.job_sections import schedule
from archive.answers.claim.compose import compose
from archive.answers.claim.gather import gather
from archive.answers.count_text import beside
from archive.answers.documents import TableBlock, html
from archive.answers.intake import Choices, ingest
from archive.answers.progress import progress
from archive.answers.rates.rates import rates
from archive.answers.rates.source import Choice
from archive.answers.wording import ENGLISH
from archive.demo.backbone import job as backbone
from archive.demo.exports import BACKBONE_MAPPINGS
from archive.store import Archive
from archive.store.deposits import DepositFacts
from archive.store.events.accept import accept_job
from archive.validation import check

MAPPINGS = [Path(backbone.__file__).parents[1] / name for name in BACKBONE_MAPPINGS]


@pytest.fixture(scope="module")
def handed_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("backbone")
    for name, content in backbone.files():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


@pytest.fixture
def archive(handed_in: Path, tmp_path: Path) -> Archive:
    made = store.create(tmp_path / "archive")
    facts = DepositFacts(job=backbone.JOB, site=backbone.SITE, zone=backbone.ZONE, by="H. Brume")
    ingest(made, [handed_in / "exports", handed_in / "traces"], facts, Choices(mapping=MAPPINGS))
    return made


def page(archive: Archive, label: str) -> str:
    facts, _ = gather(archive, label, job=backbone.JOB)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html(compose(facts))))


def test_every_planted_fault_is_found_and_nothing_else_fails(archive: Archive) -> None:
    found = progress(archive, backbone.JOB)
    assert found.counts.of("tested") and len(found.counts.of("tested")) == 12
    assert set(found.counts.of("failing")) == {backbone.DIRTY, backbone.CROSSED}
    assert set(found.counts.of("later_lesser_fails")) == {backbone.DIRTY, backbone.BENT}
    assert found.counts.of("not_graded") == [backbone.DRIFTED]


def test_a_claim_tells_a_bend_from_a_dirty_connector_and_says_what_it_cannot_tell(archive: Archive) -> None:
    bent, dirty = page(archive, backbone.BENT), page(archive, backbone.DIRTY)
    assert "At 1.9000 km the loss is 0.03 dB at 1310 nm and 1.30 dB at 1625 nm" in bent and "points to a bend" in bent
    assert "points to a connector, dirty, damaged or badly mated" not in bent
    assert "At 0.6000 km a place that reflects with a reflectance of" in dirty
    assert "points to a connector, dirty, damaged or badly mated" in dirty and "points to a bend" not in dirty
    assert "What this cannot tell: dirt from damage" in dirty
    assert "What this cannot tell: a bend of the cable from a fibre pinched" in bent
    for text in (bent, dirty):
        assert "Loss test of" in text and "iso-11801-1/os2/link" in text
        assert "class 1M as stated" in text and "disconnect or switch off the equipment" in text
        assert "gain in appearance only" in text


def test_a_claim_certifies_by_the_loss_test_and_names_the_traces_beside_it(archive: Archive) -> None:
    text = page(archive, backbone.BENT)
    first = text[: text.index("Found now")]
    assert "Instrument: pass; this program: pass." in first
    assert "Optical traces beside this loss test: 4 fail, 2 pass, 0 not graded." in first


def test_a_link_without_traces_is_told_what_would_show_more(archive: Archive) -> None:
    text = page(archive, backbone.CROSSED)
    assert "polarity is wrong: fibre A arrives at A, not at B" in text
    assert "Traces of the fibre" not in text
    assert "10GBASE-SR" in text and "32GFC" in text


def test_a_link_that_fails_for_its_polarity_says_so_and_leads_with_no_margin_that_passes(archive: Archive) -> None:
    text = page(archive, backbone.CROSSED)
    first = text[: text.index("Time line")]
    assert "Fails tia-568.3-d/om4/link: polarity is wrong: fibre A arrives at A, not at B" in first
    assert "Polarity is wrong, as the instrument reported it: it says wrong, where pass is expected." in text
    assert "no fault" not in text and "Expected is what the method duplex says" in text
    assert text.count("this program, with the limits it holds today") == 0, "regrading says the same"
    assert "Polarity is wrong, by the method duplex: the fibre at position A arrives at A, where B is expected." in text
    assert "leading margin" not in first and "1.1 dB" not in first
    row = archive.db.execute(
        "SELECT verdict, leading_margin FROM records WHERE link_label = ?", (backbone.CROSSED,)
    ).fetchone()
    assert tuple(row) == ("fail", None)


def test_the_book_of_a_fiber_job_has_columns_of_losses_by_wavelength_and_none_of_copper(archive: Archive) -> None:
    facts = gather_book(archive, backbone.JOB)
    tables = [b for s in schedule(facts, ENGLISH) for b in s.blocks if isinstance(b, TableBlock)]
    assert tables
    head = [cell.replace("\u00a0", " ") for cell in tables[0].head]
    losses = [f"optical loss, dB, {nm} nm" for nm in (850, 1300, 1310, 1550)]
    assert head == ["link", "tested", "verdict", "length, m", *losses, "optical loss"]
    (bent,) = (row for t in tables for row in t.rows if row[0] == backbone.BENT)
    assert bent[4:] == ["", "", "1.65", "1.76", "1.67"]


def test_page_one_tells_numbers_that_may_be_those_of_another_fiber_and_no_trace_is_an_only_test(
    archive: Archive,
) -> None:
    text = page(archive, backbone.TWICE)
    assert "losses of fibre A, number for number" in text[: text.index("Time line")] or "equal" in text
    first = text[: text.index("Time line")]
    assert "Finding:" in first and "fibre B has the 4 losses of fibre A" in first
    bent = page(archive, backbone.BENT)
    assert bent.count("the only trace at its wavelength and from its end") == 6 and "the only test" not in bent


def test_no_application_passes_on_a_record_whose_reference_was_lost(archive: Archive) -> None:
    text = page(archive, backbone.DRIFTED)
    table = text[text.index("Applications The losses") :]
    table = table[: table.index("Every test of this link")]
    assert "pass" not in table[: table.index("What the record cannot show")] and "10GBASE-LR" in table


def test_findings_name_the_reference_and_the_equal_numbers(handed_in: Path) -> None:
    from archive import formats

    found: set[tuple[str, Any]] = set()
    for batch in formats.read_all([handed_in / "exports"], mapping=MAPPINGS):
        if len(batch):
            rows = check(grading.grade(batch)).to_pylist()
            found |= {(row["rule"], row["link_label"]) for row in rows if row["status"] == "raised"}
    assert ("optical-fibers-with-equal-numbers", backbone.TWICE) in found
    assert ("polarity-wrong", backbone.CROSSED) in found
    assert {("optical-loss-too-good", backbone.DRIFTED), ("optical-loss-below-zero", backbone.DRIFTED)} & found
    assert {label for rule, label in found if rule == "macrobend-suspected"} == {backbone.BENT}
    assert {label for rule, label in found if rule == "polarity-wrong"} == {backbone.CROSSED}


def test_a_reference_that_drifted_is_found_against_the_traces_of_the_link(handed_in: Path, archive: Archive) -> None:
    """A loss test below its own traces had lost its reference; the other links agree with theirs."""
    from archive import formats
    from archive.validation import check_job

    batches = [
        grading.grade(b) for b in formats.read_all([handed_in / "exports", handed_in / "traces"], mapping=MAPPINGS)
    ]
    said = [r for r in check_job(batches).to_pylist() if r["status"] == "raised"]
    hits = [r for r in said if r["rule"] == "traces-contradict-loss-test"]
    assert {r["link_label"] for r in hits} == {backbone.DRIFTED}
    assert "loss at 1310 nm" in hits[0]["message"] and "by its traces" in hits[0]["message"]
    text = page(archive, backbone.DRIFTED)
    assert re.search(r"The loss at 1310 nm is .* dB by the loss test and .* dB by the traces: both cannot be", text)
    assert "both cannot be right for one link" in text[: text.index("Time line")], "on the first page"
    assert "both cannot be right for one link" not in page(archive, backbone.BENT)


def test_a_link_with_traces_alone_is_said_to_stand_on_partial_evidence(handed_in: Path, tmp_path: Path) -> None:
    """In progress, history and claim: a trace certifies no link."""
    made = store.create(tmp_path / "archive")
    ingest(made, [handed_in / "traces"], DepositFacts(job=backbone.JOB, site=backbone.SITE, zone=backbone.ZONE))
    accept_job(made, backbone.JOB, datetime.date(2021, 4, 1), by=None, reason="minutes")
    found = progress(made, backbone.JOB).counts
    assert found.of("by_traces") == found.of("tested") and len(found.of("tested")) == 4
    assert any("partial evidence" in text for text in beside(found))
    text = page(made, backbone.DIRTY)
    assert "accepted on partial evidence" in text
    assert "Partial evidence: optical traces alone, no loss test." in text[: text.index("Time line")]


def test_rates_by_class_and_parameter_take_the_instruments_word_on_polarity(archive: Archive) -> None:
    """Of the duplex links three name their polarity, two as right and one as wrong, and their end faces, all clean;
    every loss of OM4 meets its limit."""
    made = rates(archive, ["class", "parameter"])
    found = {(row["category"], row["parameter"]): row for row in made.rows}
    told = {key: tuple(row[k] for k in ("links", "passed", "by_instrument")) for key, row in found.items()}
    assert told["om4", "polarity"] == (3, 2, 3) and told["om4", "end_face"] == (3, 3, 3)
    assert told["om4", "optical_loss"] == (4, 4, 0) and told["os2", "optical_loss"] == (7, 6, 0)
    assert told["os2", "optical_loss_1310nm"] == (8, 7, 0) and told["os2", "optical_loss_1550nm"] == (7, 6, 0)
    assert told["om4", "optical_loss_850nm"] == told["om4", "optical_loss_1300nm"] == (4, 4, 0)
    ours = rates(archive, ["class", "parameter"], Choice(verdicts="program"))
    assert not any(row["links"] for row in ours.rows if row["parameter"] == "polarity")
