"""Cells that the tables have no row for stay as extras; what stands once for all records is found with all of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from invented.job import PAIRS
from invented.job import tests as simulated
from invented.text import lines, num

from archive import formats
from archive.formats.conversion_account import ConversionAccount
from archive.formats.draft.command import draft_of

MAPPING = """
[mapping]
layout = "x"
[[file]]
kind = "delimited"
[[file.table]]
rows = "links"
fields = [
  { from = "Link", to = "records.link_label" },
  { from = "By", to = "people.name" },
  { from = "Firm", to = "people.organisation" },
  { from = "Client", to = "jobs.client" },
]
"""


def _read(path: Path, mapping: Path | None = None) -> tuple[dict[str, list[dict[str, Any]]], dict[str, int]]:
    account, rows = ConversionAccount(), {}
    for batch in account.counted(formats.read(path, mapping=mapping)):
        for name, table in batch.items():
            rows.setdefault(name, []).extend(table.to_pylist())
    return rows, account.cells


def test_an_organisation_without_a_person_stays_as_it_was_found(tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text(MAPPING)
    (tmp_path / "a.csv").write_text("Link,By,Firm,Client\nA-1,R. Ostrander,Tern,Quay\nA-2,,Gull,Quay\n")
    rows, cells = _read(tmp_path / "a.csv", tmp_path / "m.toml")
    assert [(p["name"], p["organisation"]) for p in rows["people"]] == [("R. Ostrander", "Tern")]
    assert [(e["name"], e["value"]) for e in rows["extras"]] == [("Firm", "Gull")]
    assert [j["client"] for j in rows["jobs"]] == ["Quay"]
    assert (cells["read"], cells["mapped"], cells["extras"]) == (7, 6, 1)


def test_a_cover_sheet_holds_for_the_sheets_of_links(tmp_path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    cover = book.active
    assert cover is not None
    cover.title = "Cover"
    cover.append(["Client", "Lantern Quay Trust"])
    listed = simulated(3, 88, points=12)
    for t in listed:
        sheet = book.create_sheet(t.label)
        for row in (["Cable", t.label], ["Tested", t.when], ["Limit", t.limit], ["Verdict", t.verdict.upper()], []):
            sheet.append(row)
        sheet.append(["MHz", *(f"IL {p} [dB]" for p in PAIRS)])
        for i, f in enumerate(t.axis):
            sheet.append([float(f), *(round(float(t.curves["insertion_loss", "", p][i]), 1) for p in PAIRS)])
    book.save(tmp_path / "book.xlsx")
    rows, cells = _read(tmp_path / "book.xlsx")
    assert [r["link_label"] for r in rows["records"]] == [t.label for t in listed]
    assert {r["job_id"] for r in rows["records"]} == {"Lantern Quay Trust"}
    assert len(rows["sweeps"]) == 3 * 4
    assert cells["read"] == cells["mapped"] + cells["extras"] + cells["ignored"]


def test_numbers_of_rows_do_not_part_records_and_sums_and_pages_are_none(tmp_path: Path) -> None:
    listed = simulated(4, 89, points=8)
    table: list[list[object]] = [["printed on 2021-02-01", "", "page 1"]]
    table.append(["No.", "Link", "Tested", "Pair", "Length [m]", "Delay [ns]", "Result"])
    for t in listed:
        day = t.when.strftime("%Y-%m-%d")
        table += [[0, t.label, day, p, num(t.length[p]), num(t.delay[p], 0), t.verdict.upper()] for p in PAIRS]
    for n, row in enumerate(table[2:], 1):
        row[0] = n
    table.append(["", "Total links: 4", "", "", "", "", ""])
    path = tmp_path / "list.csv"
    path.write_text(lines(table, ";"))
    assert "records.sequence" not in {f["to"] for f in draft_of(path).fields}
    rows, _ = _read(path)
    assert [r["link_label"] for r in rows["records"]] == [t.label for t in listed]
    assert len([r for r in rows["readings"] if r["quantity"] == "length"]) == 16
