"""The claim file: a bag that others verify, forms that others read, the same bytes for the same inputs."""

import datetime as dt
import hashlib
import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace

import bagit
import pytest
from answers_making import CONFLICT, COPY, EXPIRED, FLIPPED, JOB, POINTS, SOURCE, STANDS

from archive import formats, schemas
from archive.answers.claim.claim_folder import write
from archive.answers.claim.compose import compose
from archive.answers.claim.curve_figures import curves_of, line_of
from archive.answers.claim.gather import gather
from archive.answers.documents import FactsBlock, Figure, Notice, TableBlock, VerdictCards
from archive.answers.sealing.issue import issuer
from archive.answers.wording import ENGLISH
from archive.errors import Trouble
from archive.store import clock
from archive.store.proofs import holds, load, verify
from archive.tables.canonical import record_digests

ON = dt.date(2030, 1, 15)
MADE = dt.datetime(2030, 1, 16, 9, 30, tzinfo=dt.UTC)


@pytest.fixture(scope="session")
def written(troubles_place, tmp_path_factory):
    """The claim file of the link that was tested twice, and its facts."""
    from archive import store

    place = tmp_path_factory.mktemp("claim")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(place / "cache"))
        patch.setattr(clock, "now", lambda: MADE)
        facts, originals = gather(store.open(troubles_place), STANDS, on=ON, reason="Letter of 3 January 2030")
        write(facts, originals, place / "claim", issuer=issuer(troubles_place, by=None, reason=None, enter=False))
    return place / "claim", facts


def document(archive, label, **more):
    """The document of a link's claim file."""
    return compose(gather(archive, label, on=ON, **more)[0])


def gaps(doc, title="Before you rely on this record"):
    """Sentences of a notice on the first page."""
    return [x for b in doc.sections[0].blocks if isinstance(b, Notice) and b.title == title for x in b.items]


def words_of(doc):
    """The words said side by side on the first page, by who says them."""
    found = next(b for b in doc.sections[0].blocks if isinstance(b, VerdictCards))
    return {o.who.split(",")[0]: o for o in found.items}


def section(doc, title):
    """The section of a title."""
    return next(s for s in doc.sections if s.title == title)


def texts(doc):
    """Everything a document says, in one string."""
    return json.dumps([s.title for s in doc.sections] + [repr(b) for s in doc.sections for b in s.blocks])


# The bag. `bagit` is the Library of Congress's own; sha256sum is of GNU coreutils.


def test_bagit_and_sha256sum_find_it_sound(written):
    place, _ = written
    bagit.Bag(str(place)).validate()
    if shutil.which("sha256sum"):
        subprocess.run(["sha256sum", "--check", "--strict", "manifest-sha256.txt"], cwd=place, check=True)
        subprocess.run(["sha256sum", "--check", "--strict", "tagmanifest-sha256.txt"], cwd=place, check=True)


def test_a_changed_byte_is_found(written, tmp_path):
    shutil.copytree(written[0], tmp_path / "claim")
    page = tmp_path / "claim" / "data" / "claim.html"
    page.write_bytes(page.read_bytes().replace(b"pass", b"fail", 1))
    with pytest.raises(bagit.BagValidationError):
        bagit.Bag(str(tmp_path / "claim")).validate()


def test_the_proof_holds_without_the_archive_and_fails_for_another_record(written):
    place, facts = written
    proof = load(place / "data" / "proof.json")
    assert holds(verify(proof, expect=facts.head))
    assert proof["canonical"].encode() and proof["in_ledger"]["root"] == facts.head
    assert not holds(verify({**proof, "canonical": proof["canonical"].replace("pass", "fail", 1)}))
    assert not holds(verify(proof, expect="0" * 64))


def test_the_open_forms_hold_the_record_that_is_proved(written):
    place, _ = written
    digest = load(place / "data" / "proof.json")["digest"]
    for name in ("record.xml", "record-csv.zip"):
        (batch,) = formats.read(place / "data" / name)
        assert record_digests(batch) == [digest]
    (others,) = formats.read(place / "data" / "other-tests.xml")
    assert len(others) == 1


def test_xmllint_finds_the_record_valid_under_the_schema_in_the_bag(written):
    if shutil.which("xmllint") is None:
        pytest.skip("xmllint is not installed")
    data = written[0] / "data"
    command = ["xmllint", "--noout", "--schema", data / "schema" / "link-record-1.xsd", data / "record.xml"]
    subprocess.run(command, check=True, capture_output=True)


