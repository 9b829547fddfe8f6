"""Drafts that the reader's own result contradicts leave out what is in doubt, and say so.

Common practice of the trade, no source: near-end crosstalk is measured of two pairs, limit less value is a margin,
cabling for data is swept from 1 MHz, and one test of a link has one date and one length for all its rows.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from archive.cli import cli
from archive.formats.draft.command import draft_of
from archive.formats.draft.write import Draft

PAIRS = ("1-2", "3-6", "4-5", "7-8")


def _draft(folder: Path, lines: list[str]) -> tuple[Path, Draft]:
    path = folder / "export.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path, draft_of(path)


def _placed(made: Draft) -> dict[str, str]:
    return {f["from"]: f["to"] for f in made.fields}


def _rows(word: str, pairs: tuple[str, ...], limit: float = 39.0) -> list[str]:
    """Worst cases of four links, a row for each pair or combination."""
    out = [f"Link,Tested,Parameter,Pair,End,Value (dB),Limit (dB),{word}"]
    for link in range(1, 5):
        for n, pair in enumerate(pairs):
            for end in ("near", "far"):
                value = 44.0 + 1.3 * n + 0.7 * link + (end == "far")
                row = f"A-{link:02},2024-03-0{link} 10:00,NEXT,{pair},{end},{value:.1f},{limit},{value - limit:.1f}"
                out.append(row)
    return out


def test_crosstalk_of_one_pair_is_left_out_and_told(tmp_path: Path) -> None:
    path, made = _draft(tmp_path, _rows("Margin (dB)", PAIRS))
    assert not [f for f in made.fields if f["to"].startswith(("row.value", "row.parameter"))]
    assert any("not measured of one pair" in q for q in made.questions)
    done = CliRunner().invoke(cli, ["convert", str(path), "--form", "parquet", "--to", str(tmp_path / "out")])
    assert done.exit_code != 0


def test_crosstalk_of_two_pairs_is_kept(tmp_path: Path) -> None:
    _, made = _draft(tmp_path, _rows("Margin (dB)", ("1-2/3-6", "1-2/4-5", "3-6/7-8")))
    assert _placed(made)["Value (dB)"] == "row.value"
    assert not any("left out" in q for q in made.questions)


def test_a_margin_that_is_none_is_left_out(tmp_path: Path) -> None:
    """The last column calls itself a margin and holds what is no difference of the two others."""
    lines = _rows("Margin (dB)", ("1-2/3-6", "1-2/4-5", "3-6/7-8"))
    lines[1:] = [f"{line.rpartition(',')[0]},{17 + n % 5}" for n, line in enumerate(lines[1:])]
    _, made = _draft(tmp_path, lines)
    assert "Margin (dB)" not in _placed(made)
    assert any("limit less value is not the margin" in q for q in made.questions)


@pytest.mark.parametrize("heading", ["Mz65", "lnk"])
def test_the_label_is_what_decides_the_other_columns(heading: str, tmp_path: Path) -> None:
    """A code that differs from row to row is no label beside a column that comes again with each link."""
    lines = [f"{heading},Code,Tested,Length (m),Parameter,Pair,Attenuation (dB),Frequency (MHz)"]
    for link in range(1, 6):
        for n, pair in enumerate(PAIRS):
            code = f"{(link * 7919 + n * 104729) % 16**6:06X}"
            when = f"2024-03-0{link} 10:0{link}"
            lines.append(f"B-{link:02},{code},{when},{30 + link}.5,IL,{pair},{3.1 + 0.4 * link + 0.1 * n:.1f},100")
    _, made = _draft(tmp_path, lines)
    assert _placed(made)[heading] == "records.link_label"
    assert _placed(made).get("Code") != "records.link_label"
