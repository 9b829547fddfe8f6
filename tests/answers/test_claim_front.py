"""Page 1: the facts of the claim as stated, whether in time, what weakens the fresh test, when and for which day."""

import datetime as dt
import shutil
import subprocess
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from answers_making import CONFLICT, STANDS, from_elsewhere
from test_claim import MADE, ON, gaps
from test_claim_fresh import dented

from archive import formats, store
from archive.answers.claim.claim_facts import NEWEST, StatedVerdict
from archive.answers.claim.claim_statement import ClaimStatement, WarrantyTerms, load
from archive.answers.claim.compose import compose
from archive.answers.claim.fresh import fresh
from archive.answers.claim.gather import gather
from archive.answers.claim.timing import in_time
from archive.answers.claim.verdicts import opinions
from archive.answers.documents import FactsBlock, Para, TableBlock, VerdictCards, pdf
from archive.answers.wording import ENGLISH
from archive.errors import Trouble
from archive.store import clock
from archive.tables import Batch

TOML = """
number = "C-2029-117"
claimant = "Lantern Quay Trust"
symptom = "The link drops to 1 Gbit/s in the afternoon"
application = "10gbase-t"
failed_on = 2029-04-20
notified_on = 2029-05-03
recipient = "Claims desk"
maker = "R. Ostrander"

[warranty]
number = "W-2024-0031"
notice_within_days = 10

[[components]]
part = "cable"
lot = "drum 118"
"""
DOUBTS = "What makes the fresh test doubtful"


@pytest.fixture(scope="module")
def facts(troubles_place, tmp_path_factory):
    """Facts of the link that stands, with what its claim states."""
    place = tmp_path_factory.mktemp("front")
    (place / "claim.toml").write_text(TOML, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(place / "cache"))
        patch.setattr(clock, "now", lambda: MADE)
        found, _ = gather(store.open(troubles_place), STANDS, on=ON)
    return replace(found, stated=load(place / "claim.toml"))


def lines(doc):
    """Names and values of the first page."""
    return dict(row for b in doc.sections[0].blocks if isinstance(b, FactsBlock) for row in b.rows)


def with_fresh(facts, path, **changed):
    """Facts with a fresh test: the certified record with one curve lower, and columns of its record changed."""
    batch = dented(facts.standing.batch, STANDS, 1.0)
    rows = [{**r, **changed} for r in batch["records"].to_pylist()]
    formats.write([batch.replace(records=Batch.from_rows({"records": rows})["records"])], path, "xml")
    return replace(facts, retest=fresh(path, STANDS, facts.standing))


def test_the_first_page_says_what_is_claimed_and_whether_in_time(facts):
    told = lines(compose(facts))
    for text in ("drops to 1 Gbit/s", "10gbase-t", "C-2029-117", "Lantern Quay Trust"):
        assert text in told["Claimed"], text
    assert "W-2024-0031" in told["In time?"] and "from 1 July 2024 until 30 June 2049" in told["In time?"]
    assert "Failure on 20 April 2029 and notice on 3 May 2029: within the warranty." in told["In time?"]
    assert "Notice came 13 days after the failure; the terms as stated allow 10 days." in told["In time?"]
    assert told["made by"] == "R. Ostrander" and told["made for"] == "Claims desk"
    assert "No fresh test" in told["Found now"]


def test_the_first_page_says_since_when_the_record_is_proven(facts):
    told = lines(compose(facts))["Proven since"]
    assert ENGLISH.day(facts.proven.archived) in told and "after the test" in told
    assert "Not signed." in told and "No time stamp covers it." in told
    assert "Of the time before that day the record itself is the only evidence." in told


def test_page_one_says_what_no_record_can_show_and_what_was_not_measured(facts):
    told = lines(compose(facts))["Not shown"]
    assert "whether the link measured was the link named" in told.lower() and "how the link is today" in told
    assert "Not measured, as far as the record shows: alien crosstalk" in told


def test_the_day_looked_at_is_never_printed_as_the_day_of_making(facts):
    told = lines(compose(replace(facts, on="2010-01-01")))
    assert told["looked at as of"] == "1 January 2010"
    assert told["made"].startswith("16 January 2030, 09:30 UTC")


def test_another_claim_has_another_number(facts):
    assert facts.number == replace(facts).number
    assert (
        len({facts.number, replace(facts, stated=ClaimStatement()).number, replace(facts, on="2031-01-01").number}) == 3
    )


def test_without_facts_the_page_says_so_and_invents_none(facts):
    told = lines(compose(replace(facts, stated=ClaimStatement())))
    assert told["Claimed"] == "No facts of a claim were given for this file."
    assert "Neither a day of failure nor a day of notice is stated." in told["In time?"]
    assert told["made by"] == told["made for"] == "not stated"


