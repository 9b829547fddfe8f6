"""A handful of the damages of the endurance run, with all questions after each."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.endurance.damages import damages


@pytest.mark.parametrize("seed", range(4))
def test_no_damage_makes_an_answer_false(tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))  # put back afterwards
    figures = damages(tmp_path / "damages", 8, seed)
    assert figures["tried"] >= 7
    assert figures["false"] == figures["fault"] == 0
    assert figures["refused"] > 0
