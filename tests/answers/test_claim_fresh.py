"""The fresh test beside the certified one: both verdicts, and exactly what was changed between the two."""

import datetime as dt
import json
from dataclasses import replace

import numpy as np
import pytest
from answers_making import BY, EXPIRED, FLIPPED, JOB, POINTS, STANDS, day, from_elsewhere
from test_claim import ON, gaps, section, texts

from archive import formats, store
from archive.answers.claim.claim_statement import ClaimStatement
from archive.answers.claim.compare import differences
from archive.answers.claim.compose import compose
from archive.answers.claim.fresh import deposit, files
from archive.answers.claim.gather import gather
from archive.answers.documents import Figure, VerdictCards
from archive.answers.wording import ENGLISH
from archive.demo import job as demo
from archive.errors import Trouble
from archive.tables import Batch


def dented(batch, label, by_db, pair="1-2/3-6", end="local"):
    """One record with one NEXT curve lowered."""
    rows = batch["sweeps"].to_pylist()
    for row in rows:
        if (row["parameter"], row["pairing"], row["end"]) == ("next", pair, end):
            row["values"] = [v - by_db for v in row["values"]]
    records = batch["records"].to_pylist()
    records[0] |= {"link_label": label, "tested_local": "2026-05-02T09:30", "tested_found": "02.05.2026 09:30"}
    made = Batch.from_rows({"sweeps": rows, "records": records})
    return from_elsewhere(batch.replace(sweeps=made["sweeps"], records=made["records"]), "c")


@pytest.fixture
def fresh_file(troubles, tmp_path):
    """The certified record of the link with one curve 30 dB lower, as an export of 2026."""
    facts, _ = gather(troubles, STANDS, on=ON)
    formats.write([dented(facts.standing.batch, STANDS, 30.0)], tmp_path / "fresh.xml", "xml")
    return tmp_path / "fresh.xml"


def test_the_difference_is_the_one_that_was_made(troubles, fresh_file):
    facts, _ = gather(troubles, STANDS, on=ON, retest=fresh_file)
    moved = differences(facts.standing, facts.retest)
    by_label = {c.label: c.y for c in moved["next"]["local"]}
    assert np.allclose(by_label["1-2/3-6"], -30)
    assert all(np.allclose(y, 0) for label, y in by_label.items() if label != "1-2/3-6")
    assert all(np.allclose(c.y, 0) for c in moved["return_loss"]["remote"])


def test_both_verdicts_stand_on_the_first_page_and_what_changed_is_named(troubles, fresh_file):
    facts, _ = gather(troubles, STANDS, on=ON, retest=fresh_file)
    doc = compose(facts)
    page = next(b for b in doc.sections[0].blocks if isinstance(b, VerdictCards))
    fresh = next(o for o in page.items if o.who.startswith("Fresh test, 2 May 2026"))
    assert fresh.word == "fail" and page.items[1].word == "pass"
    margins = section(doc, "Fresh test beside the certified one").blocks[2]
    row = next(r for r in margins.rows if r[0].startswith("NEXT"))
    assert row[4].startswith("−30.0 dB: 1-2/3-6, local end")
    pictures = section(doc, "Both tests in one picture").blocks
    named = [b.caption.split(":")[0] for b in pictures if isinstance(b, Figure)]
    assert {"Insertion loss", "Return loss", "NEXT", "PS NEXT", "ACR-F"} <= set(named)
    drawn = next(b for b in pictures if b.caption.startswith("NEXT"))
    for text in ("fresh", "certified", "limit", "failing stretch"):
        assert f">{text}</text>" in drawn.svg
    assert "insertion loss, return loss, ACR-F" in pictures[-1].text


def test_the_fresh_test_is_graded_against_the_limits_of_the_certified_one(troubles, fresh_file):
    facts, _ = gather(troubles, STANDS, on=ON, retest=fresh_file)
    assert [s.verdict["limit_id"] for s in facts.retest.stated] == [facts.standing.verdict()["limit_id"]]


def test_it_is_deposited_only_when_asked(troubles_place, tmp_path, fresh_file):
    import shutil

    shutil.copytree(troubles_place, tmp_path / "archive")
    opened = store.open(tmp_path / "archive")
    before = opened.head()
    facts, _ = gather(opened, STANDS, on=ON, retest=fresh_file)
    assert opened.head() == before
    assert deposit(opened, fresh_file, facts.job, by=BY, reason="came with a complaint")
    after, _ = gather(opened, STANDS, on=ON)
    assert after.standing.record["tested_local"] == facts.standing.record["tested_local"]  # the certificate stays
    assert "2026-05-02T09:30" in {t.record["tested_local"] for t in after.tests}
    assert after.standing.verdict()["verdict"] == "pass" and after.job["job_id"] == JOB


