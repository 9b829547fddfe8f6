"""The hand-over book: sections as asked, volumes as cut, nothing open left unsaid, the same bytes each time."""

import re
import shutil
import subprocess
from dataclasses import replace

import pytest
from answers_making import CONFLICT, COPY, EXPIRED, FLIPPED, HOSTILE, JOB, POINTS, SOURCE, STANDS

from archive import store
from archive.answers.book import compose
from archive.answers.book.book_folder import cover_text, write
from archive.answers.book.compose import SECTIONS, asked, file_name, volumes
from archive.answers.book.gather import gather
from archive.answers.documents import FigureGrid, Notice, Press, TableBlock, pdf
from archive.answers.link import open_link
from archive.errors import Trouble
from archive.vocabulary.link_counts import IN_DOUBT, LinkCounts


@pytest.fixture
def job(troubles):
    """Facts of the job with every kind of trouble."""
    return gather(troubles, JOB, cover="Handed over on 1 July.\n\nKeep it with the drawings.")


def made(facts, *sections, **more):
    """Volumes by name."""
    return {v.name: v.document for v in volumes(facts, sections, **more)}


def section(doc, title):
    """The section of a title."""
    return next(s for s in doc.sections if s.title == title)


def test_sections_are_those_asked_for_in_one_order(job):
    book = made(job, *asked("proof,summary,schedule"))["book"]
    titles = [s.title for s in book.sections if s.level == 1]
    assert titles == ["", "Schedule of links", "Proof"]
    assert set(asked(None)) == set(SECTIONS) - {"curves"}
    with pytest.raises(Trouble, match="no such section"):
        asked("summary,appendix")


def test_the_cover_text_stands_first(job):
    first = made(job, "summary")["book"].sections[0].blocks[0]
    assert first.text == "Handed over on 1 July." and first.role == "lead"


def test_a_cover_that_is_no_text_is_refused_in_one_line(tmp_path):
    (tmp_path / "cover.txt").write_bytes(b"\xff\xfe\x00x")
    with pytest.raises(Trouble, match="UTF-8"):
        cover_text(tmp_path / "cover.txt")
    (tmp_path / "cover.txt").write_text("x" * 30_000)
    with pytest.raises(Trouble, match="too long"):
        cover_text(tmp_path / "cover.txt")


def test_numbers_of_the_summary_are_those_of_the_schedule(job):
    numbers = dict(made(job, "summary")["book"].sections[0].blocks[4].rows)
    # The schedule holds 1A-A01 to 1A-A09; 1 to 7 were tested, of which 6 has two records in conflict, 8 and 9 were not.
    assert numbers["scheduled"] == "9" and numbers["missing"] == "2"
    assert numbers["tested"] == "8" and numbers["copied"] == "1"  # 1A-AO1 too, which is not scheduled
    assert numbers["failing"] == "1" and numbers["not scheduled"] == "1" and numbers["in conflict"] == "1"


def test_what_is_open_is_named(job):
    blocks = section(made(job, "open-points")["book"], "Open points").blocks
    said = " ".join(blocks[0].items)
    assert "Scheduled and not tested (2): 1A-A08, 1A-A09" in said and f"Failing (1): {FLIPPED}" in said
    undecided = next(b for b in blocks if isinstance(b, TableBlock) and b.caption.startswith("Tested, and without"))
    told = dict(undecided.rows)
    assert "in conflict" in told[CONFLICT] and POINTS not in told
    assert any(isinstance(b, TableBlock) and "calibration expired" in b.rows[0] for b in blocks)


