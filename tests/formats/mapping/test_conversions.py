"""What reading by a mapping does to numbers, beside their notation, is said once for each column and file."""

from __future__ import annotations

import json
from pathlib import Path

import pyarrow as pa
import pytest

from archive import formats, validation
from archive.tables import Batch, concat
from tests.cli.person import typed

NEXT = 'parameters = { "NEXT" = "next" }'
LABEL = '{ from = "Link", to = "records.link_label" }'
FT = ("numbers in ft", "numbers in m")
KHZ = ("numbers in kHz", "numbers in MHz")
BELOW = ("losses below zero", "losses above zero")
COMMA = ("numbers with the decimal mark ','", "numbers with the decimal mark '.'")
POINTS = ("numbers with the thousands mark '.'", "numbers without one")


def _batches(
    folder: Path, text: str, *fields: str, cells: str = "", rows: str = "links", more: str = ""
) -> list[Batch]:
    """A delimited file heron.csv, read by a mapping with these fields."""
    head = ["[mapping]", 'layout = "heron"', "language = 1", "[cells]", cells]
    head += ["[[file]]", 'kind = "delimited"', 'delimiter = ";"', "[[file.table]]", f'rows = "{rows}"', more]
    mapping = "\n".join([*head, f"fields = [{', '.join([LABEL, *fields])}]"])
    (folder / "heron.toml").write_text(mapping, "utf-8")
    (folder / "heron.csv").write_text(text, "utf-8")
    return list(formats.read_all([folder / "heron.csv"], mapping=folder / "heron.toml"))


def _read(folder: Path, text: str, *fields: str, cells: str = "", rows: str = "links", more: str = "") -> Batch:
    """The same of a file of few records."""
    return concat(_batches(folder, text, *fields, cells=cells, rows=rows, more=more))


def _changes(batch: Batch) -> dict[str, tuple[str, str]]:
    """Found and read by column."""
    rows = [f for f in batch["findings"].to_pylist() if f["rule"] == "numbers-converted"]
    assert all((f["status"], f["severity"], f["record_id"]) == ("input changed", "information", None) for f in rows)
    assert len({f["where"] for f in rows}) == len(rows)
    return {f["where"].removeprefix("heron.csv, "): (f["found"], f["expected"]) for f in rows}


@pytest.mark.parametrize(
    ("cell", "field", "cells", "change"),
    [
        ("100", '{ from = "X", to = "readings.length", unit = "ft" }', "", FT),
        ("100 ft", '{ from = "X", to = "readings.length" }', "", FT),
        ("30.5", '{ from = "X", to = "readings.length" }', "", None),
        ("", '{ from = "X", to = "readings.length", unit = "ft" }', "", None),
        ("30,5", '{ from = "X", to = "readings.length" }', 'decimal = ","', COMMA),
        ("30", '{ from = "X", to = "readings.length" }', 'decimal = ","', None),
        ("1.030", '{ from = "X", to = "readings.length" }', 'decimal = ","\nthousands = "."', POINTS),
        ("-40.1", '{ from = "X", to = "reported.next.value[worst_value]", negative = true }', "", BELOW),
        ("0", '{ from = "X", to = "reported.next.value[worst_value]", negative = true }', "", None),
        ("-1.2", '{ from = "X", to = "reported.next.margin[worst_margin]", negative = true }', "", None),
        ("69", '{ from = "X", to = "records.velocity_percent" }', "", None),
        ("0.69", '{ from = "X", to = "records.velocity_percent" }', "", ("fractions of one", "percentages")),
    ],
)
def test_a_single_value(tmp_path: Path, cell: str, field: str, cells: str, change: tuple[str, str] | None) -> None:
    batch = _read(tmp_path, f"Link;X\nA1;{cell}\nA2;{cell}\n", field, cells=cells)
    assert len(batch) == 2
    assert _changes(batch) == ({"X": change} if change else {})


def test_several_changes_of_a_column_are_one_finding(tmp_path: Path) -> None:
    batch = _read(
        tmp_path, "Link;X\nA1;100,5\n", '{ from = "X", to = "readings.length", unit = "ft" }', cells='decimal = ","'
    )
    assert _changes(batch) == {"X": tuple(" and ".join(words) for words in zip(FT, COMMA, strict=True))}


def test_curves_of_points(tmp_path: Path) -> None:
    text = "Link;What;Pair;F;V\n" + "".join(f"A1;NEXT;1-2/3-6;{1000 * n};-{60 - n}\n" for n in range(1, 9))
    fields = (
        '{ from = "What", to = "row.parameter" }',
        '{ from = "Pair", to = "row.pairing" }',
        '{ from = "F", to = "row.frequency", unit = "kHz" }',
        '{ from = "V", to = "row.value", negative = true }',
    )
    batch = _read(tmp_path, text, *fields, rows="points", cells=NEXT)
    assert batch["axes"]["frequencies_mhz"].to_pylist() == [[float(n) for n in range(1, 9)]]
    assert _changes(batch) == {"F": KHZ, "V": BELOW}


