"""Worksheets: a limit laid out, filled in by a person who has the standard, and read back."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive import limits
from archive.errors import Trouble
from archive.limits import confirm, worksheet

LIMIT = "tia-568.2-d/cat6a/permanent-link"
HEAD = {"by": "A. Reader", "on": "2026-11-20", "document": "the standard, own copy (invented)"}
PARTS = ("formula", "cap", "floor", "informational", "number")


@pytest.fixture(autouse=True)
def users_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data")
    return tmp_path / "data"


def _cells(limit_id: str = LIMIT) -> list[list[str]]:
    return list(csv.reader(io.StringIO(worksheet.write(limits.get(limit_id)).decode("utf-8-sig"))))


def _fill(folder: Path, cell: Any, limit_id: str = LIMIT, delimiter: str = ",", **head: str) -> Path:
    """A worksheet filled in. cell: (parameter, part, mhz, library) -> what stands in the last column."""
    table = _cells(limit_id)
    for row in table:
        if row and row[0] in HEAD:
            row[1] = {**HEAD, **head}[row[0]]
        elif row and row[0].isdigit():
            row[-1] = cell(*row[1:5])
    path = folder / "sheet.csv"
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(table)
    path.write_text(out.getvalue(), encoding="utf-8")
    return path


def _confirm(path: Path, limit_id: str = LIMIT) -> worksheet.Filled:
    filled = worksheet.read(limits.get(limit_id), path)
    worksheet.confirm(filled, path)
    return filled


def _tick_all(_: str, part: str, *__: str) -> str:
    return "x" if part in PARTS else ""


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_category_6a_permanent_link_is_confirmed_in_one_go(tmp_path: Path, delimiter: str) -> None:
    """Every part ticked: nothing that a pass needs is less than A then, so that no verdict is provisional."""
    before = limits.get(LIMIT)
    assert before.confidence == "B" and before.lines["return_loss"].exemptions[0].confidence == "C"
    filled = _confirm(_fill(tmp_path, _tick_all, delimiter=delimiter))
    assert filled.left == [] and filled.scalars == {}
    after = limits.get(LIMIT)
    assert after.confidence == "A"
    said = "by A. Reader on 2026-11-20 from the standard, own copy (invented)"
    for name, line in after.lines.items():
        if line.role != "information":
            bounds = [bound.confidence for bound in (line.cap, line.floor, *line.exemptions) if bound]
            assert {line.confidence, *bounds} == {"A"}, name
            assert line.confirmed == said
    assert all(s.confidence == "A" for s in after.scalars.values() if s.role != "information")
    (path,) = confirm.stored(LIMIT)
    text = path.read_text("utf-8")
    assert "worksheet sheet.csv, SHA-256" in text and 'confirms = ["insertion_loss"' in text


@pytest.mark.parametrize("limit_id", [i for i in limits.ids() if limits.get(i).established][::7])
def test_a_worksheet_of_any_limit_comes_back(tmp_path: Path, limit_id: str) -> None:
    limit = limits.get(limit_id)
    filled = _confirm(_fill(tmp_path, lambda *_: "ok", limit_id), limit_id)
    assert filled.left == []
    wanted = {n for n, part in {**limit.scalars, **limit.lines}.items() if part.role != "information"}
    assert set(filled.confirms) == wanted
    assert {limits.get(limit_id).line(name) is None or limits.get(limit_id).lines[name].confidence for name in wanted
            if name in limit.lines} <= {"A"}  # fmt: skip


def test_values_are_those_of_the_library_where_standards_print() -> None:
    rows = [row for row in worksheet.rows(limits.get(LIMIT)) if (row.parameter, row.part) == ("next", "value")]
    assert " ".join(row.mhz for row in rows) == "1 4 8 10 16 20 25 31.25 62.5 100 155 200 250 300 400 500"
    line = limits.get(LIMIT).lines["next"]
    assert all(abs(float(row.library) - line.at(float(row.mhz)).item()) <= 0.005 for row in rows)


def test_a_limit_of_single_frequencies_names_each() -> None:
    rows = [row for row in worksheet.rows(limits.get("iso-11801-1/class-b/channel")) if row.part == "formula"]
    loss = [(row.mhz, row.library) for row in rows if row.parameter == "insertion_loss"]
    assert loss == [("0.1", "5.5"), ("1", "5.8")]


def test_parts_are_confirmed_one_by_one(tmp_path: Path) -> None:
    """Somebody who does not find the 3 dB rule in his edition ticks the formulas alone."""
    filled = _confirm(_fill(tmp_path, lambda p, part, *_: "x" if (p, part) == ("return_loss", "formula") else ""))
    assert filled.confirms == ["return_loss.formula"]
    assert "return_loss: informational not ticked" in filled.left and "next: formula, cap not ticked" in filled.left
    line = limits.get(LIMIT).lines["return_loss"]
    assert line.confidence == "A" and line.exemptions[0].confidence == "C" and line.confirmed
    assert limits.get(LIMIT).lines["next"].confidence == "B"


def test_one_formula_of_several_is_not_the_line(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="confirms nothing"):
        _confirm(
            _fill(tmp_path, lambda p, part, mhz, _: "x" if (p, part, mhz) == ("next", "formula", "1 to 300") else "")
        )


@pytest.mark.parametrize("written", ["41.8", "41,8", "41.84", "42"])
def test_a_number_that_agrees_to_its_last_place_is_a_tick(tmp_path: Path, written: str) -> None:
    def cell(parameter: str, part: str, mhz: str, _: str) -> str:
        return written if (parameter, part, mhz) == ("next", "value", "100") else _tick_all(parameter, part)

    assert _confirm(_fill(tmp_path, cell)).left == []


def test_a_value_that_differs_leaves_its_line_open(tmp_path: Path) -> None:
    def cell(parameter: str, part: str, mhz: str, _: str) -> str:
        return "39.8" if (parameter, part, mhz) == ("next", "value", "100") else _tick_all(parameter, part)

    filled = _confirm(_fill(tmp_path, cell))
    (left,) = filled.left
    assert left.startswith("next: the standard has 39.8 where the library has 41.84 (value at 100 MHz)")
    assert "next" not in filled.confirms and limits.get(LIMIT).lines["next"].confidence == "B"
    assert limits.get(LIMIT).lines["ps_next"].confidence == "A"


def test_a_single_number_that_differs_is_supplied(tmp_path: Path) -> None:
    def cell(parameter: str, part: str, *_: str) -> str:
        return "497" if (parameter, part) == ("propagation_delay", "number") else _tick_all(parameter, part)

    filled = _confirm(_fill(tmp_path, cell))
    assert filled.left == [] and "propagation_delay.formula" in filled.confirms
    scalar = limits.get(LIMIT).scalars["propagation_delay"]
    assert (scalar.value, scalar.at_mhz, scalar.confidence) == (497.0, 10.0, "A")


def test_more_can_be_ticked_later(tmp_path: Path) -> None:
    _confirm(_fill(tmp_path, lambda p, part, *_: _tick_all(p, part) if p == "next" else ""))
    _confirm(_fill(tmp_path, lambda p, part, *_: _tick_all(p, part) if p == "ps_next" else ""))
    assert [limits.get(LIMIT).lines[name].confidence for name in ("next", "ps_next", "return_loss")] == ["A", "A", "B"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"by": ""}, "does not say 'by'"),
        ({"on": "last week"}, "this is not a date"),
        ({"on": "31.2.2026"}, "this is not a date"),
        ({"document": ""}, "does not say 'document'"),
    ],
)
def test_who_when_and_what_have_to_be_said(tmp_path: Path, change: dict[str, str], message: str) -> None:
    with pytest.raises(Trouble, match=message):
        _confirm(_fill(tmp_path, _tick_all, **change))
    assert not confirm.stored(LIMIT)


def test_a_date_that_a_spreadsheet_turned_round(tmp_path: Path) -> None:
    assert worksheet.read(limits.get(LIMIT), _fill(tmp_path, _tick_all, on="20.11.2026")).on.isoformat() == "2026-11-20"


def test_what_cannot_be_read_names_its_row(tmp_path: Path) -> None:
    path = _fill(tmp_path, lambda p, part, *_: "?" if p == "next" else "")
    with pytest.raises(Trouble, match=r"sheet\.csv, row \d+: neither a tick nor a number; found '\?'"):
        _confirm(path)
    with pytest.raises(Trouble, match="no worksheet of this limit"):
        worksheet.read(limits.get("tia-568.2-d/cat6a/channel"), _fill(tmp_path, _tick_all))
    text = _fill(tmp_path, _tick_all).read_text("utf-8")
    path.write_text(text.replace("next,formula", "ps_next,formula"), "utf-8")
    with pytest.raises(Trouble, match="this row is not of this worksheet"):
        _confirm(path)
    path.write_text(text.replace("sheet-", "sheet-0"), "utf-8")
    with pytest.raises(Trouble, match="not as it was when this worksheet was made"):
        _confirm(path)
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(Trouble, match="not UTF-8"):
        _confirm(path)
    with pytest.raises(Trouble, match="confirms nothing"):
        _confirm(_fill(tmp_path, lambda *_: ""))
    with pytest.raises(Trouble, match="nothing to confirm"):
        worksheet.rows(limits.get("tia-568.2-d/cat8/channel"))
    assert not confirm.stored(LIMIT)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_nothing_is_confirmed_that_was_not_ticked(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    limit = limits.get(LIMIT)
    folder = tmp_path_factory.mktemp("sheet")
    ticked: dict[tuple[str, str], list[bool]] = {}

    def cell(parameter: str, part: str, *_: str) -> str:
        yes = data.draw(st.booleans())
        ticked.setdefault((parameter, part), []).append(yes)
        return "x" if yes else ""

    filled = worksheet.read(limit, _fill(folder, cell))
    for name in filled.confirms:
        parameter, _, part = name.partition(".")
        parts = [part] if part else [p for n, p in ticked if n == parameter and p != "value"]
        assert parts and all(all(ticked[parameter, p]) for p in parts), name
