"""Link record CSV as people and other programs hand it back: other columns orders, line ends, row orders."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import pytest

import archive.formats
from archive.errors import Trouble
from archive.formats.open_csv import METADATA
from archive.tables import Batch, concat, tables
from tests.formats import conformance_kit as kit


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The kit's every-table document as a CSV folder."""
    out = tmp_path / "csv"
    archive.formats.write([Batch.from_rows(kit.every_table())], out, "csv")
    return out


def _read(path: Path) -> Batch:
    return concat(archive.formats.read(path))


EVERY = Batch.from_rows(kit.every_table())


def _rewrite(path: Path, **dialect: Any) -> None:
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, **dialect).writerows(rows)


def test_every_table_and_the_metadata_stand_there(folder: Path) -> None:
    assert {p.name for p in folder.iterdir()} == {METADATA, *(f"{t}.csv" for t in tables())}


@pytest.mark.parametrize("text", ["a\nb", "a\rb", "a\u2028b", "a\x85b", "a\x0bb", "\ufeffa", '",\n"'])
def test_every_row_is_one_line(tmp_path: Path, text: str) -> None:
    rows = {"records": [{"record_id": text, "evidence": "full-sweep", "comment": text}]}
    archive.formats.write([Batch.from_rows(rows)], tmp_path / "a", "csv")
    assert len((tmp_path / "a" / "records.csv").read_text(encoding="utf-8").splitlines()) == 2


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\uff1d1"])
def test_no_cell_of_text_begins_like_a_formula(tmp_path: Path, text: str) -> None:
    # What a spreadsheet takes for a formula: OWASP, "CSV Injection" (from memory).
    rows = {"records": [{"record_id": "a", "evidence": "full-sweep", "comment": text, "link_label": text}]}
    archive.formats.write([Batch.from_rows(rows)], tmp_path / "a", "csv")
    with (tmp_path / "a" / "records.csv").open(encoding="utf-8", newline="") as file:
        cells = [c for row in csv.reader(file) for c in row]
    assert not [c for c in cells if c[:1] in "=+-@\t\r\uff1d" and c]
    assert _read(tmp_path / "a")["records"].column("comment").to_pylist() == [text]


def test_windows_line_ends_and_everything_quoted(folder: Path) -> None:
    for path in folder.glob("*.csv"):
        _rewrite(path, lineterminator="\r\n", quoting=csv.QUOTE_ALL)
    assert _read(folder).equals(EVERY)


def test_a_byte_order_mark(folder: Path) -> None:
    for path in folder.glob("*.csv"):
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert _read(folder).equals(EVERY)


def test_columns_in_another_order_and_empty_ones_left_out(folder: Path) -> None:
    path = folder / "sweeps.csv"
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    names = sorted(n for n in rows[0] if any(r[n] for r in rows))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, names, extrasaction="ignore")
        writer.writeheader()
        writer.writerows(rows)
    assert _read(folder).equals(EVERY)


def test_tables_without_rows_may_be_left_out(folder: Path) -> None:
    for path in folder.glob("*.csv"):
        if len(path.read_bytes().splitlines()) == 1:
            path.unlink()
    assert _read(folder).equals(EVERY)


def test_rows_in_another_order_than_the_records(folder: Path) -> None:
    for name in ("sweeps", "findings"):
        lines = (folder / f"{name}.csv").read_text(encoding="utf-8").splitlines(keepends=True)
        (folder / f"{name}.csv").write_text("".join([lines[0], *reversed(lines[1:])]), encoding="utf-8")
    back = _read(folder)
    assert back["sweeps"].equals(EVERY["sweeps"])
    assert sorted(map(str, back["findings"].to_pylist())) == sorted(map(str, EVERY["findings"].to_pylist()))
    assert back["set_aside"].equals(EVERY["set_aside"])


def test_many_rows_in_another_order_go_by_way_of_a_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("archive.formats.external_sort.MOST_BYTES", 1000)
    monkeypatch.setattr("archive.formats.open_csv.read_csv._BLOCK", 2000)
    ids = [f"r{i:04d}" for i in range(2500)]
    reading = {"quantity": "length", "origin": "measured"}
    rows = {
        "records": [{"record_id": i, "evidence": "worst-points"} for i in ids],
        "readings": [{"record_id": i, "value": float(n), **reading} for n in (1, 2) for i in reversed(ids)],
    }
    written = list(_thousands(rows))
    archive.formats.write(written, tmp_path / "a", "csv")
    path = tmp_path / "a" / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join([lines[0], *reversed(lines[1:])]), encoding="utf-8")
    back = list(archive.formats.read(tmp_path / "a"))
    assert [len(b) for b in back] == [1000, 1000, 500]
    found = [r for b in back for r in b["readings"].column("record_id").to_pylist()]
    assert found == [i for i in ids for _ in range(2)]


def _thousands(rows: dict[str, list[dict[str, Any]]]) -> Any:
    for start in range(0, len(rows["records"]), 1000):
        records = rows["records"][start : start + 1000]
        mine = {r["record_id"] for r in records}
        yield Batch.from_rows({"records": records, "readings": [r for r in rows["readings"] if r["record_id"] in mine]})


def test_set_aside_names_the_line(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(kit.CSV_ASIDE["csv-letters-in-a-number"][0])
    row = _read(tmp_path / "a.zip")["set_aside"].to_pylist()[0]
    assert (row["path"], row["place"], row["found"]) == ("a.zip/sweeps.csv", "line 2", "0.1 dB")
    assert row["link_label"] == "A1"


def test_lines_are_counted_past_rows_with_a_wrong_number_of_cells(folder: Path) -> None:
    path = folder / "extras.csv"
    path.write_text(
        path.read_text(encoding="utf-8") + "re-fiber,too,many,cells,here\nre-fiber,n,p,\\x\n", encoding="utf-8"
    )
    places = [(r["place"], r["reason"]) for r in _read(folder)["set_aside"].to_pylist() if r["path"] == "extras.csv"]
    assert places == [("line 3", "the row has a wrong number of cells")]
    path.write_text(path.read_text(encoding="utf-8").replace("re-fiber,n", "re-copper,n"), encoding="utf-8")
    places = [r["place"] for r in _read(folder)["set_aside"].to_pylist() if r["path"] == "extras.csv"]
    assert places == ["line 4", "line 3"]


def test_damaged_metadata_is_told(folder: Path) -> None:
    (folder / METADATA).write_text("{", encoding="utf-8")
    with pytest.raises(Trouble, match="metadata file is damaged"):
        list(archive.formats.read(folder))
