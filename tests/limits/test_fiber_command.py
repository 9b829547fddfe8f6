"""Optical limits through the command line: shown, drawn, on a worksheet, confirmed."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from archive.cli import main
from archive.limits import fiber


@dataclass
class Told:
    exit_code: int
    output: str


@pytest.fixture(autouse=True)
def users_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data")


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Told]:
    def call(*words: str) -> Told:
        monkeypatch.setattr(sys, "argv", ["muniment", "limits", *words])
        monkeypatch.delenv("MUNIMENT_TRACEBACK", raising=False)
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capsys.readouterr()
        assert isinstance(ended.value.code, int)
        return Told(ended.value.code, out + err)

    return call


def test_values_are_shown_by_length_unrounded_with_keys_as_typed(run: Callable[..., Told]) -> None:
    found = json.loads(run("show", "tia-568.3-d/om4/link", "--at", "300,0100", "--json").output)
    assert found["parameters"]["optical_loss"]["at"] == {
        "300": {"850": pytest.approx(2.4), "1300": pytest.approx(1.95)},
        "0100": {"850": pytest.approx(1.8), "1300": pytest.approx(1.65)},
    }
    assert "not established" in run("show", "tia-568.3-e/om4/link").output
    assert "400 m (A) and 2.9 dB (A)" in run("show", "10gbase-sr").output


def test_words_of_an_export_show_the_limit_that_they_mean(run: Callable[..., Told]) -> None:
    assert run("show", "ISO/IEC 11801-1:2017 OS2").output.startswith("iso-11801-1/os2/link")


def test_list_has_them_beside_those_of_copper(run: Callable[..., Told]) -> None:
    listed = json.loads(run("list", "--json").output)["limits"]
    ids = {row["limit"] for row in listed}
    assert {"tia-568.2-d/cat6a/channel", "tia-568.3-d/om4/link", "fibre-channel/32gfc"} <= ids


def test_a_picture_and_both_worksheets(run: Callable[..., Told], tmp_path: Path) -> None:
    for name in ("os2.svg", "os2.png"):
        assert run("plot", "iso-11801-1/os2/link", "-o", str(tmp_path / name)).exit_code == 0
        assert (tmp_path / name).stat().st_size > 2000
    assert run("plot", "tia-568.3-e/om4/link", "-o", str(tmp_path / "none.svg")).exit_code == 2
    assert run("worksheet", "iso-11801-1/os2/link", "-o", str(tmp_path / "os2.pdf")).exit_code == 0
    assert (tmp_path / "os2.pdf").read_bytes().startswith(b"%PDF")


def test_a_worksheet_that_was_filled_in_opens_a_limit_and_is_taken_back(
    run: Callable[..., Told], tmp_path: Path
) -> None:
    """TIA's reference-grade ends are missing in the library: a person supplies 0.35 dB and ticks the rest."""
    name, sheet = "tia-568.3-d/om4/link-reference-grade", tmp_path / "sheet.csv"
    before = fiber.get(name)
    assert isinstance(before, fiber.OpticalLimit) and not before.established
    assert run("worksheet", name, "-o", str(sheet)).exit_code == 0
    lines = sheet.read_bytes().decode("utf-8-sig").splitlines()
    filled = []
    for line in lines:
        key = line.split(",")[0]
        line += {"by": "R. Ostrander", "on": "2026-11-20", "document": "the standard"}.get(key, "")
        filled.append(line + ("0.35" if ",end," in line else "x" if key.isdigit() else ""))
    sheet.write_text("\n".join(filled), encoding="utf-8")
    told = run("confirm", name, str(sheet))
    assert told.exit_code == 0, told.output
    after = fiber.get(name)
    assert isinstance(after, fiber.OpticalLimit) and after.established and after.confidence == "A"
    loss = after.loss(850, 300.0, 2, 0, "one-cord")
    assert not isinstance(loss, str) and loss.db == pytest.approx(0.9 + 2 * 0.35)
    assert "R. Ostrander" in after.confirmations[0]
    assert run("confirm", name, str(sheet)).exit_code == 2  # kept already; and the sheet is of what it was before
    assert run("confirm", name, "--withdraw").exit_code == 0
    assert fiber.get(name) == before


@pytest.mark.parametrize(
    "text", ["limit = 3", "limit = 'x'\nby='a'\non=2020-01-01\ndocument='d'\n[values]\nend=0.3", "["]
)
def test_a_bad_confirmation_is_one_line_of_trouble(run: Callable[..., Told], tmp_path: Path, text: str) -> None:
    (tmp_path / "bad.toml").write_text(text)
    told = run("confirm", "iso-11801-1/os2/link", str(tmp_path / "bad.toml"))
    assert told.exit_code == 2 and "bad.toml" in told.output and "Traceback" not in told.output
    kept = fiber.get("iso-11801-1/os2/link")
    assert isinstance(kept, fiber.OpticalLimit) and not kept.confirmations
