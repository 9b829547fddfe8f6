"""The files of fixtures/findings: each breaks the rule of its name, and the good ones break nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive import formats
from tests.validation.fixtures import FOLDER, LEFT_OUT, raised, shown

BAD = sorted(FOLDER.glob("*.bad.xml"))


def _raised(path: Path) -> set[str]:
    (batch,) = formats.read(path)
    return raised(batch)


@pytest.mark.parametrize("path", BAD, ids=lambda p: p.name)
def test_a_file_breaks_the_rule_of_its_name(path: Path) -> None:
    assert path.name.removesuffix(".bad.xml") in _raised(path)


def test_the_good_files_break_nothing_else() -> None:
    assert _raised(FOLDER / "good.xml") == {"step-too-coarse"}
    # this library holds no limit of one's own by these words
    assert _raised(FOLDER / "good-fiber.xml") == {"limit-not-resolved"}


def test_there_is_a_file_for_every_rule_that_one_document_can_show() -> None:
    assert {p.name.removesuffix(".bad.xml") for p in BAD} == set(shown())
    assert not set(shown()) & set(LEFT_OUT)