def test_the_schedule_groups_by_place_and_shows_the_columns_asked_for(job):
    doc = made(job, "schedule", columns=("length", "next"))["book"]
    groups = [s for s in doc.sections if s.level == 2]
    assert groups[0].title == "building A, floor 1, space TR 1A, panel A" and groups[-1].title == "place not stated"
    table = groups[0].blocks[0]
    assert list(table.head[3:]) == ["length, m", "NEXT"]
    row = next(r for r in table.rows if r[0] == FLIPPED)
    assert row[2].startswith("fail") and float(row[4].replace("−", "-")) < 0
    assert table.strong == {[r[0] for r in table.rows].index(FLIPPED)}
    unplaced = {r[0]: r[2] for r in groups[-1].blocks[0].rows}
    assert unplaced["1A-A09"] == "not tested" and unplaced[CONFLICT] == "in conflict"
    assert any(r[0] == POINTS and r[2] == "pass, by the instrument alone" for g in groups for r in g.blocks[0].rows)


def test_results_say_the_margins_of_the_claim_file(job, troubles):
    from archive.answers.claim import gather as claim

    doc = made(job, "results")["book"]
    table = section(doc, STANDS).blocks[-1]
    standing = claim.gather(troubles, STANDS)[0].standing
    for row in table.rows:
        parameter = row[0].split(",")[0]
        here = [
            g["margin"]
            for g in standing.rows("grades")
            if g["kind"] == "worst_margin" and g["end"] == "remote" and _name(g["parameter"]) == parameter
        ]
        if here and row[3]:
            assert float(row[3].replace("−", "-")) == pytest.approx(min(here), abs=0.051), parameter
    assert {r[0].split(",")[0] for r in table.rows} >= {"insertion loss", "NEXT", "PS ACR-F", "propagation delay"}


def _name(parameter):
    from archive import vocabulary

    return vocabulary.parameter(parameter).name


def test_curves_come_with_every_link_that_has_any(job):
    doc = made(job, "results", "curves")["book"]
    drawn = {s.title: [f.caption.split(".")[0] for f in pictures(s)] for s in doc.sections}
    assert drawn[STANDS] == ["Insertion loss", "Return loss", "NEXT", "ACR-F"]
    assert drawn[POINTS] == [] and drawn[CONFLICT] == []


def pictures(section):
    """The pictures of a section, side by side or not."""
    return [f for b in section.blocks if isinstance(b, FigureGrid) for f in b.items]


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_a_link_with_its_curves_takes_one_page_and_no_page_is_left_nearly_empty(job, tmp_path):
    doc = made(job, "summary", "results", "curves")["book"]
    (tmp_path / "book.pdf").write_bytes(pdf(doc))
    command = ["pdftotext", "-layout", tmp_path / "book.pdf", "-"]
    pages = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split("\f")[:-1]
    whole = [s for s in doc.sections if pictures(s)]
    for s in whole:
        (page,) = [p for p in pages if re.search(rf"^ *{re.escape(s.title)}$", p, re.M)]
        last = pictures(s)[-1].caption.split(".")[0]
        assert "smallest margin" in page and f"{last}. Smallest margin" in page, s.title
    assert len(pages) <= len(whole) + 3
    assert min(len(p.splitlines()) for p in pages) > 12


def test_the_cover_names_copied_curves_lapsed_units_and_links_in_doubt(job):
    (notice,) = [b for b in made(job, "summary")["book"].sections[0].blocks if isinstance(b, Notice)]
    said = " ".join(notice.items)
    assert f"Curves of another link, number for number: {COPY} (of {SOURCE})" in said
    assert "calibration had run out" in said and EXPIRED in said
    doubtful = replace(job, counts=replace_outcome(job, POINTS))
    (notice,) = [b for b in made(doubtful, "summary")["book"].sections[0].blocks if isinstance(b, Notice)]
    assert f"In doubt whether their tests are of one link: {POINTS}." in notice.items


def replace_outcome(job, label):
    """The counts of a job in which one link is in doubt."""
    return LinkCounts([replace(x, outcome=IN_DOUBT) if x.label == label else x for x in job.counts.links])


