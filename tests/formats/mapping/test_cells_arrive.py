"""A cell counts as mapped when it arrived in a table; what no table took is an extra, whatever field takes it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

import archive.formats
from archive.errors import Trouble
from archive.formats.conversion_account import ConversionAccount
from archive.formats.mapping.load import loads

Case = tuple[str, str, list[tuple[str, str, Any]]]

LENGTH = ("row.value", "37.25", 37.25)
OF_LENGTH = ("row.parameter", "length", "length")
CASES: dict[str, Case] = {
    "a value and what it is of": ("readings", "", [OF_LENGTH, LENGTH]),
    "a value that the table names": ("readings", "readings.length", [LENGTH]),
    "a pair without a value": ("readings", "readings.length", [("row.pairing", "1-2", "1-2")]),
    "an unknown unit": ("readings", "readings.length", [LENGTH, ("row.unit", "furlongs", None)]),
    "a known unit": ("readings", "readings.length", [("row.value", "10", 3.048), ("row.unit", "ft", 3.048)]),
    "an unknown end": ("readings", "readings.length", [LENGTH, ("row.end", "true", None)]),
    "the distance of a fault": (
        "readings",
        "",
        [
            ("row.contact", "3", "3"),
            ("row.fault", "open", "open"),
            ("row.distance", "17.5", 17.5),
        ],
    ),
    "points": (
        "points",
        "",
        [("row.frequency", "25", 25.0), ("sweeps.next[1-2/3-6]", "44.5", 44.5)],
    ),
    "a point without its frequency": (
        "points",
        "",
        [("row.frequency", "", None), ("sweeps.next[1-2/3-6]", "44.5", None)],
    ),
    "frequencies without a point": ("points", "", [("row.frequency", "25", None)]),
    "a curve": (
        "curves",
        "",
        [
            ("row.frequencies", "10 20", [10.0, 20.0]),
            ("sweeps.next[1-2/3-6]", "44.5 45.5", [44.5, 45.5]),
            ("row.count", "2", 44.5),
        ],
    ),
    "a worst point": (
        "links",
        "",
        [
            ("reported.next.margin", "4.5", 4.5),
            ("reported.next.frequency", "111.5", 111.5),
            ("reported.next.pairing", "1-2/3-6", "1-2/3-6"),
            ("reported.next.verdict", "Pass", "Pass"),
        ],
    ),
    "a worst wavelength": (
        "links",
        "",
        [("reported.optical_loss.value", "1.25", 1.25), ("reported.optical_loss.wavelength", "1310", 1310.0)],
    ),
    "half a connection": ("links", "", [("records.connections", "2.5", None)]),
    "whole connections": ("links", "", [("records.connections", "3", 3)]),
    "a mark nobody knows": ("links", "", [("records.reported_marginal", "perhaps so", None)]),
    "a zone without a time": ("links", "", [("records.tested_found[zone]", "+01:00", None)]),
    "a time and its zone": (
        "links",
        "",
        [
            ("records.tested_found", "2021-05-06 07:08", "2021-05-06 07:08 +01:00"),
            ("records.tested_found[zone]", "+01:00", 60),
        ],
    ),
    "a whole time and its parts": (
        "links",
        "",
        [
            ("records.tested_found", "2021-05-06 07:08", "2021-05-06 07:08"),
            ("records.tested_found[date]", "2021-05-07", None),
        ],
    ),
    "who tested": ("links", "", [("people.name", "K. Lund", "K. Lund"), ("people.role", "foreman", None)]),
    "a person without a name": ("links", "", [("people.contact", "room 4", None)]),
    "an instrument": (
        "links",
        "",
        [("instruments.serial[local]", "S-17", "S-17"), ("instruments.serial", "S-18", None)],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_mapped_cell_is_in_a_table(name: str, tmp_path: Path) -> None:
    rows, given, fields = CASES[name]
    sources = [f"c{i}" for i in range(len(fields))]
    listed = "".join(f'  {{ from = "{s}", to = "{to}" }},\n' for s, (to, _, _) in zip(sources, fields, strict=True))
    (tmp_path / "m.toml").write_text(
        f"""[mapping]