def test_a_file_of_many_records_needs_exactly_one_of_the_link(troubles, tmp_path):
    batch = demo.links([20, 21, 22], [STANDS, FLIPPED, FLIPPED], day(20), demo.DAY_CREW)
    formats.write([batch], tmp_path / "many.xml", "xml")
    assert gather(troubles, STANDS, on=ON, retest=tmp_path / "many.xml")[0].retest.record["link_label"] == STANDS
    with pytest.raises(Trouble, match="several records"):
        gather(troubles, FLIPPED, on=ON, retest=tmp_path / "many.xml")


def test_a_file_that_holds_no_test_is_refused_in_one_line(troubles, tmp_path):
    (tmp_path / "letter.txt").write_text("Dear Sir or Madam,\n")
    with pytest.raises(Trouble) as caught:
        gather(troubles, STANDS, on=ON, retest=tmp_path / "letter.txt")
    assert "letter.txt" in str(caught.value) and "\n" not in str(caught.value)


def test_a_certified_record_without_curves_is_compared_by_its_margins(troubles, tmp_path):
    batch = demo.links([5], [POINTS], dt.datetime(2026, 5, 2, 9, 30), demo.DAY_CREW)
    formats.write([batch], tmp_path / "fresh.xml", "xml")
    doc = compose(gather(troubles, POINTS, on=ON, retest=tmp_path / "fresh.xml")[0])
    assert "share no curve" in texts(doc)
    assert any(g.startswith("Partial evidence") for g in gaps(doc))


def doubts(facts):
    """Sentences of page 1 on the fresh test."""
    return gaps(compose(facts), "What makes the fresh test doubtful")


def renamed(batch, when="2026-05-02T09:30"):
    """A record of another link as a fresh test of the link that stands, from another file."""
    records = [{**r, "link_label": STANDS, "tested_local": when} for r in batch["records"].to_pylist()]
    return from_elsewhere(batch.replace(records=Batch.from_rows({"records": records})["records"]), "d")


def test_curves_of_another_link_of_the_archive_are_found(troubles, tmp_path):
    """Only the curves are another link's; label and time are those of a fresh test."""
    other, _ = gather(troubles, EXPIRED, on=ON)
    formats.write([renamed(other.standing.batch)], tmp_path / "fresh.xml", "xml")
    facts, _ = gather(troubles, STANDS, on=ON, retest=tmp_path / "fresh.xml")
    told = [t for t in doubts(facts) if "digit for digit" in t]
    record = other.standing.record
    tested = ENGLISH.day(record["tested_local"])
    named = f"{EXPIRED}'s test of {tested} (record {record['record_id']})"
    assert told == [f"Its curves are digit for digit those of {named}."]


def test_a_record_that_the_archive_holds_is_known_again(troubles, tmp_path):
    other, _ = gather(troubles, EXPIRED, on=ON)
    formats.write([other.standing.batch], tmp_path / "fresh.xml", "xml")
    facts, _ = gather(troubles, STANDS, on=ON, retest=tmp_path / "fresh.xml")
    assert any(t.startswith(f"The archive holds this test already, digit for digit: {EXPIRED}") for t in doubts(facts))


def test_a_fresh_test_before_the_failure_is_said_to_be(troubles, fresh_file):
    facts, _ = gather(troubles, STANDS, on=ON, retest=fresh_file)
    assert not any("digit for digit" in t or "older than the failure" in t for t in doubts(facts))
    late = replace(facts, stated=ClaimStatement(failed_on=dt.date(2026, 5, 3)))
    said = "The fresh test, of 2 May 2026, is older than the failure, stated for 3 May 2026."
    assert said in doubts(late)
    same_day = replace(facts, stated=ClaimStatement(failed_on=dt.date(2026, 5, 2)))
    assert not any("older than the failure" in t for t in doubts(same_day))


def test_the_method_says_which_curves_were_compared_and_no_more(troubles, fresh_file, tmp_path):
    alone, _ = gather(troubles, STANDS, on=ON)
    assert "curves of the record shown, all together, were compared" in texts(compose(alone))
    assert "curves of the fresh test, all together" not in texts(compose(alone))
    both, _ = gather(troubles, STANDS, on=ON, retest=fresh_file)
    assert "curves of the fresh test, all together" in texts(compose(both))
    no_curves, _ = gather(troubles, POINTS, on=ON)
    assert "were not compared" in texts(compose(no_curves))


def test_the_file_as_it_came_is_kept_with_its_name(fresh_file):
    assert files(fresh_file) == {"fresh.xml": fresh_file.read_bytes()}


def test_the_fresh_test_stands_in_the_bag(troubles, fresh_file, tmp_path):
    from archive.answers.claim.claim_folder import write

    facts, originals = gather(troubles, STANDS, on=ON, retest=fresh_file)
    named = write(facts, originals, tmp_path / "out", fresh=files(fresh_file))
    assert {"fresh-test.xml", "fresh/fresh.xml"} <= set(named)
    assert json.loads((tmp_path / "out" / "data" / "proof.json").read_bytes())["link_label"] == STANDS