@pytest.mark.parametrize(
    ("start", "end", "day", "said"),
    [
        ("2024-07-01", "2049-06-30", dt.date(2024, 6, 30), "1 day before the warranty begins"),
        ("2024-07-01", "2049-06-30", dt.date(2049, 6, 30), "within the warranty"),
        ("2024-07-01", "2049-06-30", dt.date(2049, 7, 2), "2 days after the warranty ended"),
        ("2024-07-01", None, dt.date(2040, 1, 1), "its end is not stated"),
        (None, None, dt.date(2040, 1, 1), "nobody can tell"),
    ],
)
def test_a_day_is_told_against_the_warranty(facts, start, end, day, said):
    job = {**facts.job, "warranty_start": start, "warranty_end": end}
    told = " ".join(in_time(replace(facts, job=job, stated=ClaimStatement(failed_on=day)), ENGLISH))
    assert said in told and ENGLISH.day(day.isoformat()) in told


def test_days_of_the_warranty_that_only_the_claim_states_are_marked_and_others_are_told(facts):
    stated = ClaimStatement(warranty=WarrantyTerms(first_day=dt.date(2024, 7, 1), last_day=dt.date(2030, 1, 1)))
    other = compose(replace(facts, stated=stated))
    assert any("another end of the warranty, 1 January 2030" in g for g in gaps(other))
    alone = replace(facts, job={**facts.job, "warranty_start": None, "warranty_end": None}, stated=stated)
    assert "as the claim states it" in lines(compose(alone))["In time?"]


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("numbr = 1", "numbr"),
        ("failed_on = 2029-05-03\nnotified_on = 2029-05-01", "notified_on"),
        ("[warranty]\nfirst_day = 2029-05-03\nlast_day = 2028-05-03", "last_day"),
        ("number = ", "no TOML"),
    ],
)
def test_facts_that_nothing_reads_are_refused_by_name(tmp_path, text, named):
    (tmp_path / "claim.toml").write_text(text, encoding="utf-8")
    with pytest.raises(Trouble, match=named):
        load(tmp_path / "claim.toml")


def test_a_fresh_test_of_the_same_link_has_few_doubts(facts, tmp_path):
    """The certified curves but one: what was changed by a decibel everywhere is no copy, the others are."""
    told = gaps(compose(with_fresh(facts, tmp_path / "fresh.xml")), DOUBTS)
    assert any("number for number: 19 of 20" in t for t in told)
    assert not any("another" in t for t in told)


def test_another_label_configuration_cable_and_date_are_doubts(facts, tmp_path):
    made = with_fresh(
        facts,
        tmp_path / "fresh.xml",
        link_label="2B-Z99",
        configuration="channel",
        cable_type="cat5e/u-utp",
        tested_local="2020-05-02T09:30",
    )
    told = " ".join(gaps(compose(made), DOUBTS))
    for text in (
        "another label: 2B-Z99",
        "another configuration: channel",
        "another cable: cat5e/u-utp",
        "not later than",
    ):
        assert text in told, text


def test_a_lapsed_calibration_of_the_fresh_test_is_a_doubt(facts, tmp_path):
    # The units of the job ran out of calibration in November 2024; the fresh test is of 2026.
    told = gaps(compose(with_fresh(facts, tmp_path / "fresh.xml")), DOUBTS)
    assert any(t.startswith("Calibration expired") for t in told)


def test_another_length_is_a_doubt(facts, tmp_path):
    longer = from_elsewhere(dented(facts.standing.batch, STANDS, 1.0), "c")
    rows = longer["readings"].to_pylist()
    for r in rows:
        r["value"] = r["value"] + 9.0 if r["quantity"] == "length" else r["value"]
    formats.write([longer.replace(readings=Batch.from_rows({"readings": rows})["readings"])], tmp_path / "f.xml", "xml")
    told = gaps(compose(replace(facts, retest=fresh(tmp_path / "f.xml", STANDS, facts.standing))), DOUBTS)
    assert any("longest pair" in t for t in told)


def test_only_verdicts_that_differ_are_called_a_disagreement(facts):
    s = facts.standing
    first = s.stated[0]
    verdict = {**first.verdict, "agrees": False}
    same = replace(s, stated=[replace(first, verdict=verdict), *s.stated[1:]])
    told = " ".join(gaps(compose(replace(facts, standing=same))))
    assert "come to the same verdict" in told and "disagree" not in told
    other = replace(s, stated=[replace(first, verdict={**verdict, "verdict": "fail"})])
    assert "disagree" in " ".join(gaps(compose(replace(facts, standing=other))))


