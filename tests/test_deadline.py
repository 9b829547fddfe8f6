"""A loop that never ends costs the file at which it runs."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator

import pytest

from archive.confined import SECONDS
from archive.deadline import Deadline
from archive.errors import Trouble
from archive.parallel import prefetch


def _for_ever() -> None:
    while True:
        sum(range(100))


def _napping() -> None:
    while True:
        time.sleep(0.01)


def _elsewhere() -> None:
    def made() -> Iterator[int]:
        yield 1
        _for_ever()

    assert list(prefetch(prefetch(made()))) == []


@pytest.mark.parametrize("work", [_for_ever, _napping, _elsewhere])
def test_a_loop_is_interrupted(monkeypatch: pytest.MonkeyPatch, work: Callable[[], None]) -> None:
    monkeypatch.setenv(SECONDS, "1")
    begun, before = time.monotonic(), threading.active_count()
    with pytest.raises(Trouble) as raised:
        Deadline("a.csv", 10).run(work)
    assert time.monotonic() - begun < 20
    assert (raised.value.where, raised.value.code) == ("a.csv", "confined.time")
    assert SECONDS in raised.value.remedy
    time.sleep(0.2)
    assert threading.active_count() == before, "no thread goes on"
    assert sum(range(1000)) == 499500, "nothing is raised afterwards"


def test_time_counts_over_all_calls_and_only_while_it_works(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SECONDS, "1")
    deadline = Deadline("a.csv", 10)
    time.sleep(1.2)
    assert deadline.run(lambda: 7) == 7, "waiting costs nothing"
    deadline.run(lambda: time.sleep(0.7))
    with pytest.raises(Trouble):
        deadline.run(_for_ever)


def test_a_large_file_has_more_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SECONDS, "1")
    Deadline("a.csv", 250_000_000).run(lambda: time.sleep(1.5))


def test_an_error_of_the_work_comes_through() -> None:
    def fails() -> None:
        raise ValueError("x")

    with pytest.raises(ValueError, match="x"):
        Deadline("a.csv", 10).run(fails)
    assert not [t for t in threading.enumerate() if isinstance(t, threading.Timer) and t.is_alive() and not t.finished]