layout = "tried"
language = 1
[[file]]
kind = "delimited"
delimiter = ";"
[[file.table]]
name = "t"
rows = "{rows}"
{f'given = "{given}"' if given else ""}
fields = [
  {{ from = "Link", to = "records.link_label" }},
{listed}]
"""
    )
    (tmp_path / "e.csv").write_text(
        ";".join(["Link", *sources]) + "\n" + ";".join(["A-1", *(c for _, c, _ in fields)]) + "\n"
    )
    found, extras, cells = _read(tmp_path / "e.csv", tmp_path / "m.toml")
    there = sum(bool(cell) for _, cell, _ in fields) + 1
    lost = {s: cell for s, (_, cell, arrived) in zip(sources, fields, strict=True) if arrived is None and cell}
    if name in ("a pair without a value", "an unknown unit", "an unknown end"):
        lost = {s: cell for s, (_, cell, _) in zip(sources, fields, strict=True)}
    assert extras == lost
    assert cells == {"read": there, "mapped": there - len(lost), "extras": len(lost), "ignored": 0}
    assert [e for s, (_, c, e) in zip(sources, fields, strict=True) if c and s not in lost and e not in found] == []


def _read(export: Path, mapping: Path) -> tuple[list[Any], dict[str, str], dict[str, int]]:
    account = ConversionAccount()
    found: list[Any] = []
    extras: dict[str, str] = {}
    for batch in account.counted(archive.formats.read(export, mapping=mapping)):
        for table, content in batch.items():
            for row in content.to_pylist():
                if table == "extras":
                    extras[row["name"]] = row["value"]
                elif table not in ("sources", "set_aside"):
                    found += row.values()
    found += [point for cells in found if isinstance(cells, list) for point in cells]
    assert account.set_aside == []
    return found, extras, account.cells


def test_two_tables_that_disagree_keep_both_cells(tmp_path: Path) -> None:
    """Two sheets of one record: a whole date in one, its parts in the other, and two limits."""
    (tmp_path / "m.toml").write_text(
        """[mapping]
layout = "tried"
language = 1
[[file]]
kind = "json"
[[file.table]]
name = "labels"
rows = "labels"
fields = [ { from = "id", to = "records.link_label" }, { from = "limit", to = "records.limit_found" } ]
[[file.table]]
name = "copper"
rows = "links"
each = "copper"
fields = [ { from = "day", to = "records.tested_found[date]" }, { from = "limit", to = "records.limit_found" } ]
[[file.table]]
name = "fibre"
rows = "links"
each = "fibre"
fields = [ { from = "at", to = "records.tested_found" } ]
"""
    )
    records = [
        {"id": "A-1", "limit": "one", "copper": [{"day": "2021-05-06", "limit": "other"}]},
        {"id": "A-2", "limit": "one", "copper": [], "fibre": [{"at": "2021-05-07"}]},
    ]
    (tmp_path / "e.json").write_text(json.dumps(records))
    found, extras, cells = _read(tmp_path / "e.json", tmp_path / "m.toml")
    assert {"2021-05-06", "2021-05-07", "one"} <= {x for x in found if isinstance(x, str)}
    assert extras == {"limit": "other"}
    assert cells == {"read": 7, "mapped": 6, "extras": 1, "ignored": 0}


def test_a_job_that_two_records_describe_otherwise_keeps_both(tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text(
        """[mapping]
layout = "tried"
language = 1
[[file]]
kind = "delimited"
[[file.table]]
name = "t"
rows = "links"
fields = [
  { from = "Link", to = "records.link_label" },
  { from = "Job", to = "jobs.name" },
  { from = "Client", to = "jobs.client" },
]
"""
    )
    (tmp_path / "e.csv").write_text("Link,Job,Client\nA-1,J,one\nA-2,J,two\n")
    found, extras, cells = _read(tmp_path / "e.csv", tmp_path / "m.toml")
    assert "one" in found and "two" not in found
    assert extras == {"Client": "two"}
    assert cells == {"read": 6, "mapped": 5, "extras": 1, "ignored": 0}


def test_rows_without_their_path_are_refused() -> None:
    """They would feed nothing."""
    text = """[mapping]
layout = "tried"
language = 1
[[file]]
kind = "json"
[[file.table]]
name = "t"
rows = "readings"
fields = [ { from = "v", to = "readings.length" } ]
"""
    with pytest.raises(Trouble, match="a table of rows without their path"):
        loads(text.encode())
    loads(text.replace("rows =", 'each = "list"\nrows =').encode())


DEAD = {
    "a value of nothing": ("readings", ["row.value"]),
    "a distance of no contact": ("readings", ["row.distance"]),
    "a verdict of a point": ("points", ["row.frequency", "sweeps.next[1-2/3-6]", "row.verdict"]),
    "points without a frequency": ("points", ["sweeps.next[1-2/3-6]"]),
    "a point of one frequency": ("points", ["row.frequency", "sweeps.next[1-2/3-6,100MHz]"]),
    "a curve of no quantity": ("curves", ["row.frequencies", "row.values"]),
    "an axis without curves": ("links", ["row.start", "readings.length"]),
    "a label of an axis": ("axes", ["axes.frequencies_mhz", "records.comment"]),
    "a field of a cross": ("cross", ["readings.length"]),
}


@pytest.mark.parametrize("name", DEAD)
def test_a_field_that_can_feed_nothing_is_refused(name: str) -> None:
    """It would read like one that does."""
    rows, places = DEAD[name]
    listed = ", ".join(f'{{ from = "c{i}", to = "{to}" }}' for i, to in enumerate(places))
    text = f'''[mapping]
layout = "tried"
[[file]]
kind = "delimited"
[[file.table]]
rows = "{rows}"
fields = [{listed}]
'''
    with pytest.raises(Trouble, match="a field that can feed nothing") as caught:
        loads(text.encode())
    assert caught.value.code == "mapping.dead-field"


@pytest.mark.parametrize(
    ("kind", "of_file", "of_table"),
    [
        ("delimited", 'record = "links"', ""),
        ("delimited", "", 'each = "links"'),
        ("workbook", 'delimiter = ";"', ""),
        ("workbook", "", "widths = [0, 8]"),
        ("json", 'block = "Link"', 'each = "links"'),
        ("xml", "", 'each = "links"\nheader_rows = 2'),
    ],
)
def test_a_key_that_does_nothing_is_refused(kind: str, of_file: str, of_table: str) -> None:
    """A key of another kind of file."""
    text = f'''[mapping]
layout = "tried"
[[file]]
kind = "{kind}"
{of_file}
[[file.table]]
rows = "links"
{of_table}
fields = [{{ from = "a", to = "records.link_label" }}]
'''
    with pytest.raises(Trouble, match="a key that does nothing there") as caught:
        loads(text.encode())
    assert caught.value.code == "mapping.dead-key"


def _read_points(tmp_path: Path, fields: str, lines: str) -> Any:
    (tmp_path / "m.toml").write_text(
        f"""[mapping]