def test_the_newest_edition_is_todays_even_beside_one_that_has_lines(facts):
    v = {**facts.standing.verdict(), "limit_id": "tia-568.2-d/cat5e/channel"}
    stated = [*facts.standing.stated, StatedVerdict(NEWEST, "", "", v, [])]
    older = replace(facts, standing=replace(facts.standing, stated=stated))
    cards = {c.who: c.lines[0] for c in opinions(replace(older, newest_edition="tia-568.2-e/x"), ENGLISH).items}
    assert cards["This program, newest edition it holds"] == "tia-568.2-d/cat5e/channel"
    assert cards["This program, today's edition"] == "tia-568.2-e/x"
    alone = {c.who: c.lines[0] for c in opinions(replace(older, newest_edition=""), ENGLISH).items}
    assert alone["This program, today's edition"] == "tia-568.2-d/cat5e/channel"


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_the_first_page_of_the_pdf_holds_all_of_it(facts, tmp_path):
    (tmp_path / "claim.pdf").write_bytes(pdf(compose(with_fresh(facts, tmp_path / "fresh.xml"))))
    page = subprocess.run(
        ["pdftotext", "-layout", "-l", "1", tmp_path / "claim.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    flat = " ".join(page.split())
    for text in (
        *(DOUBTS, "Before you rely on this record", "drops to 1 Gbit/s", "within the warranty", "Not signed."),
        *(facts.number, "R. Ostrander", "Claims desk", "Europe/Lisbon", "signature", "16 January 2030, 09:30 UTC"),
    ):
        assert text in flat, text


def part(doc, title):
    """The section of a title."""
    return next(s for s in doc.sections if s.title == title)


def test_the_time_line_has_every_day_that_is_known_and_the_warranty_as_a_bar(facts):
    (picture,) = part(compose(facts), "Time line").blocks
    assert "warranty, 1 July 2024 to 30 June 2049" in picture.svg
    for text in ("20 April 2029: failure", "3 May 2029: notice", "15 January 2030: looked at", "the accepted record"):
        assert text in picture.svg and text in picture.alt, text
    assert ENGLISH.day(facts.proven.archived[:10]) + ": archived" in picture.alt
    ElementTree.fromstring(picture.svg)


def test_what_is_stated_is_printed_and_what_is_not_stands_in_one_short_list(facts):
    blocks = part(compose(facts), "What is stated, and what is not").blocks
    assert dict(next(b for b in blocks if isinstance(b, FactsBlock)).rows) == {"number of the warranty": "W-2024-0031"}
    (table,) = [b for b in blocks if isinstance(b, TableBlock)]
    assert table.rows == [["cable", "", "drum 118", ""]]
    texts = [b.text for b in blocks if isinstance(b, Para)]
    missing = next(t for t in texts if t.startswith("Not stated: "))
    assert "kind of warranty" in missing and "contractor" in missing and "components" not in missing
    unmeasured = next(t for t in texts if t.startswith("Not measured"))
    assert "alien crosstalk" in unmeasured and "TCL" in unmeasured


def test_applications_that_the_record_supports_are_listed(facts):
    table = next(b for b in part(compose(facts), "Applications").blocks if isinstance(b, TableBlock))
    told = {r[0]: r[1] for r in table.rows}
    assert told["1000BASE-T"].startswith("pass") and len(told) > 3


def test_records_in_conflict_stand_side_by_side_with_how_much_they_differ(troubles):
    doc = compose(gather(troubles, CONFLICT, on=ON)[0])
    told = lines(doc)["Certified"]
    assert "A and B differ: insertion loss by up to 0.5 dB." in told  # planted
    cards = next(b for b in doc.sections[0].blocks if isinstance(b, VerdictCards)).items
    assert [c.who.split(",")[0] for c in cards][:2] == ["Record A", "Record B"]
    assert {"All verdicts on A", "All verdicts on B", "Both tests in one picture"} <= {s.title for s in doc.sections}


def test_a_change_is_said_to_mean_what_the_trade_knows_and_blames_nobody(facts, tmp_path):
    batch = dented(facts.standing.batch, STANDS, 30.0)
    formats.write([batch], tmp_path / "fresh.xml", "xml")
    made = compose(replace(facts, retest=fresh(tmp_path / "fresh.xml", STANDS, facts.standing)))
    intro, table = part(made, "What the change may mean").blocks
    assert "common practice, no source" in intro.text
    assert next(r for r in table.rows if r[0].startswith("NEXT"))[0] == "NEXT, local end"
    assert not any(r[0].startswith("insertion loss") for r in table.rows)
