"""What the language of mappings can say, beyond the examples of its guide: what fits not, and whose it is.

The layouts are invented. The account is held by the definition of the link record: cells read are cells mapped, kept
as extras and ignored by name; a cell of a record set aside is in none of them.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import archive.formats
from archive.cli.side_by_side import side_by_side, width
from archive.errors import Trouble
from archive.formats.base import numbers
from archive.formats.base import text as texts
from archive.formats.conversion_account import ConversionAccount
from archive.formats.mapping import chunks, trial
from archive.formats.mapping.load import load, loads
from archive.formats.mapping.parts import CellPattern
from archive.formats.recognition import Entry

HEAD = '[mapping]\nlayout = "tried"\nlanguage = 1\n'
WORDS = '[cells]\nparameters = { NEXT = "next", IL = "insertion_loss" }\n'
CSV = '[[file]]\nkind = "delimited"\n[[file.table]]\n'


def read(
    folder: Path, mapping: str, files: dict[str, str]
) -> tuple[dict[str, list[dict[str, Any]]], ConversionAccount]:
    """Rows of the tables, with the label of the link of each."""
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(content, "utf-8")
    (folder / "mapping.toml").write_text(HEAD + mapping, "utf-8")
    account, out = ConversionAccount(), {}
    for batch in account.counted(archive.formats.read(folder / next(iter(files)), mapping=folder / "mapping.toml")):
        labels = {r["record_id"]: r["link_label"] for r in batch["records"].to_pylist()}
        for table in ("records", "readings", "reported", "sweeps", "extras", "findings"):
            for row in batch[table].to_pylist():
                out.setdefault(table, []).append({**row, "link": labels.get(row["record_id"])})
    cells = account.cells
    assert cells["read"] == cells["mapped"] + cells["extras"] + cells["ignored"]
    return out, account


MEASURED = [
    {"link": "A-1", "what": "NEXT", "pair": "12-36", "db": 40.1, "probe": "x"},
    {"link": "A-2", "what": "NEXT", "pair": "12-36", "db": 41.0},
    {"link": "A-1", "what": "IL", "pair": "12", "db": 17.5},
    {"what": "IL", "pair": "12", "db": 17.5},
]
ROW_FIELDS = """fields = [
  { from = "link", to = "records.link_label" },
  { from = "what", to = "row.parameter" },
  { from = "pair", to = "row.pairing" },
  { from = "db", to = "row.value" },
]
"""


@pytest.mark.parametrize(
    ("place", "document"),
    [
        ('record = "rows"\n[[file.table]]\nrows = "readings"\neach = "."\n', {"rows": MEASURED}),
        ('[[file.table]]\nrows = "readings"\neach = "a/rows"\n', {"a": {"rows": MEASURED}}),
        ('[[file.table]]\nrows = "readings"\neach = "."\n', MEASURED),
    ],
)
def test_rows_of_json_are_of_the_link_that_each_names(place: str, document: Any, tmp_path: Path) -> None:
    """As in CSV, where rows of one label are one record; a row without a label is of no link."""
    mapping = WORDS + '[[file]]\nkind = "json"\n' + place + ROW_FIELDS
    tables, account = read(tmp_path, mapping, {"e.json": json.dumps(document)})
    found = [(r["link"], r["parameter"], r["pairing"], r["value"]) for r in tables["reported"]]
    assert sorted(found) == [
        ("A-1", "insertion_loss", "1-2", 17.5),
        ("A-1", "next", "1-2/3-6", 40.1),
        ("A-2", "next", "1-2/3-6", 41.0),
    ]
    assert [(x["link"], x["value"]) for x in tables["extras"]] == [("A-1", "x")]
    assert [s["reason"] for s in account.set_aside] == ["rows that name no link"]
    assert account.cells == {"read": 13, "mapped": 12, "extras": 1, "ignored": 0}


def test_rows_that_name_another_link_than_their_record_are_not_filed_under_it(tmp_path: Path) -> None:
    mapping = WORDS + '[[file]]\nkind = "json"\nrecord = "links"\n[[file.table]]\nrows = "labels"\n'
    mapping += 'fields = [{ from = "id", to = "records.link_label" }]\n[[file.table]]\nrows = "readings"\neach = "m"\n'
    links = [{"id": "A-1", "m": MEASURED[:1]}, {"id": "A-2", "m": MEASURED[:2]}]
    tables, account = read(tmp_path, mapping + ROW_FIELDS, {"e.json": json.dumps({"links": links})})
    assert [r["link"] for r in tables["reported"]] == ["A-1"]
    assert [(s["reason"], s["found"]) for s in account.set_aside] == [
        ("rows of one record name two links", "A-2 beside A-1")
    ]


def test_what_stands_beside_rows_of_several_links_holds_for_each(tmp_path: Path) -> None:
    mapping = WORDS + '[[file]]\nkind = "json"\n[[file.table]]\nrows = "labels"\nfields = [\n'
    mapping += '  { from = "job", to = "jobs.name" }, { from = "axis", to = "axes.frequencies_mhz" }\n]\n'
    mapping += '[[file.table]]\nrows = "curves"\neach = "rows"\n' + ROW_FIELDS.replace("row.value", "row.values")
    rows = [{**r, "db": [40.1, 39.0]} for r in MEASURED[:3]]
    tables, account = read(tmp_path, mapping, {"e.json": json.dumps({"job": "Quay", "axis": [1, 2], "rows": rows})})
    assert [(r["link"], r["parameter"], r["values"]) for r in tables["sweeps"]] == [
        ("A-1", "next", [40.1, 39.0]),
        ("A-1", "insertion_loss", [40.1, 39.0]),
        ("A-2", "next", [40.1, 39.0]),
    ]
    assert [r["job_id"] for r in tables["records"]] == ["Quay", "Quay"]
    assert (account.set_aside, account.cells["extras"]) == ([], 1)


KEYED = """[[file]]
kind = "workbook"
[[file.table]]
rows = "links"
sheet = "Links"
fields = [{ from = "Link", to = "records.link_label" }]
[[file.table]]
rows = "readings"
sheet = "Values"
fields = [{ from = "what", to = "row.parameter" }, { from = "db", to = "row.value" }]
"""
BESIDE = """[[file]]
kind = "json"
[[file.table]]
rows = "labels"
fields = [{ from = "length", to = "readings.length" }]
[[file.table]]
rows = "readings"
each = "rows"
"""
FILES = """[[file]]
kind = "delimited"
name = "a"
pattern = "a.csv"
[[file.table]]
rows = "links"
fields = [{ from = "Link", to = "records.link_label" }]
[[file]]
kind = "delimited"
name = "b"
pattern = "b*.csv"
[[file.table]]
rows = "points"
fields = [{ from = "MHz", to = "row.frequency" }, { from = "dB", to = "sweeps.return_loss[1-2]" }]
"""
ONE_FIELD = CSV + 'rows = "links"\nfields = [{ from = "Link", to = "records.link_label" }, %s]\n'


@pytest.mark.parametrize(
    ("reason", "mapping"),
    [
        ("rows that name no link", KEYED),
        ("rows that name no link", BESIDE + ROW_FIELDS),
        ("rows that name no link", FILES),
        ("a field that can feed nothing", ONE_FIELD % '{ from = "Trace", to = "row.file" }'),
        ("needs its pattern and its parts", ONE_FIELD % '{ from = "A", pattern = "{a}" }'),
        ("needs its pattern and its parts", ONE_FIELD % '{ from = "A", parts = { a = "readings.length" } }'),
        (
            "do not belong together",
            ONE_FIELD % '{ from = "A", pattern = "{a} {b}", parts = { a = "readings.length" } }',
        ),
        ("do not belong together", ONE_FIELD % '{ from = "A", pattern = "{a}{b}", parts = { a = "readings.length" } }'),
        ("do not belong together", ONE_FIELD % '{ from = "A", pattern = "/(x/", parts = { a = "readings.length" } }'),
        (
            "two fields from one cell",
            ONE_FIELD % '{ from = "Link", pattern = "{a} m", parts = { a = "readings.length" } }',
        ),
        ("no mark that could stand beside a number", '[cells]\nmarks = { "-" = "note" }\n' + ONE_FIELD % ""),
        ("no such word", '[cells]\nmarks = { "*" = "odd" }\n' + ONE_FIELD % ""),
    ],
)
def test_what_would_be_filed_wrongly_or_do_nothing_is_refused(reason: str, mapping: str) -> None:
    with pytest.raises(Trouble, match=reason):
        loads((HEAD + mapping).encode(), "m.toml")


INDEX = FILES.replace(
    'to = "records.link_label" }]', 'to = "records.link_label" }, { from = "Trace", to = "row.file" }]'
)
POINTS = "MHz,dB\n1,30\n2,29\n"


def test_files_that_a_column_names(tmp_path: Path) -> None:
    """Whole, without its ending, with a foreign folder, in part; not there; named by no row; named by two."""
    index = (
        "Link,Trace\nA-1,b-0001.csv\nA-2,b-0002\nA-3,C:\\x\\b-0003.csv\nA-4,0004\nA-5,0099\nA-6,b-0007\nA-7,b-0007\n"
    )
    files = {"a.csv": index, **{f"b-000{i}.csv": POINTS for i in range(1, 8)}}
    tables, account = read(tmp_path, INDEX, files)
    assert [r["link"] for r in tables["sweeps"]] == ["A-1", "A-2", "A-3", "A-4"]
    assert sorted((s["link_label"] or "", s["reason"]) for s in account.set_aside) == [
        ("", "rows that name no link"),
        ("", "rows that name no link"),
        ("A-5", "a row names a file that is not there"),
        ("A-6", "two rows name one file"),
        ("A-7", "two rows name one file"),
    ]


def test_a_part_of_a_name_that_fits_several_files_names_none(tmp_path: Path) -> None:
    files = {"a.csv": "Link,Trace\nA-1,12\n", "b-12-x.csv": POINTS, "b-12-y.csv": POINTS, "b-112.csv": POINTS}
    tables, account = read(tmp_path, INDEX, files)
    assert "sweeps" not in tables
    assert "what a row names fits several files" in {s["reason"] for s in account.set_aside}


@given(st.lists(st.text("abc 12.:@-", min_size=1, max_size=6).map(str.strip).filter(bool), min_size=2, max_size=3))
def test_a_pattern_gives_back_the_parts_that_were_joined(parts: list[str]) -> None:
    """By words that stand in no part."""
    words = ("<", " | ", " ~ ", ">")
    text, pattern = words[0], words[0]
    for i, part in enumerate(parts):
        mark = words[-1] if i == len(parts) - 1 else words[i + 1]
        text, pattern = text + part + mark, pattern + f"{{p{i}}}" + mark
    assert CellPattern(pattern).parts(text) == {f"p{i}": p for i, p in enumerate(parts)}
    assert CellPattern(pattern).parts(text.replace(" | ", "|")) is not None, "blanks may be missing"


@pytest.mark.parametrize(
    ("pattern", "cell", "parts"),
    [
        ("{v} @ {f} (margin {m})", "1.6 dB @ 1 MHz (margin +0.4 dB)", {"v": "1.6 dB", "f": "1 MHz", "m": "+0.4 dB"}),
        ("{a}:{b}:{c} {v}", "1:0.5:2 30 29 28", {"a": "1", "b": "0.5", "c": "2", "v": "30 29 28"}),
        ("{_} of {n}", "3 of 9", {"_": "3", "n": "9"}),
        ("/(?P<n>\\d+)m/", "about 12m", {"n": "12"}),
        ("{v} dB", "12 dBm", None),
        ("{v} dB", "dB", None),
        ("{a} {b}", "one", None),
    ],
)
def test_patterns_of_cells(pattern: str, cell: str, parts: dict[str, str] | None) -> None:
    assert CellPattern(pattern).parts(cell) == parts


def test_a_cell_that_fits_no_pattern_sets_its_record_aside(tmp_path: Path) -> None:
    field = (
        '{ from = "A", pattern = "{a} @ {f}", parts = { a = "reported.next.value", f = "reported.next.frequency" } }'
    )
    tables, account = read(tmp_path, ONE_FIELD % field, {"e.csv": "Link,A\nL-1,40 @ 10\nL-2,40\nL-3,n/a\nL-4,\n"})
    assert [(r["link"], r["value"], r["frequency_mhz"]) for r in tables["reported"]] == [("L-1", 40.0, 10.0)]
    assert [(s["link_label"], s["expected"]) for s in account.set_aside] == [("L-2", "a cell as {a} @ {f}")]
    assert account.cells["read"] == 5, "a cell of two values is one cell"


def test_stated_axis_and_values_must_agree(tmp_path: Path) -> None:
    parts = '{ a = "row.start", b = "row.step", c = "row.stop", v = "sweeps.return_loss[1-2]" }'
    mapping = CSV + 'rows = "curves"\nfields = [{ from = "Link", to = "records.link_label" }, '
    mapping += f'{{ from = "RL", pattern = "{{a}}:{{b}}:{{c}} {{v}}", parts = {parts} }}]\n'
    tables, account = read(tmp_path, mapping, {"e.csv": "Link,RL\nL-1,1:1:3 30 29 28\nL-2,1:1:3 30 29\n"})
    assert [(r["link"], r["values"]) for r in tables["sweeps"]] == [("L-1", [30.0, 29.0, 28.0])]
    assert [(s["link_label"], s["found"]) for s in account.set_aside] == [("L-2", "2 values")]


BLANKS = [" ", "\u00a0", "\u202f", "\u2009", "\u2007"]


@pytest.mark.parametrize("mark", [*BLANKS, "'", "\u2019"])
def test_marks_between_thousands_in_cells_and_in_lists(mark: str, tmp_path: Path) -> None:
    """A blank stands for every blank, an apostrophe for both. In a list that blanks part, a plain blank parts."""
    written = f"1{mark}234.5"
    assert numbers.read(texts_of(written), numbers.writing(".", mark, ())).values.tolist() == [1234.5]
    mapping = f'[cells]\nthousands = "{mark}"\n{CSV}rows = "curves"\nheadings_are = ""\n'.replace(
        'headings_are = ""\n', ""
    )
    mapping += 'fields = [{ from = "Link", to = "records.link_label" }, { from = "f", to = "row.frequencies" }, '
    mapping += '{ from = "v", to = "sweeps.return_loss[1-2]", separator = "/" }]\n'
    export = f"Link,f,v\nL-1,1 2,40 / {written}\n"
    tables, _ = read(tmp_path, mapping, {"e.csv": export})
    assert tables["sweeps"][0]["values"] == [40.0, 1234.5]


def texts_of(*cells: str) -> Any:
    import pyarrow as pa

    return pa.array(cells)


@pytest.mark.parametrize("letters", ["Länge und Büro", "plain"])
@pytest.mark.parametrize("page", ["cp437", "cp850"])
def test_lines_of_boxes_say_their_code_page(letters: str, page: str) -> None:
    """The letters of both pages are those of Python's codecs, which follow the tables of unicode.org."""
    data = f"Name │ Wert\n─────┼─────\n{letters} │ 1\n".encode(page)
    found = texts.detect(data, whole=True)
    assert data.decode(found.name) == data.decode(page)
    assert not found.assumed