def test_an_original_of_this_link_alone_is_enclosed_whole_and_of_others_its_bytes(written, troubles_place):
    place, facts = written
    exports, inside = troubles_place.parent / "exports", place / "data" / "originals"
    kept = {p.name: p.read_bytes() for p in inside.rglob("*") if p.is_file() and p.parent != inside}
    assert kept.pop("again.xml") == (exports / "again.xml").read_bytes()
    told = facts.standing.original
    assert told.sha256 == hashlib.sha256((exports / "again.xml").read_bytes()).hexdigest()
    whole = (exports / "first.xml").read_bytes()
    listed = json.loads((inside / "ranges.json").read_bytes())
    assert listed and len(kept) == len(listed)
    for said in listed:
        cut = (place / "data" / said["file"]).read_bytes()
        assert cut == whole[said["offset"] : said["offset"] + said["bytes"]] and len(cut) == said["bytes"]
        assert said["sha256"] == hashlib.sha256(cut).hexdigest()
        assert (said["of"], said["of_sha256"]) == ("first.xml", hashlib.sha256(whole).hexdigest())
        assert STANDS.encode() in cut and not any(x.encode() in cut for x in (FLIPPED, SOURCE, COPY, CONFLICT, POINTS))


def test_the_same_inputs_give_the_same_bytes_anywhere(written, troubles_place, tmp_path):
    command = [
        sys.executable,
        "-c",
        "import datetime as dt; from archive.cli import main; from archive.store import clock;"
        f"clock.now = lambda: dt.datetime.fromisoformat({MADE.isoformat()!r}); main()",
        "claim",
        str(troubles_place),
        STANDS,
        "--on",
        ON.isoformat(),
        "--no-record",
    ]
    command += ["--reason", "Letter of 3 January 2030"]
    for n, more in enumerate(
        ({"TZ": "Pacific/Kiritimati", "LANG": "tr_TR.UTF-8"}, {"TZ": "America/Adak", "LC_ALL": "C"})
    ):
        subprocess.run(
            [*command, "--out", str(tmp_path / str(n))],
            check=True,
            capture_output=True,
            env={**os.environ, **more, "PYTHONHASHSEED": str(n + 1)},
        )
        for path in written[0].rglob("*"):
            if path.is_file():
                inside = path.relative_to(written[0])
                assert (tmp_path / str(n) / inside).read_bytes() == path.read_bytes(), inside


