"""A bug costs the thing that it strikes, and what a person can fix is no bug."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from archive.errors import Trouble
from archive.isolation import GENERAL, ProgramFault, attempt, isolated


@pytest.fixture(autouse=True)
def as_for_a_user(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not as in the other tests, in which a bug is raised."""
    monkeypatch.delenv("MUNIMENT_TRACEBACK")


def _worked(items: Sequence[int], bad: set[int]) -> tuple[list[int], list[int], int]:
    """Items made, items failed, and how often the work was asked for."""
    asked = 0

    def work(part: Sequence[int]) -> list[int]:
        nonlocal asked
        asked += 1
        if bad & set(part):
            raise ZeroDivisionError("planted by a test")
        return list(part)

    made: list[int] = []
    failed: list[int] = []
    order: list[int] = []
    for part, result in isolated(items, work, "planted"):
        order += part
        if isinstance(result, ProgramFault):
            assert (result.where, result.what) == ("planted", "ZeroDivisionError: planted by a test")
            assert "ZeroDivisionError" in result.traceback
            failed += part
        else:
            made += result
    assert order == list(items)
    return made, failed, asked


def test_nothing_fails() -> None:
    assert _worked(range(1000), set()) == (list(range(1000)), [], 1)


def test_one_thing_of_many_fails_alone() -> None:
    made, failed, asked = _worked(range(1000), {617})
    assert failed == [617]
    assert made == [n for n in range(1000) if n != 617]
    assert asked < 25  # two for each halving


def test_what_fails_everywhere_is_given_up() -> None:
    made, failed, asked = _worked(range(10_000), set(range(10_000)))
    assert (made, failed) == ([], list(range(10_000)))
    assert asked < 20 * GENERAL


def test_what_a_person_can_fix_is_no_bug() -> None:
    for error in (Trouble("a sentence"), OSError("no space left")):
        with pytest.raises(type(error)):
            attempt(lambda error=error: (_ for _ in ()).throw(error), "planted")  # type: ignore[misc]


def test_who_looks_for_a_bug_sees_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MUNIMENT_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        attempt(lambda: 1 // 0, "planted")