def test_letters_that_the_two_pages_write_otherwise_tell_them_apart() -> None:
    data = "─────┼─────\nSão │ 1\n".encode("cp850")
    assert data.decode(texts.detect(data, whole=True).name) == "─────┼─────\nSão │ 1\n"
    assert texts.detect(data, whole=True).assumed


def test_a_text_of_words_alone_is_not_taken_for_boxes() -> None:
    assert texts.detect("Länge ÄÄ Í º 12 m³\n".encode("cp1252"), whole=True).name == "cp1252"


def test_a_mapping_that_says_ascii_reads_the_next_umlaut(tmp_path: Path) -> None:
    mapping = (ONE_FIELD % '{ from = "Note", to = "records.comment" }').replace(
        'kind = "delimited"', 'kind = "delimited"\nencoding = "ascii"'
    )
    tables, _ = read(tmp_path, mapping, {"e.csv": "Link,Note\nL-1,Büro\n"})
    assert tables["records"][0]["comment"] == "Büro"


@pytest.mark.parametrize("way", ["table", "blocks"])
def test_lines_that_are_drawn_are_no_rows(way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mapping = CSV + 'rows = "links"\nfields = [{ from = "Link", to = "records.link_label" }, '
    mapping += '{ from = "Length", to = "readings.length" }]\n'
    if way == "blocks":
        monkeypatch.setattr(chunks, "_plain", lambda file: False)
    tables, account = read(tmp_path, mapping, {"e.csv": "Link,Length\n-----,-----\nL-1,12\n=====,\nL-2,13\n---,---\n"})
    assert [r["value"] for r in tables["readings"]] == [12.0, 13.0]
    assert (account.set_aside, account.cells["extras"]) == ([], 0)


def test_marks_beside_numbers_are_kept_or_said(tmp_path: Path) -> None:
    fields = '{ from = "Length", to = "readings.length" }, { from = "NEXT", to = "reported.next.margin" }'
    mapping = '[cells]\nmarks = { "*" = "marginal", "!" = "fail", "†" = "note" }\n' + ONE_FIELD % fields
    export = "Link,Length,NEXT\nL-1,6.1*,0.3 *\nL-2,<6.2†,-1!\nL-3,6.3,4\nL-4,6.4?,4\n"
    tables, account = read(tmp_path, mapping, {"e.csv": export})
    assert [(r["value"], r["censored"], r["found"]) for r in tables["readings"]] == [
        (6.1, None, "6.1*"),
        (6.2, "<", "<6.2†"),
        (6.3, None, None),
    ]
    assert [(r["margin"], r["marginal"], r["verdict"]) for r in tables["reported"]] == [
        (0.3, True, None),
        (-1.0, None, "fail"),
        (4.0, None, None),
    ]
    assert {f["found"] for f in tables["findings"]} == {
        "numbers marked '*' and numbers marked '†'",
        "numbers marked '!' and numbers marked '*'",
    }
    assert [s["link_label"] for s in account.set_aside] == ["L-4"], "a mark that nobody explained"


@pytest.mark.parametrize("negative", [False, True])
def test_bounds_in_a_matrix_stay_bounds(negative: bool, tmp_path: Path) -> None:
    mapping = f"[cells]\nnegative = {str(negative).lower()}\n{CSV}"
    mapping += 'rows = "curves"\nheadings_are = "frequencies"\nfields = [{ from = "Link", to = "records.link_label" }, '
    mapping += '{ from = "Pair", to = "row.pairing" }, { from = "@values", to = "sweeps.return_loss" }]\n'
    cells = ("<-70", "-40", "-30") if negative else (">70", "40", "30")
    rows = [f"L-1,12,{','.join(cells)}", f"L-1,36,{cells[1]},{cells[1]},{cells[2]}"]
    tables, _ = read(tmp_path, mapping, {"e.csv": "Link,Pair,1,2,3\n" + "\n".join(rows) + "\n"})
    found = [(r["pairing"], r["values"], r["above"], r["below"]) for r in tables["sweeps"]]
    assert found == [("1-2", [70.0, 40.0, 30.0], [0], None), ("3-6", [40.0, 40.0, 30.0], None, None)]


def test_a_reported_bound_is_no_value_and_is_kept(tmp_path: Path) -> None:
    """Rows of `reported` have no bounds: a worst value of >70 is not one of 70."""
    fields = '{ from = "V", to = "reported.next.value" }, { from = "M", to = "reported.next.margin" }'
    tables, _ = read(tmp_path, ONE_FIELD % fields, {"e.csv": "Link,V,M\nL-1,>70,3\nL-2,60,> 9\nL-3,60,2\nL-4,>70,\n"})
    assert [(r["link"], r["value"], r["margin"]) for r in tables["reported"]] == [
        ("L-1", None, 3.0),
        ("L-2", 60.0, None),
        ("L-3", 60.0, 2.0),
    ]
    assert [(x["link"], x["value"]) for x in tables["extras"]] == [("L-1", ">70"), ("L-2", "> 9"), ("L-4", ">70")]


@pytest.mark.parametrize("way", ["table", "blocks"])
def test_lines_between_measurements_are_no_links_and_cost_none(
    way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By how many cells they fill, and of what kind: never by how they begin."""
    if way == "blocks":
        monkeypatch.setattr(chunks, "_plain", lambda file: False)
    mapping = WORDS + CSV + 'rows = "readings"\n' + ROW_FIELDS
    lines = [
        "link,what,pair,db",
        "A-1,NEXT,12-36,40",
        ",NEXT,12-45,41",
        "Total,,,",
        "A-2,NEXT,12-36,42",
        "Printed by X",
    ]
    tables, account = read(tmp_path, mapping, {"e.csv": "\n".join(lines) + "\n"})
    assert [(r["link"], r["pairing"], r["value"]) for r in tables["reported"]] == [
        ("A-1", "1-2/3-6", 40.0),
        ("A-1", "1-2/4-5", 41.0),
        ("A-2", "1-2/3-6", 42.0),
    ]
    assert [x["value"] for x in tables["extras"]] == ["Total", "Printed by X"]
    assert (account.set_aside, len(tables["records"])) == ([], 2)


def test_a_trial_shows_each_field_with_what_belongs_to_it(tmp_path: Path) -> None:
    """A person's firm alone is nobody, a time of day no time; an axis that stands elsewhere counts."""
    fields = """{ from = "By", to = "people.name" }, { from = "Firm", to = "people.organisation" },
  { from = "Day", to = "records.tested_found[date]", format = "YYYY-MM-DD" },
  { from = "Time", to = "records.tested_found[time]", format = "hh:mm" },
  { from = "M", to = "reported.next.margin" }, { from = "P", to = "reported.next.pairing" }"""
    (tmp_path / "m.toml").write_text(HEAD + ONE_FIELD % fields)
    (tmp_path / "e.csv").write_text("Link,By,Firm,Day,Time,M,P,Rest\nL-1,K. Lund,Tern,2021-05-06,10:30,3,12-36,y\n")
    found = trial.tried(Entry(tmp_path / "e.csv", "e.csv"), load(tmp_path / "m.toml"), 3)
    (record,) = found.records
    told = {r["from"]: (r["to"], r["value"]) for r in reversed(record["rows"])}
    assert record["link"] == "L-1"
    assert told["Firm"] == ("people.organisation", "Tern")
    assert told["Time"] == ("records.tested_found", "2021-05-06 10:30")
    assert told["P"] == ("reported.next[worst_margin,1-2/3-6]", "margin 3")
    assert told["Rest"] == ("extras", "kept as an extra")
    assert all(t["taken"] for t in found.tables)
    lines = list(side_by_side(record))
    assert max(map(width, lines)) <= 80


@pytest.mark.parametrize("text", ["ケーブル番号の長い名前" * 5, "a" * 200, "e\u0301" * 90])
def test_what_is_shown_fits_in_eighty_columns(text: str) -> None:
    """Widths by Unicode's annex 11: a wide character takes two columns, a mark over another none."""
    rows = [{"table": "t", "from": text, "found": text, "to": "records.comment", "value": text}]
    lines = list(side_by_side({"link": text, "place": "line 2", "rows": rows}))
    assert max(map(width, lines)) <= 80
    assert "".join("".join(lines).split()).count(text[0]) >= 3 * text.count(text[0])


def test_columns_of_fixed_places_may_touch_in_headings_and_rows(tmp_path: Path) -> None:
    mapping = '[[file]]\nkind = "report"\nblock = "file"\n[[file.table]]\nrows = "labels"\n'
    mapping += 'fields = [{ from = "Link", to = "records.link_label" }]\n[[file.table]]\nrows = "points"\n'
    mapping += 'widths = [0, 7]\nfields = [{ from = "FreqMHz", to = "row.frequency" }, '
    mapping += '{ from = "RL dB", to = "sweeps.return_loss[1-2]" }]\n'
    text = "Link: A-1\nFreqMHzRL dB\n1.00   30.1\n100.50029.0\n200.00028.0\n"
    tables, account = read(tmp_path, mapping, {"e.txt": text})
    assert [r["values"] for r in tables["sweeps"]] == [[30.1, 29.0, 28.0]]
    assert (account.set_aside, account.cells["extras"]) == ([], 0)


@pytest.mark.parametrize("way", ["table", "blocks"])
def test_places_count_lines_where_a_cell_goes_over_two(
    way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if way == "blocks":
        monkeypatch.setattr(chunks, "_plain", lambda file: False)
    fields = '{ from = "Note", to = "records.comment" }, { from = "Length", to = "readings.length" }'
    text = 'Link,Note,Length\nA-1,"two\nlines",12\nA-2,one,x\n'
    tables, account = read(tmp_path, ONE_FIELD % fields, {"e.csv": text})
    assert [r["comment"] for r in tables["records"]] == ["two\nlines"]
    assert [s["place"] for s in account.set_aside] == ["line 4, Length"]
