"""muniment survey: what is said of each file, and that nothing is written."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import pytest

FIXTURES = Path(__file__).parents[2] / "fixtures" / "touchstone"


def survey(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """The command as a person types it."""
    code = "from archive.cli import main; main()"
    words = [sys.executable, "-c", code, "survey", *map(str, arguments)]
    return subprocess.run(words, check=False, capture_output=True, text=True, timeout=120)


def document(*arguments: str | Path) -> tuple[int, dict[str, Any]]:
    done = survey(*arguments, "--json")
    return done.returncode, {f["path"]: f for f in json.loads(done.stdout)["files"]}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """One file with its map, one without, one damaged, one of no known layout."""
    for name in ("one-pair.S4P", "one-pair.toml", "one-pair-crossed.s4p"):
        shutil.copy(FIXTURES / name, tmp_path)
    (tmp_path / "damaged.s4p").write_text("# MHz S RI R 50\n1 2 3\n")
    (tmp_path / "picture.jpg").write_bytes(b"\xff\xd8\xff\xe0 no picture")
    return tmp_path


def test_the_document_has_the_keys_that_are_promised(folder: Path) -> None:
    code, files = document(folder)
    assert code == 1, "something is not read and something would be set aside"
    for file in files.values():
        assert {"path", "layout", "records", "evidence", "encoding", "unmapped"} <= set(file)
        assert isinstance(file["unmapped"], list)
    good = files["one-pair.S4P"]
    assert (good["layout"], good["records"], good["evidence"]) == ("touchstone", 1, "full-sweep")
    assert good["encoding"] == "utf-8"
    assert good["decimal_mark"] == "."
    assert good["units"] == ["Hz", "dB and degrees"]
    assert "option line" in good["unmapped"]


def test_every_file_is_accounted_for(folder: Path) -> None:
    _, files = document(folder)
    assert set(files) == {p.name for p in folder.iterdir()}
    assert "one-pair.S4P" in files["one-pair.toml"]["reason"], "a port map is read with its file"
    assert files["one-pair.toml"]["records"] == 0
    assert (files["picture.jpg"]["layout"], files["picture.jpg"]["records"]) == (None, 0)
    assert files["picture.jpg"]["reason"]


def test_a_damaged_file_says_where(folder: Path) -> None:
    _, files = document(folder)
    (reason,) = files["damaged.s4p"]["set_aside"]
    assert "line 2" in reason
    assert "found 3 numbers" in reason
    assert "expected 33" in reason


def test_without_a_map_a_draft_is_printed_that_only_lacks_facts(folder: Path) -> None:
    _, files = document(folder)
    file = files["one-pair-crossed.s4p"]
    assert file["set_aside"]
    assert "remote = [4, 3]" in file["draft"], "the draft follows the conductors, as the data have them"
    (folder / "one-pair-crossed.toml").write_text(file["draft"])
    _, files = document(folder)
    assert files["one-pair-crossed.s4p"]["records"] == 1
    assert files["one-pair-crossed.s4p"]["draft"] is None


def test_a_map_can_be_handed_in(folder: Path) -> None:
    code, files = document(folder / "one-pair-crossed.s4p", "--mapping", folder / "one-pair.toml")
    assert (code, files["one-pair-crossed.s4p"]["records"]) == (0, 1)


def test_the_draft_alone_can_go_straight_into_the_map(folder: Path) -> None:
    """A shell makes the map, empty, before the survey begins."""
    map_file = folder / "one-pair-crossed.toml"
    map_file.write_text("")
    done = survey(folder / "one-pair-crossed.s4p", "--draft")
    assert done.returncode == 0
    map_file.write_text(done.stdout)
    assert document(folder / "one-pair-crossed.s4p")[0] == 0
    done = survey(folder / "one-pair-crossed.s4p", "--draft")
    assert done.returncode == 2
    assert "0 drafts" in done.stderr


def test_zips_are_looked_into(folder: Path) -> None:
    with zipfile.ZipFile(folder / "week.zip", "w") as packed:
        packed.write(folder / "one-pair.S4P", "sub/one-pair.S4P")
        packed.write(folder / "one-pair.toml", "sub/one-pair.toml")
    code, files = document(folder / "week.zip")
    assert code == 0
    (file,) = [f for f in files.values() if f["records"]]
    assert file["path"].endswith("sub/one-pair.S4P")
    assert file["records"] == 1


def test_nothing_is_written(folder: Path) -> None:
    before = {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in folder.rglob("*")}
    survey(folder)
    assert {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in folder.rglob("*")} == before


def test_in_words(folder: Path) -> None:
    done = survey(folder)
    assert done.returncode == 1
    for word in (
        "touchstone",
        "10 frequencies from 5 to 50 MHz",
        "not recognised",
        "4 ports",
        "unmapped",
        "read together with one-pair.toml",
        "5 files",
    ):
        assert word in done.stdout, word
    assert done.stderr == ""
    assert survey(folder / "one-pair.S4P").returncode == 0


def test_a_path_that_is_not_there(tmp_path: Path) -> None:
    done = survey(tmp_path / "absent")
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert "absent" in done.stderr


def test_help_has_an_example() -> None:
    done = survey("--help")
    assert done.returncode == 0
    assert "Example:" in done.stdout
