"""A loop that never ends, or takes ever more memory, costs the file at which it runs."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator

import numpy as np
import pyarrow as pa
import pytest

from archive.bounds import FileBounds, growth_bounded
from archive.confined import MEMORY, SECONDS
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
        FileBounds("a.csv", 10).run(work)
    assert time.monotonic() - begun < 20
    assert (raised.value.where, raised.value.code) == ("a.csv", "confined.time")
    assert SECONDS in raised.value.remedy
    time.sleep(0.2)
    assert threading.active_count() == before, "no thread goes on"
    assert sum(range(1000)) == 499500, "nothing is raised afterwards"


def test_time_counts_over_all_calls_and_only_while_it_works(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SECONDS, "1")
    deadline = FileBounds("a.csv", 10)
    time.sleep(1.2)
    assert deadline.run(lambda: 7) == 7, "waiting costs nothing"
    deadline.run(lambda: time.sleep(0.7))
    with pytest.raises(Trouble):
        deadline.run(_for_ever)


def test_a_large_file_has_more_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SECONDS, "1")
    FileBounds("a.csv", 250_000_000).run(lambda: time.sleep(1.5))


def test_an_error_of_the_work_comes_through() -> None:
    def fails() -> None:
        raise ValueError("x")

    before = threading.active_count()
    with pytest.raises(ValueError, match="x"):
        FileBounds("a.csv", 10).run(fails)
    assert threading.active_count() == before


def _growing() -> None:
    held: list[list[int]] = []
    while True:
        held.append(list(range(1_000_000, 1_010_000)))


def _growing_elsewhere() -> None:
    def made() -> Iterator[int]:
        yield 1
        _growing()

    assert list(prefetch(made())) == []


def _in_one_call() -> None:
    np.ones(3 << 30, np.uint8)


def _of_arrow() -> None:
    pa.allocate_buffer(3 << 30)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="this system sets no bound of memory")
@pytest.mark.parametrize("work", [_growing, _growing_elsewhere, _in_one_call, _of_arrow])
def test_memory_is_bounded(monkeypatch: pytest.MonkeyPatch, work: Callable[[], None]) -> None:
    """By the watch where it grows step by step, by the system where it is taken in one call."""
    import resource

    monkeypatch.setenv(MEMORY, "150")
    before, threads = resource.getrlimit(resource.RLIMIT_DATA), threading.active_count()
    with pytest.raises(Trouble) as raised:
        FileBounds("a.csv", 10).run(work)
    assert (raised.value.where, raised.value.code) == ("a.csv", "confined.memory")
    assert MEMORY in raised.value.remedy
    assert resource.getrlimit(resource.RLIMIT_DATA) == before
    time.sleep(0.2)
    assert threading.active_count() == threads
    assert FileBounds("b.csv", 10).run(lambda: len(bytes(1 << 20))) == 1 << 20, "the next file has its own"


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="this system sets no bound of memory")
def test_of_two_files_at_a_time_the_last_lifts_the_bound() -> None:
    import resource

    before = resource.getrlimit(resource.RLIMIT_DATA)
    with growth_bounded(1 << 40) as one:
        inside = resource.getrlimit(resource.RLIMIT_DATA)
        with growth_bounded(1 << 41) as other:
            assert resource.getrlimit(resource.RLIMIT_DATA) == inside != before
        assert resource.getrlimit(resource.RLIMIT_DATA) == inside
    assert one
    assert other
    assert resource.getrlimit(resource.RLIMIT_DATA) == before
