"""Work in other processes comes to the same as here, whatever ends meanwhile; an interrupted run goes on."""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from archive.errors import Trouble
from archive.spread import AHEAD, Here, Lost, Processes, Workforce, spread
from archive.store import kept_work
from archive.store.kept_work import BagWork
from tests.spread import spread_work


class Elsewhere(Here):
    """This process, taken for another one: what is done is kept."""

    elsewhere = True


def _work(where: Any, work: Callable[[Any], Any], given: Sequence[Any], what: str = "test") -> BagWork[Any, Any]:
    return BagWork("ar-test", Workforce(where), what, work, given, str)


def _pieces(folder: Path, number: int = 8) -> list[tuple[str, int]]:
    return [(str(folder), n) for n in range(number)]


def test_who_does_it() -> None:
    assert isinstance(spread(), Here)
    assert spread(3) == Processes(3)


@pytest.mark.parametrize("where", [Here(), Processes(2)])
def test_results_come_in_order(where: Any) -> None:
    assert list(_work(where, spread_work.doubled, range(20))) == [(n, 2 * n) for n in range(20)]


@pytest.mark.parametrize("where", [Here(), Elsewhere()])
def test_nothing_to_do(where: Any) -> None:
    assert list(_work(where, spread_work.doubled, [])) == []


def test_a_piece_that_ends_every_process_is_lost_and_no_other(tmp_path: Path) -> None:
    found = {piece[1]: made for piece, made in _work(Processes(2), spread_work.fatal, _pieces(tmp_path))}
    assert found.pop(3) == Lost()
    assert found == {n: 2 * n for n in range(8) if n != 3}


def test_where_nothing_may_be_lost_the_others_are_done_and_kept(tmp_path: Path) -> None:
    work = _work(Processes(2), spread_work.fatal, _pieces(tmp_path))
    with pytest.raises(Trouble, match="every worker that had this ended") as caught:
        list(work.sure())
    assert "3" in caught.value.where
    done = len(list(tmp_path.iterdir()))
    again = _work(Processes(2), spread_work.fatal, _pieces(tmp_path))
    with pytest.raises(Trouble):
        list(again.sure())
    assert again.before == 7
    assert len(list(tmp_path.iterdir())) == done


def test_a_process_that_ends_is_replaced(tmp_path: Path) -> None:
    found = list(_work(Processes(2), spread_work.fatal_once, _pieces(tmp_path)))
    assert [made for _, made in found] == [2 * n for n in range(8)]


def test_what_was_done_before_an_interruption_is_not_done_again(tmp_path: Path) -> None:
    results = iter(_work(Elsewhere(), spread_work.noted, _pieces(tmp_path, 12)))
    first = [next(results) for _ in range(4)]
    results.close()  # type: ignore[attr-defined]
    again = _work(Elsewhere(), spread_work.noted, _pieces(tmp_path, 12))
    found = list(again)
    assert found[:4] == first
    assert [made for _, made in found] == [2 * n for n in range(12)]
    assert again.before == 4
    assert again.since is not None
    times = [p.name.split("-")[0] for p in tmp_path.iterdir()]
    assert set(times) == {str(n) for n in range(12)}
    assert all(times.count(str(n)) == 1 for n in range(4))


@pytest.mark.parametrize("change", ["what", "given", "age", "damage"])
def test_another_run_takes_nothing_over(tmp_path: Path, own_user: Path, change: str, monkeypatch: Any) -> None:
    results = iter(_work(Elsewhere(), spread_work.noted, _pieces(tmp_path, 6)))
    next(results)
    results.close()  # type: ignore[attr-defined]
    kept = sorted((own_user / "cache" / "ar-test" / "work").rglob("0*"))
    assert kept, "the first part is kept"
    if change == "age":
        monkeypatch.setattr(kept_work, "LASTS", -1.0)
    if change == "damage":
        for part in kept:
            part.write_bytes(part.read_bytes()[:-1] + b"\0")
    again = _work(
        Elsewhere(),
        spread_work.noted,
        _pieces(tmp_path, 5 if change == "given" else 6),
        "other" if change == "what" else "test",
    )
    list(again)
    assert again.before == 0


def test_a_run_that_ended_leaves_nothing(tmp_path: Path, own_user: Path) -> None:
    list(_work(Elsewhere(), spread_work.noted, _pieces(tmp_path, 3)))
    assert [p for p in (own_user / "cache").rglob("*") if p.is_file()] == []


@pytest.mark.parametrize("where", [Here(), Processes(2)])
def test_what_a_person_can_fix_comes_through_whole(where: Any) -> None:
    with pytest.raises(Trouble) as caught:
        list(_work(where, spread_work.troubled, range(5)))
    assert str(caught.value) == "here: three; found 3. Leave it"
    assert caught.value.code == "file.not-writable"


@pytest.mark.parametrize("where", [Here(), Processes(2)])
def test_warnings_of_a_worker_are_heard(where: Any) -> None:
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        list(_work(where, spread_work.warned, range(3)))
    assert [str(w.message) for w in heard] == [f"number {n}" for n in range(3)]


def test_only_as_much_is_under_way_as_the_workers_can_take(tmp_path: Path) -> None:
    results = Processes(2).finished(spread_work.noted, enumerate(_pieces(tmp_path, 40)))
    next(results)
    time.sleep(0.5)
    results.close()  # type: ignore[attr-defined]
    assert len(list(tmp_path.iterdir())) <= 1 + 2 * AHEAD + 2, "the rest was not begun while nobody took results"