def test_a_folder_that_is_taken_stays_as_it_is(written, troubles, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine")
    facts, originals = gather(troubles, STANDS, on=ON)
    with pytest.raises(Trouble, match="not empty"):
        write(facts, originals, tmp_path / "out")
    assert [p.name for p in tmp_path.rglob("*") if p.is_file()] == ["mine.txt"]


def test_a_record_that_was_altered_in_its_bag_is_not_printed(troubles_place, tmp_path):
    import pyarrow.parquet as pq

    from archive import store
    from archive.answers.link import open_link

    shutil.copytree(troubles_place, tmp_path / "archive")
    opened = store.open(tmp_path / "archive")
    path = opened.bag(open_link(opened, FLIPPED).standing["deposit"]) / "data" / "tables" / "records.parquet"
    table = pq.read_table(path)
    altered = table.set_column(table.column_names.index("comment"), "comment", [["altered"] * table.num_rows])
    pq.write_table(altered, path, write_page_checksum=True)
    with pytest.raises(Trouble, match="not the one that the ledger commits"):
        gather(store.open(tmp_path / "archive"), FLIPPED)


# What the first page says


def test_nothing_weakens_a_good_record_but_a_label_that_is_easily_taken_for_its_own(troubles):
    doc = document(troubles, STANDS)
    assert len(gaps(doc)) == 2
    assert gaps(doc)[0].startswith("Other links of the job have labels that are easily taken for this one")
    assert gaps(doc)[1].startswith("Of the ledger: it was checked against nothing but itself")
    said = words_of(doc)
    assert said["The instrument"].word == "pass" and said["This program"].word in ("pass", "not graded")


def test_a_verdict_that_rests_on_lines_from_memory_names_them(troubles):
    facts = gather(troubles, STANDS, on=ON)[0]
    first = facts.standing.stated[0]
    grades = [{**g, "provisional": g["parameter"] in ("insertion_loss", "return_loss")} for g in first.grades]
    stated = [replace(first, verdict={**first.verdict, "provisional": True}, grades=grades)]
    standing = replace(facts.standing, stated=stated)
    told = gaps(compose(replace(facts, standing=standing)))[0]
    assert told.startswith("Provisional under ") and "insertion loss and return loss" in told


def test_a_fail_that_was_reported_as_a_pass_stands_on_the_first_page(troubles):
    doc = document(troubles, FLIPPED)
    assert any(g.startswith("Fails tia-568.2-d") for g in gaps(doc))
    assert any("disagree" in g and "said pass" in g for g in gaps(doc))
    page = next(b for b in doc.sections[0].blocks if isinstance(b, VerdictCards))
    assert [(o.word, o.grave) for o in page.items[:2]] == [("pass", False), ("fail", True)]


def test_copied_curves_are_told_on_both_sides(troubles):
    assert any(f"are those of {SOURCE}" in g for g in gaps(document(troubles, COPY)))
    assert any(f"stand under {COPY} too" in g for g in gaps(document(troubles, SOURCE)))


def test_a_calibration_that_had_run_out_is_told(troubles):
    found = [g for g in gaps(document(troubles, EXPIRED)) if "calibration" in g]
    assert len(found) == 2 and all("29 May 2024" in g for g in found)
    rows = section(document(troubles, EXPIRED), "Instruments on the day of the test").blocks[0].rows
    assert all("run out 15 days before" in r[5] for r in rows)  # 29 May to 13 June


def test_records_in_conflict_leave_none_standing_and_are_laid_side_by_side(troubles):
    doc = document(troubles, CONFLICT)
    assert any("No record of 1A-A06 is current" in g for g in gaps(doc))
    assert any("different values: 2" in g for g in gaps(doc))
    margins = section(doc, "Records in conflict").blocks[2]
    row = next(r for r in margins.rows if r[0].startswith("insertion loss"))
    assert row[3] == "−0.5" and row[4].startswith("0.5 dB")  # the second was made with 0.5 dB more loss


def test_partial_evidence_is_told_and_draws_no_curve(troubles):
    doc = document(troubles, POINTS)
    assert gaps(doc)[0] == "Partial evidence: only worst cases came along, no curves."
    assert "Curves" not in [s.title for s in doc.sections]


def test_no_verdict_on_who_is_liable(troubles):
    said = texts(document(troubles, FLIPPED))
    assert "no legal opinion" in said and "verdict on who is liable" in said


# The other pages


def test_every_parameter_of_the_limit_has_a_picture_and_raw_fext_has_none(troubles):
    captions = [b.caption for b in section(document(troubles, STANDS), "Curves").blocks[1:]]
    assert list(dict.fromkeys(c.split(".")[0].split(",")[0] for c in captions)) == [
        *("Insertion loss", "Return loss", "NEXT", "PS NEXT", "ACR-N", "PS ACR-N", "ACR-F", "PS ACR-F")
    ]
    assert all("Smallest margin" in c for c in captions)
    # Twelve ordered combinations are drawn six and six.
    assert [c.split(".")[0] for c in captions if c.startswith("ACR-F")] == [
        "ACR-F, 1-2/3-6 to 3-6/7-8",
        "ACR-F, 4-5/1-2 to 7-8/4-5",
    ]


def test_margins_near_zero_have_a_picture_of_their_own_and_failing_points_are_counted(troubles):
    """Counted here from the curves and the limit line themselves."""
    facts, _ = gather(troubles, FLIPPED, on=ON)
    blocks = section(compose(facts), "Curves").blocks[1:]
    near = [b for b in blocks if b.caption.startswith("NEXT: margin to the limit about zero")]
    assert len(near) == 1 and "failing stretch" in near[0].svg
    (caption,) = [b.caption for b in blocks if b.caption.startswith("NEXT. ")]
    line = line_of(facts.standing.verdict()["limit_id"])
    failing = set()
    for curves in curves_of(facts.standing.batch)["next"].values():
        for c in curves:
            failing |= {f for f, v, at in zip(c.x, c.y, line("next", c.x), strict=True) if v < at - 1e-9}
    low, high = ENGLISH.free(min(failing)), ENGLISH.free(max(failing))
    assert failing and f"Fails at {len(failing)} of " in caption and f"from {low} to {high} MHz" in caption


def test_the_picture_and_the_table_say_the_same_margin(troubles):
    doc = document(troubles, FLIPPED)
    caption = next(b.caption for b in section(doc, "Curves").blocks[1:] if b.caption.startswith("NEXT"))
    rows = section(doc, "Smallest margins").blocks[0].rows
    at = next(i for i, r in enumerate(rows) if r[0].startswith("NEXT"))
    least = min(float(r[6].replace("−", "-")) for r in rows[at : at + 2])
    assert f"Smallest margin {ENGLISH.number(least, 1)} dB" in caption and least < 0


def test_reported_stands_beside_recomputed_with_the_difference(troubles):
    rows = section(document(troubles, STANDS), "Smallest margins").blocks[0].rows
    both = [r for r in rows if r[7]]
    assert both
    for r in both:
        ours, theirs, difference = (float(x.replace("−", "-")) for x in (r[6], r[7], r[8]))
        assert difference == pytest.approx(ours - theirs, abs=0.11)


def test_neighbours_are_those_of_the_bundle_with_this_link_among_them(troubles):
    told, table = section(document(troubles, EXPIRED), "Neighbours").blocks
    assert "bundle, B1" in told.text  # the schedule puts links 1 to 5 into B1
    assert [r[0] for r in table.rows] == ["1A-A01", "1A-A02", "1A-A03", "1A-A04", "1A-A05"]
    assert table.strong == {4}


def test_without_a_bundle_neighbours_are_those_of_the_panel(troubles):
    told, _ = section(document(troubles, "1A-AO1"), "Neighbours").blocks
    assert "panel" in told.text


def test_a_later_grading_run_stands_among_the_verdicts_and_in_the_history(troubles):
    doc = document(troubles, STANDS)
    rows = section(doc, "Every verdict on the accepted record").blocks[-1].rows
    assert any("graded again later, by H. Brume" in r[0] and r[2].startswith("tia-568-c.2") for r in rows)
    events = [b for b in section(doc, "Every test of this link").blocks if isinstance(b, TableBlock)][-1]
    assert any(r[1] == "assessment" and "tia-568-c.2" in r[2] for r in events.rows)


def test_the_newest_edition_is_named_even_where_its_lines_are_not_known(troubles):
    page = next(b for b in document(troubles, STANDS).sections[0].blocks if isinstance(b, VerdictCards))
    today = next(o for o in page.items if "today" in o.who)
    assert today.word == "not graded" and today.lines[0] == "tia-568.2-e/cat6a/permanent-link"


def test_what_runs_out_when_is_told_from_the_day_of_the_file(troubles):
    doc = document(troubles, STANDS)
    facts, table = section(doc, "Warranty and documents").blocks[:2]
    assert facts.rows[0][1] == "from 1 July 2024 until 30 June 2049"
    assert table.rows[-1][0] == "30 June 2049"
    assert table.rows[-1][2] == "in 19 years and 166 days"  # 15 January 2030 to 30 June 2049
    assert ["certificate" in str(b) for b in section(doc, "Warranty and documents").blocks][2]


def test_custody_goes_from_the_test_to_the_ledger(troubles):
    said = texts(document(troubles, STANDS))
    for text in ("by A. Quillfeather", "Received as again.xml", "by H. Brume", "holds", "sha256sum -c"):
        assert text in said, text


def test_the_head_can_be_typed_and_scanned(troubles):
    """The QR code itself is looked at module by module: the three corners that find it, and as many as its version."""
    facts = gather(troubles, STANDS)[0]
    doc = document(troubles, STANDS)
    head = facts.head
    said = dict(row for s in doc.sections for b in s.blocks if isinstance(b, FactsBlock) for row in b.rows)
    assert said["the head, to type"].split(" ") == [head[i : i + 8] for i in range(0, 64, 8)]
    (code,) = [b for s in doc.sections for b in s.blocks if isinstance(b, Figure) and b.alt.startswith("QR code")]
    assert f"{facts.archive_id} {facts.entries} {head}" in code.alt
    assert code.svg.count("<path") == 2
    assert "<script" not in code.svg


def test_a_name_that_was_redacted_is_told_as_such(troubles_place, tmp_path):
    from archive import store
    from archive.answers.history import history
    from archive.answers.link import open_link
    from archive.store.events.redact import of_name, redact

    shutil.copytree(troubles_place, tmp_path / "archive")
    opened = store.open(tmp_path / "archive")
    redact(opened, of_name(opened, "A. Quillfeather"), by=None, reason="asked for")
    doc = document(opened, STANDS)
    assert "The name of who tested was taken out of the archive." in gaps(doc)
    assert "Quillfeather" not in texts(doc)
    entries = history(opened, open_link(opened, STANDS))
    assert {e["by"] for e in entries if e["kind"] in ("test", "retest")} == {"name not there any more"}


def test_a_withdrawn_record_never_stands_and_is_told(troubles_place, tmp_path):
    from archive import store
    from archive.answers.link import open_link
    from archive.store.events.withdraw import withdraw

    shutil.copytree(troubles_place, tmp_path / "archive")
    opened = store.open(tmp_path / "archive")
    latest = open_link(opened, STANDS).standing
    withdraw(opened, records=[latest["address"]], by=None, reason="wrong link")
    facts, _ = gather(opened, STANDS, on=ON)
    assert facts.standing.record["record_id"] != latest["record_id"]
    assert any(g.startswith("Withdrawn records of this link: 1") for g in gaps(compose(facts)))


def test_the_job_is_told(troubles):
    facts, _ = gather(troubles, STANDS, on=ON)
    assert facts.job["job_id"] == JOB and facts.job["client"] == "Lantern Quay Trust"
    careful = schemas.load("cautions.toml")["cautions"]
    assert careful["texts"][0] in texts(compose(facts)) and careful["copper"][0] in texts(compose(facts))
    assert careful["fiber"][0] not in texts(compose(facts))  # a copper link
