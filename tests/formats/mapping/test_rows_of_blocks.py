"""Which lines of a block are rows of its table: decided by its columns, whatever they leave blank."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest

import archive.formats
from archive.formats.conversion_account import ConversionAccount

FIELDS = {
    "End": "row.end",
    "Quantity": "row.parameter",
    "Pair": "row.pairing",
    "MHz": "row.frequency",
    "dB": "row.value",
}
POINTS = [1.0, 4.0, 10.0, 16.0]
CURVES = [
    *(("", "insertion_loss", pair) for pair in ("1-2", "3-6")),
    *((end, "return_loss", pair) for end in ("local", "remote") for pair in ("1-2", "3-6")),
]
"""End, quantity and pair of each curve of a link; insertion loss has no end."""


def value(link: int, curve: int, point: int) -> float:
    """A value that no other place of the export has."""
    return link * 100 + curve * 10 + point + 0.5


def read(folder: Path, text: str, mapping: str) -> tuple[dict[Any, list[float]], ConversionAccount]:
    """Curves by label, end, quantity and pair, and what the account of the file says."""
    (folder / "export.csv").write_text(text, "utf-8")
    (folder / "mapping.toml").write_text(mapping, "utf-8")
    account, found = ConversionAccount(), {}
    for batch in account.counted(archive.formats.read(folder / "export.csv", mapping=folder / "mapping.toml")):
        labels = dict(zip(*(batch["records"][n].to_pylist() for n in ("record_id", "link_label")), strict=True))
        for s in batch["sweeps"].to_pylist():
            key = (labels[s["record_id"]], s["end"] or "", s["parameter"], s["pairing"])
            assert key not in found
            found[key] = s["values"]
    return found, account


def mapping(kind: str = "delimited", more: str = "") -> str:
    """A mapping of blocks that begin with Link."""
    fields = "\n".join(f'  {{ from = "{name}", to = "{to}" }},' for name, to in FIELDS.items())
    return f"""[mapping]
