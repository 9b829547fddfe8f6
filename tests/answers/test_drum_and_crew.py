"""The drum of a cable and the crew that tested: read by a mapping, shown on page 1 and beside the neighbours."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from answers_making import BY, JOB, SITE

from archive import formats, store
from archive.answers.claim.around import _crew_and_lot
from archive.answers.claim.front import front
from archive.answers.claim.gather import link_facts
from archive.answers.claim.sections import neighbours
from archive.answers.intake import Choices, ingest
from archive.answers.wording import Wording
from archive.demo import job as demo
from archive.store.deposits import DepositFacts
from archive.tables import Batch

DRUMS = {"1A-A01": "D-1187", "1A-A02": "D-1187", "1A-A03": None}


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> store.Archive:
    """Three links, two of one panel and one drum; the third comes in a deposit of its own."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    opened = store.create(tmp_path / "archive")
    for k, labels in enumerate((["1A-A01", "1A-A02"], ["1A-A03"])):
        start = dt.datetime(2024, 6, 10 + k, 8, 12)
        batch = demo.links(range(4 * k, 4 * k + len(labels)), labels, start, demo.DAY_CREW, sequence=10 * k)
        rows = [{**r, "cable_lot": DRUMS[r["link_label"]]} for r in batch["records"].to_pylist()]
        path = tmp_path / f"{k}.xml"
        formats.write([batch.replace(records=Batch.from_rows({"records": rows})["records"])], path, "xml")
        ingest(opened, [path], DepositFacts(job=JOB, site=SITE, zone="Europe/Lisbon", by=BY), Choices())
    return opened


def test_neighbours_stand_with_their_crew_and_drum(archive: store.Archive) -> None:
    facts = link_facts(archive, "1A-A01")
    section = neighbours(facts, Wording())
    assert section is not None
    table = section.blocks[-1]
    assert [row[0] for row in table.rows] == ["1A-A01", "1A-A02"]  # type: ignore[union-attr]
    assert [row[-1] for row in table.rows] == [  # type: ignore[union-attr]
        "Cat 6A F/UTP 23 AWG, drum D-1187",
        "Cat 6A F/UTP 23 AWG, drum D-1187",
    ]
    assert all(row[-2] == "40-00317 40-00318, A. Quillfeather" for row in table.rows)  # type: ignore[union-attr]
    identity = front(facts, Wording()).blocks[-3]
    assert ("drum or lot", "D-1187") in identity.rows  # type: ignore[union-attr]


def test_a_neighbour_that_cannot_be_read_costs_its_own_row(archive: store.Archive) -> None:
    other = archive.db.execute("SELECT deposit || '/' || position FROM records WHERE link_label = '1A-A03'").fetchone()
    for table in (archive.root / "deposits").rglob("records.parquet"):
        if other[0].split("/")[0] in str(table):
            table.chmod(0o644)
            table.write_bytes(table.read_bytes()[:40])
    store_again = store.open(archive.root)
    assert _crew_and_lot(store_again, other[0]) == {"crew": None, "lot": None, "unread": "yes"}


def test_a_mapping_places_the_drum(tmp_path: Path) -> None:
    (tmp_path / "layout.toml").write_text(
        '[mapping]\nlayout = "drums"\n[[file]]\nname = "drums"\nkind = "delimited"\ndelimiter = ";"\n'
        '[[file.table]]\nname = "rows"\nrows = "links"\nfields = [\n'
        '  { from = "Strecke", to = "records.link_label" },\n  { from = "Trommel", to = "records.cable_lot" },\n]\n',
        encoding="utf-8",
    )
    (tmp_path / "drums.csv").write_text("Strecke;Trommel\nA1;D-7\nA2;\n", encoding="utf-8")
    (read,) = formats.read(tmp_path / "drums.csv", mapping=tmp_path / "layout.toml")
    assert read["records"]["cable_lot"].to_pylist() == ["D-7", None]
