"""Layouts that the drafting was not made with: 90 % of all cells placed rightly, and none wrongly while sure."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from held_out import LAYOUTS
from invented.job import tests as simulated
from invented.text import lines
from scoring import score

from archive import formats
from archive.formats.conversion_account import ConversionAccount
from archive.formats.draft.command import draft_of


def written(name: str, folder: Path) -> tuple[Path, dict[str, str]]:
    """The first file of a layout, written; where its columns belong."""
    made = LAYOUTS[name]()
    for file, data in made.files.items():
        (folder / file).write_bytes(data)
    return folder / next(iter(made.files)), made.expected


@pytest.mark.parametrize("name", sorted(LAYOUTS))
def test_a_draft_places_the_cells_rightly(name: str, tmp_path: Path) -> None:
    path, expected = written(name, tmp_path)
    found = score(draft_of(path), expected)
    assert found.wrong_and_sure == []
    assert found.share >= 0.9, found


@pytest.mark.parametrize("name", sorted(LAYOUTS))
def test_a_sure_draft_reads_without_a_mapping(name: str, tmp_path: Path) -> None:
    path, _ = written(name, tmp_path)
    account = ConversionAccount()
    labels = [label for b in account.counted(formats.read(path)) for label in b["records"]["link_label"].to_pylist()]
    cells = account.cells
    assert cells["read"] == cells["mapped"] + cells["extras"] + cells["ignored"]
    assert account.set_aside == []
    assert labels and all(labels)


CURVES = {
    "mallow_pairs": (3, 83, ("insertion_loss", "return_loss", "next")),
    "orache_traces": (3, 85, ("insertion_loss", "return_loss", "next")),
    "parsley_files": (4, 86, ("insertion_loss", "return_loss")),
}
"""Layouts whose curves are lists of points or stand in files of their own: links, seed, quantities."""


@pytest.mark.parametrize("name", sorted(CURVES))
def test_curves_drafted_are_those_that_were_written(name: str, tmp_path: Path) -> None:
    """Against the numbers that the layout was printed from, to the tenth of a decibel that it prints."""
    path, _ = written(name, tmp_path)
    n, seed, quantities = CURVES[name]
    truth = {
        (t.label, q, e, c): [round(float(x), 1) for x in v]
        for t in simulated(n, seed, points=30, category="cat6")
        for (q, e, c), v in t.curves.items()
        if q in quantities
    }
    found: dict[tuple[str, str, str, str], list[float]] = {}
    for batch in formats.read(path):
        label = dict(zip(*(batch["records"][k].to_pylist() for k in ("record_id", "link_label")), strict=True))
        for s in batch["sweeps"].to_pylist():
            key = (label[s["record_id"]], s["parameter"], s["end"] or "", s["pairing"])
            found[key] = [round(x, 1) for x in s["values"]]
    assert found == truth


def test_a_key_may_hold_a_stroke(tmp_path: Path) -> None:
    """JSON keyed by pairs written 1-2/3-6: a path goes through the whole key."""
    (t,) = simulated(1, 87, points=20, category="cat6")
    curves = {
        c: [{"f": float(f), "v": round(float(x), 1)} for f, x in zip(t.axis, v, strict=True)]
        for (q, e, c), v in t.curves.items()
        if (q, e) == ("next", "local")
    }
    links = [{"id": f"{t.label}{k}", "date": "2021-03-14", "limit": t.limit, "sweeps": {"NEXT": curves}} for k in "ab"]
    path = tmp_path / "k.json"
    path.write_text(json.dumps(links))
    account = ConversionAccount()
    pairs = {
        s
        for b in account.counted(formats.read(path, mapping=_mapping(tmp_path, path)))
        for s in b["sweeps"]["pairing"].to_pylist()
    }
    assert pairs == set(curves)
    assert account.cells["extras"] == account.cells["ignored"] == 0


def _mapping(folder: Path, path: Path) -> Path:
    """The whole draft of a file, as a person would take it over."""
    out = folder / "mapping.toml"
    out.write_text(draft_of(path).text, encoding="utf-8")
    return out


def test_names_of_pairs_are_no_decimal_commas(tmp_path: Path) -> None:
    path = tmp_path / "p.json"
    path.write_text(
        json.dumps([{"link": f"A-{k}", "length": 20.5 + k, "worst": {"next": {"pair": "1,2"}}} for k in range(4)])
    )
    assert draft_of(path).mapping.decimal == "."


@pytest.mark.parametrize("mark", ["/", "-"])
def test_a_date_is_proved_by_a_day_above_twelve(mark: str, tmp_path: Path) -> None:
    path = tmp_path / "d.csv"
    rows = [["Link", "Date", "Length (m)"], *([f"A-{d}", f"{d:02d}{mark}04{mark}2021", "20"] for d in (3, 4, 25))]
    path.write_text(lines(rows, ","))
    drafted = draft_of(path)
    assert drafted.questions == []
    assert f'format = "DD{mark}MM{mark}YYYY"' in drafted.text
    rows.pop()
    path.write_text(lines(rows, ","))
    (asked,) = draft_of(path).questions
    assert f"DD{mark}MM{mark}YYYY or MM{mark}DD{mark}YYYY; answer date=day or date=month" in asked
    assert f'format = "MM{mark}DD{mark}YYYY"' in draft_of(path, {"date": "month"}).text
