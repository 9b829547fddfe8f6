"""muniment limits: the contract of its JSON, its exit codes, and that it draws."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest

from archive import limits
from archive.cli import main
from archive.limits.any_kind import all_ids

CHANNEL = "tia-568.2-d/cat6a/channel"


@pytest.fixture(autouse=True)
def users_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data")


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    def call(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["muniment", "limits", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = capsys.readouterr()
        assert isinstance(ended.value.code, int)
        return ended.value.code, out, err

    return call


def test_show_json_keeps_frequencies_as_typed_and_values_unrounded(run: Any) -> None:
    code, out, err = run("show", CHANNEL, "--json", "--at", "100,31.25,5e2,0.5")
    shown = json.loads(out)
    assert (code, err) == (0, "")
    assert shown["limit"] == CHANNEL and shown["edition"] == "tia-568.2-d" and "568.2-D" in shown["source"]
    found = shown["parameters"]["next"]
    assert (found["unit"], found["sense"], found["confidence"], found["range_mhz"]) == ("dB", "min", "B", [1, 500])
    assert list(found["at"]) == ["100", "31.25", "5e2", "0.5"]
    assert found["at"]["100"] == limits.get(CHANNEL).lines["next"].at(100).item()
    assert found["at"]["0.5"] is None
    assert shown["parameters"]["delay_skew"]["value"] == 50
    assert shown["parameters"]["propagation_delay"]["number"]["value"] == 555


def test_show_has_the_line_of_an_old_name_too(run: Any) -> None:
    shown = json.loads(run("show", "tia-568-b/cat5e/channel", "--json", "--at", "100")[1])["parameters"]
    assert shown["acr_f"]["same_as"] == "elfext" and shown["acr_f"]["at"] == shown["elfext"]["at"]


def test_show_text_tells_formula_letter_and_source(run: Any) -> None:
    code, out, _ = run("show", "iso-11801-1/class-ea/permanent-link-2", "--at", "500")
    assert code == 0
    for part in (
        "87.46 - 21.57*lg(f)",
        "S35",
        "for information where the insertion loss measured is below 4 dB",
        "29.24",
    ):
        assert part in out


def _unfolded(text: str) -> str:
    """What was printed, without the breaks and blanks of lines that were folded."""
    return " ".join(text.split())


def test_show_text_says_roles_letters_and_what_is_own(run: Any, tmp_path: Path) -> None:
    shown = run("show", "tsb-67/cat5/channel")[1]
    assert "insertion loss (dB, maximum), 1 to 100 MHz, B" in shown.splitlines()  # required: not said
    text = _unfolded(shown)
    assert "4*connector [A at tabulated frequencies, B between: S1]" in text
    assert "own limit" not in text and "by declaration" not in text
    assert "100 m, 10 % over for the velocity (C), where measured" in text
    shown = run("show", "ieee-802.3/10gbase-t")[1]
    assert "a permanent link is judged with 10 m of category 6A cords added, unless a length is given" in _unfolded(
        shown
    )
    lines = shown.splitlines()
    assert json.loads(run("show", "ieee-802.3/10gbase-t", "--json")[1])["cords"] == "category-6a"
    assert "PS ANEXT (dB, minimum), 1 to 500 MHz, C, advisory" in lines
    assert "  the same as iso-11801-1/class-ea/channel by declaration" in run("show", "en-50173-1/class-ea/channel")[1]
    own = tmp_path / "own.toml"
    own.write_text('id="x"\ntitle="Clause 3"\nby="y"\n[lines.next]\nrange_mhz=[1,10]\nformula="30"\n')
    lines = run("show", str(own))[1].splitlines()
    assert lines[:3] == ["own/x", "  Clause 3", "  own limit: Clause 3 (stated by y)"]
    points = run("show", "iso-11801-1/class-b/channel")[1]
    assert "  at 0.1 MHz: 5.5  [C: M1]" in points and "at this frequency only" in points


def test_show_takes_words_and_own_files(run: Any, tmp_path: Path) -> None:
    assert json.loads(run("show", "5e channel, 568-B", "--json")[1])["limit"] == "tia-568-b/cat5e/channel"
    own = tmp_path / "own.toml"
    own.write_text('id="x"\ntitle="x"\nby="y"\n[lines.next]\nrange_mhz=[1,10]\nformula="30"\n')
    shown = json.loads(run("show", str(own), "--json", "--at", "2")[1])
    assert shown["own"] and shown["limit"] == "own/x" and shown["parameters"]["next"]["at"] == {"2": 30.0}


def test_show_what_is_not_established(run: Any) -> None:
    shown = json.loads(run("show", "tia-568.2-d/cat8/channel", "--json", "--at", "100")[1])
    assert shown["established"] is False and shown["parameters"] == {}
    assert "limit not established" in run("show", "tia-568.2-d/cat8/channel")[1]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["show", "nonsense"], "no such limit"),
        (["show", "iso-11801-1/class-ea/permanent-link"], "permanent-link-3"),
        (["show", "Cat 6 channel"], "no edition is named"),
        (["show", CHANNEL, "--at", "1,x"], "found 'x'"),
        (["show", CHANNEL, "--at", "1,,2"], "found ''"),
        (["show", CHANNEL, "--at", "-1"], "found '-1'"),
        (["show", CHANNEL, "--at", "inf"], "found 'inf'"),
        (["show"], "Missing argument"),
        (["plot", CHANNEL, "-o", "x.gif"], ".svg, .png or .pdf"),
        (["plot", "tia-568.2-d/cat8/channel"], "no line to draw"),
        (["confirm", CHANNEL], "Give a FILE"),
        (["confirm", CHANNEL, "none.toml"], "there is no such file"),
    ],
)
def test_what_cannot_be_done_is_told_with_code_2(run: Any, arguments: list[str], told: str) -> None:
    code, out, err = run(*arguments)
    assert code == 2 and out == "" and told in err and "Traceback" not in err


def test_list(run: Any) -> None:
    listed = json.loads(run("list", "--json")[1])
    assert listed["version"] == limits.version()
    assert [row["limit"] for row in listed["limits"]] == list(all_ids())
    code, out, err = run("list", "CAT6A", "tia-568.2-d")
    assert code == 0 and CHANNEL in out and "cat5e" not in out and "limit library" in err
    assert CHANNEL in run()[1]


def test_confirm_and_withdraw(run: Any, tmp_path: Path) -> None:
    file = tmp_path / "c.toml"
    file.write_text(
        f'limit="{CHANNEL}"\nby="A. Reader"\non=2026-11-20\ndocument="invented"\nconfirms=["return_loss"]\n'
    )
    code, _, err = run("confirm", CHANNEL, str(file))
    assert code == 0 and "return_loss confirmed by A. Reader on 2026-11-20" in err
    shown = json.loads(run("show", CHANNEL, "--json")[1])
    assert shown["parameters"]["return_loss"]["confidence"] == "A"
    assert "A. Reader" in shown["parameters"]["return_loss"]["confirmed"]
    assert run("confirm", CHANNEL, "--withdraw")[0] == 0
    assert json.loads(run("show", CHANNEL, "--json")[1])["parameters"]["return_loss"]["confidence"] == "B"


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_plot_writes_the_picture_that_was_asked_for(run: Any, tmp_path: Path, ending: str) -> None:
    out = tmp_path / f"p.{ending}"
    assert run("plot", CHANNEL, "-o", str(out))[0] == 0
    head = {"svg": b"<svg", "png": b"\x89PNG", "pdf": b"%PDF"}[ending]
    assert out.read_bytes().startswith(head) and [p.name for p in tmp_path.glob("*p.*")] == [out.name]
