"""The tour of twenty years in small: what is printed of an archive with everything planted, and of one with nothing.

`python -m tests.endurance twenty-years` does so with larger archives, on seeds that nobody looked at.
"""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Any

import pytest

from tests.endurance import twenty_years as tour
from tests.rates import scored
from tests.rates import twenty_years as planted

SIZE = planted.Size(years=10, jobs_a_month=5.0, links=10)


def asked(folder: Path, seed: int, everything: bool) -> tuple[planted.Truth, scored.Scores]:
    """An archive and its scores."""
    truth = planted.build(folder / "certificates", seed, everything, SIZE)
    return truth, scored.scored(folder / "certificates", truth)


@pytest.fixture(scope="module")
def with_all(tmp_path_factory: pytest.TempPathFactory) -> tuple[planted.Truth, scored.Scores]:
    """Everything planted."""
    return asked(tmp_path_factory.mktemp("planted"), 31, True)


def test_no_sentence_of_the_tour_is_wrong(with_all: tuple[planted.Truth, scored.Scores]) -> None:
    truth, scores = with_all
    assert scores.of(scored.WRONG) == []
    assert len(scores.of(scored.RIGHT)) > 15
    assert scores.held >= 0.9 * scores.asked > 50  # 95 % intervals of the rates of all groups
    assert truth.mixed and truth.copied and truth.reused and any(x.later_fail for x in truth.links)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("differs", f"{planted.BAD_CREW} passes the first test less often"),
        ("differs", "2007-Q"),
        ("reversal|mix", "Quillon"),
        ("unit", f"Unit {planted.DRIFT_UNIT} loses"),
        ("cable", f"Cable {planted.GOOD} tested in 2007"),
        ("sensitivity", f"12 copied, {2 * planted.REUSED} in doubt"),
    ],
)
def test_what_was_planted_is_told(with_all: tuple[planted.Truth, scored.Scores], kind: str, words: str) -> None:
    assert any(words in s for s in with_all[1].of(scored.RIGHT, f"^({kind})$"))


def test_where_nothing_was_planted_no_more_is_told_than_was_stated(tmp_path: Path) -> None:
    _, scores = asked(tmp_path, 32, False)
    assert len(scores.alarms) <= 1 + 2 * scores.expected
    assert scores.held >= 0.9 * scores.asked
    assert [s for s in scores.of(scored.WRONG) if s not in scores.alarms] == []


def test_a_sentence_that_nothing_scores_is_an_error(with_all: tuple[planted.Truth, scored.Scores]) -> None:
    known: Any = scored._Known(with_all[0], ())
    with pytest.raises(AssertionError):
        list(scored._score("Crew 12 is the best of all.", known, "crew", [], {}))
    (judged,) = scored._score("crew 01 passes less often than the typical crew: ", known, "crew", [], {})
    assert judged == (scored.WRONG, "differs")  # it does not: a scorer that knows no wrong would be none


def test_the_tour_asks_these_questions() -> None:
    """schemas/analyst-tour.md; what it quotes is compared by the endurance run, for it takes the larger archive."""
    text = tour.TOUR.read_text(encoding="utf-8")
    asked = [shlex.split(line[1:-1])[3:] for line in text.splitlines() if line.startswith("`muniment rates twenty")]
    plain = [tuple(words[: words.index("--standardise")] if "--standardise" in words else words) for words in asked]
    assert sorted(plain) == sorted(scored.QUESTIONS) and len(tour.quoted()) > 8
    assert f"--seed {tour.SEEDS[0]}" in text
