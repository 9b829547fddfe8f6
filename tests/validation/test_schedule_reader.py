"""Schedules as people write them: headings of several languages, encodings, delimiters, workbooks, plain lists."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from archive.errors import Trouble
from archive.formats import schedule

TABLE = [
    ["Kabel-Nr.", "Etage", "Raum", "Kabeltyp", "Termin", "Bemerkung"],
    ["1A-A01", "1", "TR1", "Cat 6A F/UTP", "28.02.2025", "neu"],
    ["1A-A02", "1", "TR1", "Cat 6A F/UTP", "01.03.2025", ""],
]


def _rows(path: Path, **options: Any) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = schedule.read(path, **options)["schedule"].to_pylist()
    return rows


def _write(path: Path, table: list[list[str]], mark: str = ",", encoding: str = "utf-8", end: str = "\n") -> Path:
    path.write_bytes((end.join(mark.join(row) for row in table) + end).encode(encoding))
    return path


@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_delimiters_encodings_and_line_ends(tmp_path: Path, mark: str, encoding: str, end: str) -> None:
    rows = _rows(_write(tmp_path / "links.csv", TABLE, mark, encoding, end))
    assert [r["link_label"] for r in rows] == ["1A-A01", "1A-A02"]
    assert [r["due_on"] for r in rows] == ["2025-02-28", "2025-03-01"]
    assert {r["cable_type"] for r in rows} == {"cat6a/f-utp"}
    assert [r["comment"] for r in rows] == ["Bemerkung: neu", None]


HEADINGS = ["Link", "LINK ID", "Cable no.", "Kabelbezeichnung", "Streckennummer", "Repère du câble", "Identificador"]
HEADINGS += ["Etichetta cavo", "Nr kabla", "Kabelnummer", "リンク番号", "Outlet"]


@pytest.mark.parametrize("heading", HEADINGS)
def test_headings_of_several_languages(tmp_path: Path, heading: str) -> None:
    path = _write(tmp_path / "links.csv", [["No", heading, "Remark"], ["1", "A-01", "x"], ["2", "A-02", "y"]])
    assert [r["link_label"] for r in _rows(path)] == ["A-01", "A-02"]


def test_a_preamble_and_blank_lines(tmp_path: Path) -> None:
    path = _write(tmp_path / "links.csv", [["Harbour office"], [""], *TABLE, [""]], ";")
    assert len(_rows(path)) == 2


def test_places_and_comments_lose_nothing(tmp_path: Path) -> None:
    """Floor and room become a place, what no column takes becomes a comment under its heading."""
    made = schedule.read(_write(tmp_path / "links.csv", TABLE, ";"), job_id="HARBOUR")
    (place,) = made["places"].to_pylist()
    assert (place["floor"], place["space"]) == ("1", "TR1")
    assert {r["local_place_id"] for r in made["schedule"].to_pylist()} == {place["place_id"]}
    assert {r["job_id"] for r in made["schedule"].to_pylist()} == {"HARBOUR"}


def test_a_plain_list(tmp_path: Path) -> None:
    path = _write(tmp_path / "links.txt", [["1A-A01"], ["1A-A02"]])
    assert [r["link_label"] for r in _rows(path)] == ["1A-A01", "1A-A02"]


def test_a_workbook(tmp_path: Path) -> None:
    """Read by python-calamine what openpyxl wrote: numbers stay whole, days become days."""
    import datetime as dt

    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Run", "Due date"])
    sheet.append([117, dt.date(2025, 2, 28)])
    path = tmp_path / "links.xlsx"
    book.save(path)
    assert [(r["link_label"], r["due_on"]) for r in _rows(path)] == [("117", "2025-02-28")]


def test_columns_that_a_person_names(tmp_path: Path) -> None:
    path = _write(tmp_path / "links.csv", [["A", "B"], ["x", "1A-A01"]])
    assert [r["link_label"] for r in _rows(path, columns={"link_label": "b"})] == ["1A-A01"]


def test_of_two_columns_of_labels_the_one_that_tells_links_apart(tmp_path: Path) -> None:
    path = _write(tmp_path / "links.csv", [["Cable", "Label"], ["Cat 6A", "1A-A01"], ["Cat 6A", "1A-A02"]])
    assert [r["link_label"] for r in _rows(path)] == ["1A-A01", "1A-A02"]


def test_a_label_that_is_there_twice_counts_once(tmp_path: Path) -> None:
    made = schedule.read(_write(tmp_path / "links.csv", [["Link"], ["A-01"], ["A-02"], ["A-01"]]))
    assert [r["link_label"] for r in made["schedule"].to_pylist()] == ["A-01", "A-02"]
    (found,) = made["findings"].to_pylist()
    assert found["rule"] == "label-twice-in-schedule"
    assert "line 4" in found["message"]
    once = schedule.read(_write(tmp_path / "once.csv", [["Link"], ["A-01"], ["A-02"]]))
    assert once["findings"].num_rows == 0


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ([["foo", "bar"], ["1", "2"]], "link, cable number or label"),
        ([[""]], "empty"),
        ([["Link", "Due"], ["A", "03/04/2025"]], "two ways"),
        ([["Link", "Due"], ["A", "next week"]], "no date"),
    ],
)
def test_one_clear_line(tmp_path: Path, table: list[list[str]], says: str) -> None:
    path = _write(tmp_path / "links.csv", table)
    with pytest.raises(Trouble) as told:
        schedule.read(path)
    assert says in str(told.value)
    assert str(path) in str(told.value)


def test_a_date_that_other_rows_make_plain(tmp_path: Path) -> None:
    path = _write(tmp_path / "links.csv", [["Link", "Due"], ["A", "03/04/2025"], ["B", "25/04/2025"]])
    assert [r["due_on"] for r in _rows(path)] == ["2025-04-03", "2025-04-25"]


def test_a_column_that_does_not_exist(tmp_path: Path) -> None:
    path = _write(tmp_path / "links.csv", TABLE)
    with pytest.raises(Trouble, match="no such column"):
        schedule.read(path, columns={"colour": "Etage", "link_label": "Kabel-Nr."})
    with pytest.raises(Trouble, match="not there"):
        schedule.read(path, columns={"link_label": "Cable"})


def test_rows_that_are_marked_as_spare_or_not_applicable_have_no_link(tmp_path: Path) -> None:
    """The mark stands in a cell of its own; in a sentence, or as part of a label, it says nothing."""
    path = tmp_path / "links.csv"
    path.write_text("Link;Floor;Remarks\nA1;2;\nA2;2;Spare\nA3;2;N/A\nSPARE-4;2;keep a spare cord here\n", "utf-8")
    found = schedule.read(path)
    assert found["schedule"]["link_label"].to_pylist() == ["A1", "SPARE-4"]
    told = [(f["rule"], f["link_label"], f["expected"]) for f in found["findings"].to_pylist()]
    assert told == [("row-not-to-be-built", "A2", "Spare"), ("row-not-to-be-built", "A3", "N/A")]
