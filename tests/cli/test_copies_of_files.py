"""A file that is handed in twice, byte for byte, is one line of information, and costs nothing."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from archive.validation.report.wording import by_message
from tests.cli.conftest import World
from tests.cli.person import printed, typed

RULE = "same-bytes-again"


@pytest.fixture
def folder(built: World, tmp_path: Path) -> Path:
    """week.xml and two copies of it, one of which is sorted before it."""
    made = tmp_path / "exports"
    made.mkdir()
    for name in ("week.xml", "Backup (2).xml", "week (copy).xml"):
        shutil.copyfile(built.good, made / name)
    return made


def test_a_check_tells_copies_for_information_and_ends_with_0(folder: Path) -> None:
    said = printed("check", folder, "--no-copies")
    assert f"information: {RULE} (2 findings)" in said
    assert "week (copy).xml holds the same bytes as week.xml, and was not read again" in said
    assert "set-aside" not in said


def test_records_are_counted_once(folder: Path) -> None:
    found = typed("convert", folder, "--to", folder.parent / "out.xml", "--json").document
    assert (found["records"], found["set_aside"], len(found["files"])) == (2, 0, 3)
    assert [f["reason"] for f in found["files"]].count("a copy of week.xml") == 2


def test_a_file_that_differs_by_one_byte_is_read(folder: Path) -> None:
    (folder / "Backup (2).xml").write_bytes((folder / "week.xml").read_bytes() + b"\n")
    said = typed("check", folder, "--no-copies")
    assert said.code == 1 and "was read already" in " ".join(said.out.split())


def test_what_is_found_of_each_record_alone_is_said_once() -> None:
    times = ("2024-06-13T09:30:00", "2024-06-13T09:33:48")
    rows = [{"message": f"No zone for {t}.", "link_label": f"A{n}", "found": t} for n, t in enumerate(times)]
    other = {"message": "The verdict is pass, not fail.", "link_label": "A3", "found": "pass"}
    assert list(by_message([*rows, other])) == ["No zone for ....", "The verdict is pass, not fail."]
