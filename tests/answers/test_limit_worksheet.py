"""The worksheet for paper, and the commands that make and read worksheets."""

from __future__ import annotations

import csv
import json
import re
import sys
from pathlib import Path
from typing import Any

import pytest

from archive import limits
from archive.answers import limit_worksheet
from archive.cli import main
from archive.errors import Trouble

LIMIT = "tia-568.2-d/cat6a/permanent-link"


@pytest.fixture(autouse=True)
def users_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data")


def _run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[Any, str, str]:
    monkeypatch.setattr(sys, "argv", ["muniment", "limits", *arguments])
    with pytest.raises(SystemExit) as ended:
        main()
    return (ended.value.code, *capsys.readouterr())


@pytest.mark.parametrize(
    "limit_id", [LIMIT, "tia-568.2-d/cat6a/channel", "tia-568.2-d/cat5e/permanent-link", "ieee-802.3/10gbase-t"]
)
def test_a_limit_takes_one_page(tmp_path: Path, limit_id: str) -> None:
    path = tmp_path / "sheet.pdf"
    limit_worksheet.save(limits.get(limit_id), path)
    content = path.read_bytes()
    assert content.startswith(b"%PDF") and len(re.findall(rb"/Type\s*/Page\b", content)) == 1
    limit_worksheet.save(limits.get(limit_id), tmp_path / "again.pdf")
    assert (tmp_path / "again.pdf").read_bytes() == content


def test_every_part_stands_on_the_page() -> None:
    document = limit_worksheet.document(limits.get(LIMIT))
    text = repr(document)
    for part in (
        "34 - 33.13*lg(f/300)",
        "values above revert to 65",
        "is below 3 dB",
        "0.02*sqrt(f)",
        "'43.75'",
        "498",
    ):
        assert part in text, part
    assert limits.version() in document.footer


def test_another_form_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match=r"expected \.csv or \.pdf"):
        limit_worksheet.save(limits.get(LIMIT), tmp_path / "sheet.xlsx")


def test_a_person_confirms_a_limit_by_two_commands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "sheet.csv"
    assert _run(monkeypatch, capsys, "worksheet", LIMIT, "--out", str(sheet))[0] == 0
    with sheet.open(encoding="utf-8-sig", newline="") as file:
        table = list(csv.reader(file))
    head = {"by": "A. Reader", "on": "2026-11-20", "document": "own copy (invented)"}
    for row in table:
        if row and row[0] in head:
            row[1] = head[row[0]]
        elif row and row[0].isdigit() and row[2] != "value" and row[1] != "delay_skew":
            row[-1] = "x"
    with sheet.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(table)
    code, out, err = _run(monkeypatch, capsys, "confirm", LIMIT, str(sheet))
    assert code == 1 and out.splitlines()[0] == "not confirmed: delay_skew: number not ticked"
    assert "confirmed by A. Reader on 2026-11-20 from own copy (invented)" in err
    shown = json.loads(_run(monkeypatch, capsys, "show", LIMIT, "--json")[1])
    assert shown["parameters"]["return_loss"]["confidence"] == "A" and shown["confidence"] == "B"
    for row in table:
        if len(row) > 1 and row[1] == "delay_skew":
            row[-1] = "44"
    with sheet.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(table)
    code, out, _ = _run(monkeypatch, capsys, "confirm", LIMIT, str(sheet), "--json")
    assert code == 0 and json.loads(out)["left"] == [] and json.loads(out)["confidence"] == "A"
