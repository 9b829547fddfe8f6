"""The files of fixtures/findings: each breaks the rule of its name, and the good one breaks nothing."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from archive import formats
from archive.validation import catalogue
from archive.validation.check import run
from tests.validation.fixtures import FOLDER, RULES

BAD = sorted(FOLDER.glob("*.bad.xml"))


def _raised(path: Path) -> set[str]:
    (batch,) = formats.read(path)
    found = run(batch, today=dt.date(2026, 11, 25)).findings.to_pylist()
    return {f["rule"] for f in found if f["status"] == "raised"}


@pytest.mark.parametrize("path", BAD, ids=lambda p: p.name)
def test_a_file_breaks_the_rule_of_its_name(path: Path) -> None:
    assert path.name.removesuffix(".bad.xml") in _raised(path)


def test_the_good_file_breaks_nothing_else() -> None:
    assert _raised(FOLDER / "good.xml") == {"step-too-coarse"}


def test_files_and_rules_are_the_same() -> None:
    assert {p.name.removesuffix(".bad.xml") for p in BAD} == set(RULES) <= set(catalogue.rules())
