"""A margin that the instrument alone reported, without value and limit: it is shown wherever margins are shown."""

import pytest
from answers_making import BY, JOB, POINTS, SITE, day, points_only
from test_book import made
from test_book import section as book_section
from test_claim import document, gaps, section

from archive import store
from archive.answers.book.gather import gather as gather_book
from archive.answers.documents import TableBlock
from archive.answers.intake import ingest
from archive.demo import job as demo
from archive.formats import write
from archive.store.deposits import DepositFacts
from archive.tables import Batch


@pytest.fixture
def archive(tmp_path, monkeypatch):
    """An archive of one failing link of which the instrument says one margin, and nothing else."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    batch = points_only(demo.links([5], [POINTS], day(10), demo.DAY_CREW), POINTS)
    records = [{**r, "reported_verdict": "fail"} for r in batch["records"].to_pylist()]
    said = {"record_id": records[0]["record_id"], "parameter": "next", "kind": "worst_margin", "margin": -0.6}
    rows = Batch.from_rows({"records": records, "reported": [said]})
    write([batch.replace(records=rows["records"], reported=rows["reported"])], tmp_path / "one.xml", "xml")
    store.create(tmp_path / "archive")
    opened = store.open(tmp_path / "archive")
    ingest(opened, [tmp_path / "one.xml"], DepositFacts(job=JOB, site=SITE, zone="Europe/Lisbon", by=BY))
    return opened


def test_the_claim_shows_it_beside_nothing_recomputed_and_names_it_on_page_one(archive):
    doc = document(archive, POINTS)
    table = next(s for s in doc.sections if s.title == "Smallest margins").blocks[0]
    (row,) = [r for r in table.rows if r[0].startswith("NEXT")]
    named = dict(zip(table.head, row, strict=True))
    assert named["reported margin"] == "−0.6" and named["verdict"] == "not recomputed"
    assert named["value"] == named["limit"] == named["margin"] == named["difference"] == ""
    assert section(doc, "Worst cases, recomputed and reported")
    assert any("instrument says fail" in g and "NEXT, reported margin −0.6 dB" in g for g in gaps(doc))


def test_the_book_shows_it_too(archive):
    book = made(gather_book(archive, JOB), "results")["book"]
    (table,) = [b for b in book_section(book, POINTS).blocks if isinstance(b, TableBlock)]
    (row,) = [r for r in table.rows if r[0].startswith("NEXT")]
    assert row[-2:] == ["−0.6", "not recomputed"]
