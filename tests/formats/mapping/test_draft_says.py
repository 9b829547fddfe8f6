"""A draft says what it leaves unread, asks what one word would answer, and is made once for files of one layout."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from click.testing import CliRunner

from archive import formats
from archive.cli import cli
from archive.errors import Trouble
from archive.formats import unseen
from archive.formats.draft import group
from archive.formats.draft.command import draft_of
from archive.formats.recognition import Entry

_MHZ = [1.0 + 8 * k for k in range(20)]


def _curves(folder: Path, pairs: list[str], wiring: str = "") -> Path:
    """Insertion loss of two links, a row per point; wiring: words that name the scheme of the pairs."""
    rows = ["Link,Result,Test,Pair,Frequency (MHz),Value (dB)" + (",Wiring" if wiring else "")]
    for n in (1, 2):
        for pair in pairs:
            for f in _MHZ:
                rows.append(f"2B-C0{n},PASS,Insertion loss,{pair},{f:g},{0.02 * math.sqrt(f) * (40 + n):.2f}")
                rows[-1] += f",{wiring}" if wiring else ""
    path = folder / "curves.csv"
    path.write_text("\n".join(rows) + "\n", "utf-8")
    return path


def _findings(path: Path) -> list[str]:
    return [f["rule"] for b in formats.read(path) for f in b["findings"].to_pylist()]


def test_pairs_that_nothing_explains_are_asked_for_and_left_unread(tmp_path: Path) -> None:
    path = _curves(tmp_path, ["1", "2", "3", "4"])
    made = draft_of(path)
    assert [q.name for q in made.asked] == ["pairs"]
    assert "draft-leaves-values" in _findings(path) or "no-measured-value" in _findings(path)
    done = CliRunner().invoke(cli, ["convert", str(path), "--to", str(tmp_path / "out.xml")])
    assert done.exit_code == 1 and "measure" in done.output
    answered = draft_of(path, {"pairs": "t568a"})
    assert answered.asked == []
    (tmp_path / "m.toml").write_text(answered.text, "utf-8")
    sweeps = [s for b in formats.read(path, mapping=tmp_path / "m.toml") for s in b["sweeps"].to_pylist()]
    assert {s["pairing"] for s in sweeps} == {"1-2", "3-6", "4-5", "7-8"}


def test_what_is_said_in_the_file_leaves_nothing_unread(tmp_path: Path) -> None:
    rules = _findings(_curves(tmp_path, ["1", "2", "3", "4"], "T568B"))
    assert "draft-leaves-values" not in rules and "no-measured-value" not in rules


def test_numbers_under_headings_that_say_nothing_are_no_silence(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    rows = [f"2B-C0{n},PASS,2021-03-0{n},{7 * n}.5,{n}3" for n in range(1, 7)]
    path.write_text("Link,Result,Date,Qz1,Qz2\n" + "\n".join(rows) + "\n", "utf-8")
    assert "no-measured-value" in _findings(path)


@pytest.mark.parametrize("answer", ["pairs=zigzag", "colour=red", "pairs"])
def test_an_answer_that_nothing_asks_for_is_refused(answer: str, tmp_path: Path) -> None:
    path = _curves(tmp_path, ["1", "2", "3", "4"])
    done = CliRunner().invoke(cli, ["mapping", "draft", str(path), "--answer", answer])
    assert done.exception is not None


def test_which_end_is_the_local_one_is_asked_for(tmp_path: Path) -> None:
    rows = ["Link,Test,Pair,Zeta,Frequency (MHz),Value (dB)"]
    for n in (1, 2):
        for end in ("north", "south"):
            for pair in ("1-2", "3-6", "4-5", "7-8"):
                rows += [f"2B-C0{n},Return loss,{pair},{end},{f:g},{30 - 3 * math.log10(f):.2f}" for f in _MHZ]
    path = tmp_path / "ends.csv"
    path.write_text("\n".join(rows) + "\n", "utf-8")
    (asked,) = draft_of(path).asked
    assert (asked.name, asked.choices) == ("ends", ("north", "south"))
    text = draft_of(path, {"ends": "south"}).text
    assert '"north" = "remote", "south" = "local"' in text


def test_files_of_one_layout_are_drafted_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for n in range(1, 9):
        text = f"Link: 2B-C0{n}\nResult: PASS\nLength (m): 4{n}.1\nDelay (ns): 20{n}\n"
        (tmp_path / f"report-{n:03d}.txt").write_text(text, "utf-8")
    looked: list[str] = []
    whole = group.structure
    monkeypatch.setattr(group, "structure", lambda e, way: looked.append(e.name) or whole(e, way))
    drafts = {id(unseen.draft_of(Entry(p, p.name))) for p in sorted(tmp_path.iterdir())}
    assert len(drafts) == 1
    assert len(set(looked)) < 4


def test_a_draft_that_takes_rows_for_records_is_not_believed(tmp_path: Path) -> None:
    points = "".join(
        f'<row link="2B-C0{n}" result="PASS" frequency="{f:g}" loss="{0.3 * math.sqrt(f):.2f}"/>'
        for n in (1, 2, 3)
        for f in _MHZ
    )
    path = tmp_path / "rows.xml"
    path.write_text(f"<rows>{points}</rows>", "utf-8")
    with pytest.raises(Trouble):
        list(formats.read(path))


def test_more_numbers_left_than_placed_are_told(tmp_path: Path) -> None:
    """One of six columns of numbers has a word that anybody knows: convert says what it leaves, and ends with 1."""
    path = tmp_path / "export.csv"
    lines = ["Link,Tested,Length (m)," + ",".join(f"w{n}" for n in range(5))]
    lines += [
        f"A-{n:02},2024-03-0{n} 10:00,{40 + n}.5," + ",".join(f"{7 * n + k}.3" for k in range(5)) for n in range(1, 6)
    ]
    path.write_text("\n".join(lines), "utf-8")
    assert "draft-leaves-values" in _findings(path)
    assert CliRunner().invoke(cli, ["convert", str(path), "--to", str(tmp_path / "out")]).exit_code == 1