layout = "tried-blocks"
language = 1
[[file]]
kind = "{kind}"
delimiter = ";"
block = "Link"
[[file.table]]
name = "labels"
rows = "labels"
fields = [ {{ from = "Link", to = "records.link_label" }} ]
[[file.table]]
name = "points"
rows = "points"
{more}
fields = [
{fields}
]
"""


def rows(link: int) -> list[dict[str, str]]:
    """Rows of a link by the name of their column."""
    return [
        dict(zip(FIELDS, (end, quantity, pair, f"{mhz:g}", f"{value(link, c, p):g}"), strict=True))
        for c, (end, quantity, pair) in enumerate(CURVES)
        for p, mhz in enumerate(POINTS)
    ]


def text(columns: Sequence[str], links: int = 2) -> str:
    """Blocks with their columns in some order."""
    out = []
    for link in range(links):
        out += [f"Link;A-{link}", ";".join(columns)]
        out += [";".join(row[name] for name in columns) for row in rows(link)]
        out.append("")
    return "\n".join(out) + "\n"


def truth(links: int = 2) -> dict[Any, list[float]]:
    """What is read from `text`."""
    return {
        (f"A-{link}", *curve): [value(link, c, p) for p in range(len(POINTS))]
        for link in range(links)
        for c, curve in enumerate(CURVES)
    }


@pytest.mark.parametrize("columns", list(permutations(FIELDS)), ids=" ".join)
def test_the_order_of_columns_does_not_matter(columns: tuple[str, ...], tmp_path: Path) -> None:
    """In some orders a row begins with a blank cell, in others with a word or a number."""
    found, account = read(tmp_path, text(columns), mapping())
    assert found == truth()
    assert account.set_aside == []
    filled = sum(bool(cell) for link in range(2) for row in rows(link) for cell in row.values())
    assert account.cells == {"read": filled + 2, "mapped": filled + 2, "extras": 0, "ignored": 0}


def test_columns_that_touch_are_cut_where_the_mapping_says(tmp_path: Path) -> None:
    """Columns of fixed width with one blank, or none, between the headings and the cells of neighbours."""
    widths = [0, 6, 22, 25, 29]
    lines = []
    for link in range(2):
        lines += [
            f"Link: A-{link}",
            _fixed(dict(zip(FIELDS, ("End", "Quantity", "Pr", "MHz", "dB"), strict=True)), widths),
        ]
        lines += [_fixed(row, widths) for row in rows(link)]
        lines.append("")
    more = f"widths = {widths}"
    found, account = read(tmp_path, "\n".join(lines) + "\n", mapping("report", more).replace('"Pair"', '"Pr"'))
    assert found == truth()
    assert account.set_aside == []
    assert account.cells["extras"] == 0


def _fixed(row: dict[str, str], widths: Sequence[int]) -> str:
    out = ""
    for cell, begin in zip(row.values(), widths, strict=True):
        assert len(out) <= begin
        out = out.ljust(begin) + cell
    return out


def test_a_stray_quote_costs_its_own_row_alone(tmp_path: Path) -> None:
    """In one table of 40 links; the quote is closed by that of a sound cell ten lines on, or by none."""
    for sound in ('"x;y"', "xy"):
        lines = ["Link;MHz;dB;Note"]
        for link in range(40):
            lines += [f"A-{link};{mhz:g};{value(link, 0, p):g};" for p, mhz in enumerate(POINTS)]
        lines[31] = '"' + lines[31]
        lines[41] += sound
        found, account = read(tmp_path, "\n".join(lines) + "\n", _TABLE)
        torn = lines[31].strip('"').partition(";")[0]
        expected = {
            (f"A-{link}", "", "insertion_loss", "1-2"): [value(link, 0, p) for p in range(len(POINTS))]
            for link in range(40)
            if f"A-{link}" != torn
        }
        # The rows of the torn link that stand before and behind the torn one are no longer one curve.
        assert {k: v for k, v in found.items() if torn not in k[0]} == expected
        assert [s["found"] for s in account.set_aside] == ["a quote that is never closed"]


_TABLE = """[mapping]
layout = "tried-table"
language = 1
[[file]]
kind = "delimited"
delimiter = ";"
[[file.table]]
name = "points"
rows = "points"
fields = [
  { from = "Link", to = "records.link_label" },
  { from = "MHz", to = "row.frequency" },
  { from = "dB", to = "sweeps.insertion_loss[1-2]" },
]
"""


@pytest.mark.parametrize(
    ("line", "extras", "why"),
    [
        ("2024-05-01 Page 1 of 3", 1, "a footer that begins with a digit"),
        ("Printed:;2024-05-01", 1, "a label below a table"),
        ("Temperature:;21", 1, "a label whose value is a number"),
    ],
)
def test_a_line_that_is_no_row_ends_a_table(line: str, extras: int, why: str, tmp_path: Path) -> None:
    lines = text(tuple(FIELDS)).splitlines()
    at = lines.index("", 5)
    found, account = read(tmp_path, "\n".join([*lines[:at], line, *lines[at:]]) + "\n", mapping())
    assert found == truth(), why
    assert account.set_aside == []
    assert account.cells["extras"] == extras


def test_a_row_may_begin_with_the_name_of_a_label(tmp_path: Path) -> None:
    """A pair that has the name of a label of the layout."""
    lines = text(("Pair", "End", "Quantity", "MHz", "dB")).replace("1-2;", "Operator;")
    named = mapping().replace("[[file]]", '[cells]\npair_names = { Operator = "1-2" }\n[[file]]', 1)
    named = named.replace("fields = [ {", 'fields = [ { from = "Operator", to = "people.name" }, {', 1)
    found, account = read(tmp_path, lines, named)
    assert found == truth()
    assert account.set_aside == []