def test_curves_in_cells(tmp_path: Path) -> None:
    text = "Link;What;Pair;F;V\nA1;NEXT;1-2/3-6;1000 2000 3000;-60,5 -59 -58\n"
    fields = (
        '{ from = "What", to = "row.parameter" }',
        '{ from = "Pair", to = "row.pairing" }',
        '{ from = "F", to = "row.frequencies", unit = "kHz" }',
        '{ from = "V", to = "row.values", negative = true }',
    )
    batch = _read(tmp_path, text, *fields, rows="curves", cells=f'{NEXT}\ndecimal = ","')
    assert batch["sweeps"]["values"].to_pylist() == [[60.5, 59.0, 58.0]]
    assert _changes(batch) == {"F": KHZ, "V": tuple(" and ".join(words) for words in zip(BELOW, COMMA, strict=True))}


def test_frequencies_as_headings(tmp_path: Path) -> None:
    fields = (
        '{ from = "What", to = "row.parameter" }',
        '{ from = "Pair", to = "row.pairing" }',
        '{ from = "@values", to = "row.values" }',
    )
    text = "Link;What;Pair;1000;2000;3000\nA1;NEXT;1-2/3-6;60;59;58\n"
    more = 'headings_are = "frequencies"\nfrequency_unit = "kHz"'
    batch = _read(tmp_path, text, *fields, rows="curves", cells=NEXT, more=more)
    assert batch["axes"]["frequencies_mhz"].to_pylist() == [[1.0, 2.0, 3.0]]
    assert _changes(batch) == {"the frequencies of the headings": KHZ}


def test_one_finding_for_each_column_of_a_file_of_many_batches(tmp_path: Path) -> None:
    text = "Link;X\n" + "".join(f"A{n};{n % 90 + 1}\n" for n in range(12_000))
    first, *_ = batches = _batches(tmp_path, text, '{ from = "X", to = "readings.length", unit = "ft" }')
    assert len(batches) > 10
    assert sum(map(len, batches)) == 12_000
    found = pa.concat_tables([b["findings"] for b in batches])
    assert _changes(first.replace(findings=found)) == {"X": FT}


def test_what_no_table_takes_was_not_changed(tmp_path: Path) -> None:
    """Cells of a parameter that nobody knows are kept as they were found."""
    fields = ('{ from = "What", to = "row.parameter" }', '{ from = "F", to = "row.frequency", unit = "kHz" }')
    value = '{ from = "V", to = "row.value", negative = true }'
    batch = _read(tmp_path, "Link;What;F;V\nA1;Zeal;1000;-60\n", *fields, value, rows="points")
    assert len(batch["extras"]) == 3
    assert _changes(batch) == {}


def test_a_check_reports_what_was_changed(tmp_path: Path) -> None:
    batch = _read(tmp_path, "Link;X\nA1;100\n", '{ from = "X", to = "readings.length", unit = "ft" }')
    (found,) = [f for f in validation.check(batch).to_pylist() if f["status"] == "input changed"]
    assert found["message"] == "heron.csv, X: numbers in ft were read as numbers in m."


def test_a_draft_says_it_too(tmp_path: Path) -> None:
    rows = [{"Link": f"2-TR2-A{n}", "Length (ft)": 100.0 + n, "Result": "PASS"} for n in range(101, 140)]
    (tmp_path / "drafted.json").write_text(json.dumps({"links": rows}), "utf-8")
    batch = concat(list(formats.read_all([tmp_path / "drafted.json"])))
    found = [f for f in batch["findings"].to_pylist() if f["status"] == "input changed"]
    assert [(f["found"], f["expected"]) for f in found] == [FT]


def test_a_claim_shows_what_was_changed_in_its_own_file_alone(tmp_path: Path) -> None:
    _read(tmp_path, "Link;X\nA1;100\n", '{ from = "X", to = "readings.length", unit = "ft" }')
    other = {"links": [{"Link": f"2-TR2-B{n}", "Length (ft)": 100.0 + n, "Result": "PASS"} for n in range(101, 140)]}
    (tmp_path / "other.json").write_text(json.dumps(other), "utf-8")
    archive = tmp_path / "archive"
    assert typed("init", archive).code == 0
    mapping = ["--mapping", tmp_path / "heron.toml"]
    typed("deposit", tmp_path / "heron.csv", tmp_path / "other.json", *mapping, "--into", archive, "--job", "J")
    made = typed("claim", archive, "A1", "--job", "J", "--out", tmp_path / "claim")
    assert made.code in (0, 1), made
    page = (tmp_path / "claim" / "data" / "claim.html").read_text("utf-8")
    assert "What this program changed in what it read" in page
    assert "heron.csv, X: numbers in ft were read as numbers in m." in page
    assert "other.json" not in page.split("What this program changed in what it read")[1].split("</table>")[0]