layout = "tried"
[cells]
parameters = {{ "NEXT" = "next" }}
[[file]]
kind = "delimited"
[[file.table]]
rows = "points"
fields = [ {{ from = "Link", to = "records.link_label" }}, {fields} ]
"""
    )
    (tmp_path / "e.csv").write_text(lines)
    account = ConversionAccount()
    batches = list(account.counted(archive.formats.read(tmp_path / "e.csv", mapping=tmp_path / "m.toml")))
    return batches, account


_POINT = '{ from = "MHz", to = "row.frequency" }, { from = "dB", to = "sweeps.next[local,1-2/3-6]" }'


def test_two_curves_of_one_thing_are_refused(tmp_path: Path) -> None:
    """A mapping that leaves out the end puts both ends into one curve: the record is set aside, the next one is not."""
    keys = (
        '{ from = "MHz", to = "row.frequency" }, { from = "Pair", to = "row.pairing" }, { from = "C", to = "row.end" }'
    )
    fields = keys + ', { from = "A dB", to = "sweeps.next" }, { from = "B dB", to = "sweeps.next[local]" }'
    lines = "Link,Pair,C,MHz,A dB,B dB\n" + "".join(
        f"{link},12-36,{end},{f},{v},{w}\n"
        for link, end, w in (("A-1", "local", 50.5), ("A-2", "remote", 49.5))
        for f, v in ((10, 44.5), (20, 43.5))
    )
    batches, account = _read_points(tmp_path, fields, lines)
    (row,) = account.set_aside
    assert row["link_label"] == "A-1"
    assert row["reason"] == "two curves of one thing"
    assert row["found"] == "NEXT local 1-2/3-6, twice and not the same"
    assert "mapping" in row["remedy"]
    assert [r["link_label"] for b in batches for r in b["records"].to_pylist()] == ["A-2"]


def test_a_row_without_a_frequency_keeps_its_value_as_an_extra(tmp_path: Path) -> None:
    """A value that is in no curve is not mapped."""
    batches, account = _read_points(tmp_path, _POINT, "Link,MHz,dB\nA-1,10,44.5\nA-1,,43.5\nA-1,20,42.5\n")
    (batch,) = batches
    assert batch["sweeps"]["values"].to_pylist() == [[44.5, 42.5]]
    assert [(r["name"], r["value"]) for r in batch["extras"].to_pylist()] == [("dB", "43.5")]
    assert account.cells == {"read": 8, "mapped": 7, "extras": 1, "ignored": 0}


def test_a_curve_with_fewer_values_than_said_is_set_aside(tmp_path: Path) -> None:
    """row.count is compared with the cell."""
    (tmp_path / "m.toml").write_text(
        """[mapping]
layout = "tried"
[[file]]
kind = "delimited"
delimiter = ";"
[[file.table]]
rows = "curves"
fields = [
  { from = "Link", to = "records.link_label" },
  { from = "MHz", to = "row.frequencies" },
  { from = "n", to = "row.count" },
  { from = "dB", to = "sweeps.next[local,1-2/3-6]" },
]
"""
    )
    (tmp_path / "e.csv").write_text("Link;MHz;n;dB\nA-1;10 20;2;44 45\nA-2;10 20;3;44 45\n")
    account = ConversionAccount()
    list(account.counted(archive.formats.read(tmp_path / "e.csv", mapping=tmp_path / "m.toml")))
    (row,) = account.set_aside
    assert (row["link_label"], row["found"], row["expected"]) == ("A-2", "2 values", "3, as n says")