def test_a_page_of_a_link_says_what_the_cover_says_of_it(job):
    sections = {s.title: repr(s.blocks) for s in made(job, "results")["book"].sections}
    assert f"Its curves are those of {SOURCE}, number for number." in sections[COPY]
    assert "with a unit whose calibration had run out" in sections[EXPIRED]
    assert "run out" not in sections[STANDS]


def test_what_older_editions_call_elfext_stands_in_the_far_end_column(job):
    older = [replace(x, margins={{"acr_f": "elfext"}.get(k, k): v for k, v in x.margins.items()}) for x in job.links]
    table = next(b for b in section_tables(made(replace(job, links=older), "schedule")["book"]))
    at = table.head.index("ELFEXT")
    assert any(row[at] for row in table.rows) and "ACR-F" not in table.head


def section_tables(doc):
    """Tables of a document."""
    return [b for s in doc.sections for b in s.blocks if isinstance(b, TableBlock)]


def test_volumes_are_cut_by_links_and_by_size(job, monkeypatch):
    monkeypatch.setattr(compose, "MOST_LINKS", 4)
    cut = made(job, "results", "summary")
    assert list(cut) == ["Links-volume-1", "Links-volume-2", "Links-volume-3", "book"]  # ten links, the list last
    listed = section(cut["book"], "Volumes").blocks[0].rows
    assert [r[1] for r in listed] == ["4", "4", "2"] and listed[0][3] == "Links-volume-1.pdf"
    monkeypatch.setattr(compose, "MOST_LINKS", 200)
    monkeypatch.setattr(compose, "MOST_BYTES", 700_000)
    for name, doc in made(job, "curves").items():
        size = sum(len(f.svg) for s in doc.sections for f in pictures(s))
        assert size < 700_000, name


@pytest.mark.parametrize(("per", "names"), [("floor", ["building-A-floor-1", "place-not-stated"]), ("link", None)])
def test_volumes_for_each_floor_or_link(job, per, names):
    cut = made(job, "results", per=per)
    assert list(cut)[:-1] == (names or [x.label for x in job.links])


def test_names_of_files_are_portable_and_never_collide(hostile):
    facts = gather(hostile, JOB)
    named = list(made(facts, "results", per="link"))
    assert len(named) == len(HOSTILE) + 1 and len({n.casefold() for n in named}) == len(named)
    assert all(re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9_.+=-]{0,90}", n) for n in named)
    assert file_name("CON") != "CON" and file_name("Büro/7") == "Buro-7" and file_name("端口") == "link"


def test_the_same_archive_gives_the_same_book(job, tmp_path):
    for n in ("one", "two"):
        write(volumes(job, asked("summary,schedule,results,curves")), tmp_path / n)
    assert [p.name for p in sorted((tmp_path / "one").iterdir())] == ["book.html", "book.pdf"]
    for name in ("book.html", "book.pdf"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def test_a_press_of_its_own_sets_the_same_pages(job):
    doc = made(job, "summary", "proof")["book"]
    with Press() as press:
        assert press.pdf(doc) == press.pdf(doc) == pdf(doc)


def test_a_book_that_fails_leaves_nothing_behind(job, tmp_path):
    def broken():
        yield from volumes(job, ("proof",))
        raise OSError("the disk is full")

    with pytest.raises(OSError, match="full"):
        write(broken(), tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_a_table_that_was_altered_is_not_printed(troubles_place, tmp_path):
    shutil.copytree(troubles_place, tmp_path / "archive")
    opened = store.open(tmp_path / "archive")
    gather(opened, JOB)
    path = opened.bag(open_link(opened, FLIPPED).standing["deposit"]) / "data" / "tables" / "verdicts.parquet"
    path.write_bytes(path.read_bytes()[:-8] + b"altered!")
    with pytest.raises(Trouble, match="not the one that the ledger commits"):
        gather(opened, JOB)


def test_a_job_that_nobody_deposited_is_refused(troubles):
    with pytest.raises(Trouble, match="nothing was deposited"):
        gather(troubles, "NO-SUCH-JOB")
