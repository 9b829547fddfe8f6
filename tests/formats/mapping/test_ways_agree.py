"""One row source: whole columns, single rows and blocks read the same from the same text."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import archive.formats
from archive.formats.conversion_account import ConversionAccount
from archive.formats.mapping import chunks
from archive.formats.mapping.rows.cutter import Cutter
from archive.formats.mapping.rows.parse import Parser

FIELDS = {
    "Link": "records.link_label",
    "Result": "records.reported_verdict",
    "Note": "records.comment",
    "End": "row.end",
    "Quantity": "row.parameter",
    "Pair": "row.pairing",
    "MHz": "row.frequency",
    "dB": "row.value",
    "Limit": "row.limit",
}
QUANTITIES = ("insertion_loss", "return_loss", "next", "of nothing known")
NOTES = ("", "", "dry", "12", "a;b", 'rack 12"', "over\nlines", "Printed:", "Page 3 of 9", "Link", "-")


@st.composite
def exports(draw: st.DrawFn) -> str:
    """A table of points, its columns in any order, with what stands above, between and below such tables."""
    columns = draw(st.permutations([*FIELDS, "Serial"]))
    lines = [*[["Site:", "Quay 4"], ["Page 1 of 2"], [""]][: draw(st.integers(0, 3))], list(columns)]
    for link in range(draw(st.integers(1, 4))):
        note, result = draw(st.sampled_from(NOTES)), draw(st.sampled_from(["Pass", "Fail", ""]))
        for quantity in draw(st.lists(st.sampled_from(QUANTITIES), max_size=3, unique=True)):
            end = draw(st.sampled_from(["local", "remote", ""]))
            for mhz in range(1, draw(st.integers(1, 4)) + 1):
                db = draw(st.sampled_from(["1.5", "12", ">70", "-", "", "x", "3,4", "inf", "nan", "+3", "1e1"]))
                cells = (f"A-{link}", result, note, end, quantity, "1-2/3-6", f"{mhz}", db, "20.0")
                row = {**dict(zip(FIELDS, cells, strict=True)), "Serial": "0042"}
                lines.append([row[name] for name in columns])
            if draw(st.integers(0, 9)) == 0:
                lines.append([*columns])
            if draw(st.integers(0, 9)) == 0:
                lines.append([draw(st.sampled_from(["-----", "=== ===", ""])), *["----"] * (len(columns) - 1)])
            if draw(st.integers(0, 9)) == 0:
                alone = draw(st.sampled_from(["END", "Printed by K. Lund", "Tester: K. Lund", "7 rows in all"]))
                at = draw(st.integers(0, len(columns) - 1))
                lines.append([alone if i == at else "" for i in range(len(columns))])
            if draw(st.integers(0, 9)) == 0:
                lines.append(["Total 12", *[""] * (len(columns) - 1)])
    every = draw(st.booleans())
    return "".join(";".join(_quoted(c, every) for c in line) + "\n" for line in lines)


def _quoted(cell: str, every: bool) -> str:
    if every or ";" in cell or "\n" in cell:
        return '"' + cell.replace('"', '""') + '"'
    return cell


MAPPING = """[mapping]
layout = "tried-ways"
language = 1
[[file]]
kind = "delimited"
delimiter = ";"
skip = [{skip}]
[[file.table]]
name = "points"
rows = "points"
fields = [
{fields}
]
"""


SKIP = (r"'^Total\b', '^Page \d'", r"'Total 1', 'Page \d of'")
"""Lines to skip, known by how they begin, or by what stands anywhere in them."""


def read(text: str, way: str, skip: str = SKIP[0]) -> Any:
    """What is in the tables, without ids and places. way: columns, rows, blocks or lines."""
    with TemporaryDirectory() as name, pytest.MonkeyPatch.context() as patch:
        folder = Path(name)
        fields = "\n".join(f'  {{ from = "{source}", to = "{to}" }},' for source, to in FIELDS.items())
        (folder / "export.csv").write_text(text, "utf-8")
        (folder / "mapping.toml").write_text(MAPPING.replace("{fields}", fields).replace("{skip}", skip), "utf-8")
        if way == "rows":
            patch.setattr(Parser, "_fast", lambda self, block: None)
        if way in ("blocks", "lines"):
            patch.setattr(chunks, "_plain", lambda file: False)
        if way == "lines":
            patch.setattr(Cutter, "_lines", lambda self, rows, start, current: 0)
        account, out = ConversionAccount(), []
        for batch in account.counted(archive.formats.read(folder / "export.csv", mapping=folder / "mapping.toml")):
            labels = dict(zip(*(batch["records"][n].to_pylist() for n in ("record_id", "link_label")), strict=True))
            for table in ("records", "sweeps", "extras"):
                for row in batch[table].to_pylist():
                    kept = {
                        k: v for k, v in row.items() if k not in ("record_id", "source_id", "source_place", "place")
                    }
                    if table == "extras":
                        kept["value"] = _as_number(kept["value"])
                    out.append((table, labels[row["record_id"]], sorted(kept.items())))
        aside = sorted((s["link_label"] or "", s["reason"], (s["found"] or "").strip("'")) for s in account.set_aside)
        return sorted(out, key=repr), aside, account.cells


def _as_number(text: str) -> str:
    """A column of plain numbers forgets how each was written: 20.0 is 20."""
    try:
        return f"{float(text):g}"
    except ValueError:
        return text


@given(exports(), st.sampled_from(SKIP))
def test_columns_rows_and_blocks_read_the_same(text: str, skip: str) -> None:
    found = read(text, "columns", skip)
    for way in ("rows", "blocks", "lines"):
        assert read(text, way, skip) == found, way
    cells = found[2]
    assert cells["read"] == cells["mapped"] + cells["extras"] + cells["ignored"]


def test_something_is_read() -> None:
    """The comparison is not one of nothing with nothing."""
    text = (
        ";".join([*FIELDS, "Serial"])
        + "\nA-1;Pass;;local;next;1-2/3-6;1;40.5;30;7\nA-1;Pass;;local;next;1-2/3-6;2;39;29;7\n"
    )
    rows, aside, cells = read(text, "blocks")
    assert [r[0] for r in rows].count("sweeps") == 2
    assert aside == [] and cells == {"read": 18, "mapped": 16, "extras": 2, "ignored": 0}
