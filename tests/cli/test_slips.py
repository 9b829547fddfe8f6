"""Slips of the hand at the terminal: what was nearly right is offered, and nothing is filed where nobody looks."""

# ruff: noqa: F811 (fixtures that are imported by name)

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import World, built  # noqa: F401 - fixture
from tests.cli.person import typed


@pytest.fixture(autouse=True)
def own_cache(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))


def test_near_names_of_jobs_deposits_and_commands_are_offered(built: World) -> None:
    job = typed("receipt", built.archive, "--json").document["deposits"][0]
    assert job["job"].lower() != job["job"]
    assert job["job"] in typed("progress", built.archive, "--job", job["job"].lower()).line
    assert job["job"] in typed("job", built.archive, f"{job['job']}X").line
    assert job["deposit"] in typed("receipt", built.archive, job["deposit"][:-1]).line
    assert "Did you mean deposit?" in typed("depost").line


def test_a_document_is_filed_for_a_known_job_and_link_alone(built: World, tmp_path: Path) -> None:
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear ...", "utf-8")
    job = typed("receipt", built.archive, "--json").document["deposits"][0]["job"]
    link = typed("find", built.archive, "--json").document["records"][0]["link"]
    words = ("attach", built.archive, letter, "--kind", "letter")
    assert "no such job" in typed(*words, "--job", "NOPE").line
    assert link in typed(*words, "--job", job, "--link", f"{link}x").line
    assert typed(*words, "--job", "NOPE", "--new").code == 0
    assert typed(*words, "--job", job, "--link", link).code == 0


def test_a_copy_inside_its_archive_is_refused(built: World) -> None:
    said = typed("export", built.archive, "--to", built.archive / "copy").line
    assert "inside" in said
    assert not (built.archive / "copy").exists()


def test_a_second_archive_by_a_slip_is_refused_until_it_is_meant(tmp_path: Path) -> None:
    assert typed("init", tmp_path / "certificates").code == 0
    assert "certificates" in typed("init", tmp_path / "certifcates").line
    assert typed("init", tmp_path / "certifcates", "--yes").code == 0
    assert typed("init", tmp_path / "drawings").code == 0
    assert typed("init", tmp_path / "drawings2").code == 0
