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
