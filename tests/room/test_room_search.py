"""Searching as the room does it, against plain Python over every record of the catalogue."""

from __future__ import annotations

from collections import Counter

import pytest

from archive import store
from archive.room.search import columns
from archive.room.search.facets import FIELDS, brought_up, empty
from archive.room.search.measured import Measured
from archive.room.search.search import Searching, Wanted
from archive.room.search.typed import HITS, days
from archive.store import Archive
from archive.store.catalogue.standing_columns import fold
from tests.benchmarks._tiled import tiled


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Archive:
    """Some 1,200 records in eight bags. Invented."""
    folder = tmp_path_factory.mktemp("many")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(folder / "cache"))
        tiled(folder / "archive", 1_200, 8)
        archive = store.open(folder / "archive")
        archive.catch_up()
        yield archive


@pytest.fixture(scope="module")
def rows(many: Archive) -> list[dict[str, object]]:
    return [dict(r) for r in many.db.execute("SELECT * FROM records")]


def faces(many: Archive) -> set[int]:
    return {r[0] for r in many.db.execute("SELECT row FROM link_labels WHERE NOT former")}


def test_every_link_is_shown_by_one_record_the_current_one(many, rows):
    shown = faces(many)
    links = {r["link"] for r in rows}
    assert len(shown) == len(links) and {r["link"] for r in rows if r["row"] in shown} == links
    assert all(r["unit"] == r["row"] for r in rows if r["row"] in shown)


@pytest.mark.parametrize("text", ["0.0/", "4.0/1", "TR", "2-a1", "zz", "a0", "00", "1"])
def test_what_is_typed_finds_the_labels_that_hold_it(many, rows, text):
    _, found = Searching().search(many, Wanted(text))
    shown = faces(many)
    wanted = fold(text) or ""
    held = {r["row"] for r in rows if r["row"] in shown and wanted and wanted in fold(r["link_label"])}
    got = set(found.rows.tolist())
    if not any(c in text for c in "-./ ") and not text.endswith("0"):
        assert got == held or (found.cut and got < held and len(got) == HITS)  # just those that hold it
    else:
        assert got >= {r["row"] for r in rows if r["row"] in shown and text.casefold() in r["link_label"].casefold()}
        assert got <= {r["row"] for r in rows if r["row"] in shown}


def test_lines_that_narrow_count_what_plain_counting_counts(many, rows):
    searching, shown = Searching(), faces(many)
    wanted = Wanted(chosen=(("site", "Site 02"),))
    facets, found = searching.search(many, wanted)
    here = [r for r in rows if r["row"] in shown and r["site"] == "Site 02"]
    assert set(found.rows.tolist()) == {r["row"] for r in here} and here
    for name, column in (("job", "job_id"), ("cable_type", "cable_type"), ("unit", "local_serial"), ("floor", "floor")):
        counted = dict(searching.counts(facets, found, wanted, name))
        assert counted == dict(Counter(r[column] or "" for r in here)), name
    assert dict(searching.counts(facets, found, wanted, "year")) == dict(Counter(r["tested_local"][:4] for r in here))


def test_days_order_serials_and_tests(many, rows):
    searching = Searching()
    day = sorted(r["tested_local"][:10] for r in rows)[len(rows) // 2]
    _, found = searching.search(many, Wanted(since=day, until=day[:7], tests=True))
    inside = [r for r in rows if day <= r["tested_local"][:10] and r["tested_local"][:7] <= day[:7]]
    assert set(found.rows.tolist()) == {r["row"] for r in inside} and inside
    by_row = {r["row"]: r for r in rows}
    told = [by_row[n]["tested_local"][:10] for n in found.rows.tolist()]
    assert told == sorted(told, reverse=True)
    _, old = searching.search(many, Wanted(order="oldest"))
    told = [by_row[n]["tested_local"][:10] for n in old.rows.tolist()]
    assert told == sorted(told)
    _, least = searching.search(many, Wanted(order="least margin"))
    margins = [by_row[n]["leading_margin"] for n in least.rows.tolist() if by_row[n]["leading_margin"] is not None]
    assert margins == sorted(margins) and len(margins) > 100
    serial = rows[0]["local_serial"]
    _, units = searching.search(many, Wanted(serial=serial, tests=True))
    assert set(units.rows.tolist()) == {r["row"] for r in rows if serial in (r["local_serial"], r["remote_serial"])}


def test_words_and_days_are_taken_where_no_label_fits(many, rows):
    searching, shown = Searching(), faces(many)
    _, found = searching.search(many, Wanted("job 00003"))
    assert set(found.rows.tolist()) == {r["row"] for r in rows if r["row"] in shown and r["job_id"] == "JOB-00003"}
    assert all(hit.how == "words" for hit in found.hits.values())
    year = rows[0]["tested_local"][:4]
    _, both = searching.search(many, Wanted(f"job {year}"))
    assert {r["tested_local"][:4] for r in rows if r["row"] in set(both.rows.tolist())} == {year}
    _, nothing = searching.search(many, Wanted("no such thing anywhere"))
    assert not len(nothing.rows)


def test_a_misspelt_label_is_offered(many, rows):
    label = str(rows[-1]["link_label"])
    wrong = label[:-1] + ("x" if label[-1] != "x" else "y") + "q"
    _, found = Searching().search(many, Wanted(wrong))
    assert not len(found.rows) and label in found.near


def test_arrays_brought_up_are_those_made_anew(many):
    held = brought_up(empty(), many.db)
    many.db.execute("UPDATE counting_changed SET number = number + 1")
    again, anew = brought_up(held, many.db), brought_up(empty(), many.db)
    assert again is not held
    for name in FIELDS:
        listed = again.words[name].listed, anew.words[name].listed
        told = ([words[n] for n in f.codes[name]] for words, f in zip(listed, (again, anew), strict=True))
        assert next(told) == next(told)
    assert (again.face == anew.face).all() and (again.day == anew.day).all()


def test_a_column_of_margins_holds_what_was_graded(many, rows):
    """Against the grades in the bags, read by pyarrow."""
    import pyarrow.parquet as pq

    measured = Measured()
    parameters = measured.parameters(many)
    assert parameters is not None and "next" in {p.casefold() for p in parameters}
    name = next(p for p in parameters if p.casefold() == "next")
    values = measured.margins(many, name)
    bag = sorted(many.root.glob("deposits/*/*"))[0]
    grades = pq.read_table(bag / "data" / "tables" / "grades.parquet").to_pylist()
    for r in [r for r in rows if r["deposit"] == bag.name][:40]:
        mine = [g["margin"] for g in grades if g["position"] == r["position"] and g["parameter"] == name]
        worst = min((m for m in mine if m is not None), default=None)
        assert worst is not None and values[r["row"]] == pytest.approx(worst, abs=1e-4)
    shown = columns.records(many, [1, 2, 3])
    assert shown[2]["record_id"] == next(r["record_id"] for r in rows if r["row"] == 2)


def test_days_are_read_out_of_what_was_typed():
    """ISO 8601 days, dotted days, months by their names (Unicode CLDR, by babel)."""
    assert days("a117 2019-05-02") == ("a117", "2019-05-02", "2019-05-02")
    assert days("2.5.2019 lantern") == ("lantern", "2019-05-02", "2019-05-02")
    assert days("mai 2019") == ("", "2019-05", "2019-05")
    assert days("2019 2021") == ("", "2019", "2021")
    assert days("05/02/2019") == ("05/02/2019", None, None)
    assert days("1A-A01") == ("1A-A01", None, None)
