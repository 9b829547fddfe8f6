"""A file full of numbers of which none is in a table is never silent, and the remedy is never to change the file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from archive.cli import cli

MAPPING = """[mapping]
layout = "t"
[[file]]
kind = "delimited"
delimiter = ";"
[[file.table]]
rows = "links"
fields = [ { from = "Link", to = "records.link_label" }, { from = "Result", to = "records.reported_verdict" }%s ]
"""
LISTS = "Link;Result;Trace\nA-1;PASS;44.1 43.2 42.3 41.4 40.5 39.6 38.7 37.8\n"
VALUES = "Link;Result;a;b;c;d\nA-1;PASS;44.1;43.2 dB;12,5;9.1\n"
NOTHING = "Link;Result;Page;Version;Day\nA-1;PASS;7;3.1;2021-05-06\n"


def _run(tmp_path: Path, text: str, more: str = "") -> tuple[int, str, int, str]:
    """Exit code and words of convert and of survey."""
    (tmp_path / "m.toml").write_text(MAPPING % more)
    (tmp_path / "e.csv").write_text(text)
    export, mapping = str(tmp_path / "e.csv"), str(tmp_path / "m.toml")
    converted = CliRunner().invoke(cli, ["convert", export, "--mapping", mapping, "--to", str(tmp_path / "o.xml")])
    surveyed = CliRunner().invoke(cli, ["survey", export, "--mapping", mapping])
    said = [" ".join(run.output.split()) for run in (converted, surveyed)]
    return converted.exit_code, said[0], surveyed.exit_code, said[1]


@pytest.mark.parametrize(
    ("text", "found"), [(LISTS, "lists of numbers in 'Trace'"), (VALUES, "numbers in 'a', 'b', 'c'")]
)
def test_numbers_that_no_table_took_are_told(text: str, found: str, tmp_path: Path) -> None:
    """Convert and survey say so in one line and end with 1."""
    code, said, surveyed, words = _run(tmp_path, text)
    assert (code, surveyed) == (1, 1)
    assert found in said
    assert found in words
    checked = CliRunner().invoke(
        cli, ["check", str(tmp_path / "e.csv"), "--mapping", str(tmp_path / "m.toml"), "--json"]
    )
    assert json.loads(checked.stdout)["counts"]["numbers-not-placed"] == 1


def test_a_list_without_measured_numbers_is_silent(tmp_path: Path) -> None:
    """Verdicts with a page, a version and a date are all there is."""
    code, _, surveyed, _ = _run(tmp_path, NOTHING)
    assert (code, surveyed) == (0, 0)


def test_a_value_that_is_placed_is_enough_where_there_are_no_lists(tmp_path: Path) -> None:
    """Other numbers may be of no interest."""
    code, _, _, _ = _run(tmp_path, VALUES, ', { from = "a", to = "readings.length" }')
    assert code == 0


def test_a_length_does_not_make_up_for_lists_that_are_not_placed(tmp_path: Path) -> None:
    """The curves are what the file is for."""
    text = "Link;Result;Trace;a\nA-1;PASS;44.1 43.2 42.3 41.4 40.5 39.6 38.7 37.8;33.5\n"
    code, said, _, _ = _run(tmp_path, text, ', { from = "a", to = "readings.length" }')
    assert code == 1
    assert "no curve came of the file" in said


def test_no_remedy_of_a_cell_that_cannot_be_read_tells_to_change_the_file(tmp_path: Path) -> None:
    """The mapping says how cells are written; the file is what it is."""
    code, said, _, _ = _run(
        tmp_path, "Link;Result;When\nA-1;PASS;soon\n", ', { from = "When", to = "records.tested_found" }'
    )
    assert code in (1, 2)
    assert "let the mapping say how it is written" in said
    assert "correct it" not in said
    assert "again" not in said


FOOTERS = "Link;Result\nA-1;PASS\n%s;1\n"


@pytest.mark.parametrize(
    "label", ["Total", "Summe: 12", "Links tested: 1", "Page 3 of 9", "Printed by K. Lund", "count 7"]
)
def test_a_footer_that_became_a_link_is_told_with_its_line(label: str, tmp_path: Path) -> None:
    """Convert, survey and check name it; the mapping is at fault, and its skip is the remedy."""
    code, said, surveyed, words = _run(tmp_path, FOOTERS % label)
    assert (code, surveyed) == (1, 1)
    assert f"what reads like a footer was read as a link: {label!r} (line 3)" in said
    assert "footer" in words
    checked = CliRunner().invoke(
        cli, ["check", str(tmp_path / "e.csv"), "--mapping", str(tmp_path / "m.toml"), "--json"]
    )
    assert json.loads(checked.stdout)["counts"]["footer-read-as-link"] == 1


@pytest.mark.parametrize("label", ["Total-1", "PAGE-01", "Count 7-B", "A-2", "Pass", "01-1A-A01", "Suite 4-12"])
def test_a_link_that_is_called_like_no_footer_is_silent(label: str, tmp_path: Path) -> None:
    code, _, surveyed, _ = _run(tmp_path, FOOTERS % label)
    assert (code, surveyed) == (0, 0)


def test_a_footer_that_the_mapping_skips_is_silent(tmp_path: Path) -> None:
    (tmp_path / "m.toml").write_text((MAPPING % "").replace('delimiter = ";"', 'delimiter = ";"\nskip = ["^Total"]'))
    (tmp_path / "e.csv").write_text(FOOTERS % "Total")
    surveyed = CliRunner().invoke(cli, ["survey", str(tmp_path / "e.csv"), "--mapping", str(tmp_path / "m.toml")])
    assert surveyed.exit_code == 0


@pytest.mark.parametrize(
    ("drafted", "confidence", "code"),
    [("true", ", confidence = 0.7", 1), ("true", ", confidence = 0.95", 0), ("true", "", 0), ("false", "", 0)],
)
def test_a_label_that_is_a_guess_of_a_draft_is_told(drafted: str, confidence: str, code: int, tmp_path: Path) -> None:
    mapping = MAPPING.replace('layout = "t"', f'layout = "t"\ndrafted = {drafted}')
    mapping = mapping.replace('"records.link_label" }', f'"records.link_label"{confidence} }}')
    (tmp_path / "m.toml").write_text(mapping % "")
    (tmp_path / "e.csv").write_text("Link;Result\nA-1;PASS\n")
    surveyed = CliRunner().invoke(cli, ["survey", str(tmp_path / "e.csv"), "--mapping", str(tmp_path / "m.toml")])
    options = ["--mapping", str(tmp_path / "m.toml"), "--json"]
    checked = CliRunner().invoke(cli, ["check", str(tmp_path / "e.csv"), *options])
    assert (surveyed.exit_code, json.loads(checked.stdout)["counts"].get("label-is-a-guess", 0)) == (code, code)
    assert ("a guess of a draft: 'Link', 0.7" in " ".join(surveyed.output.split())) == bool(code)
