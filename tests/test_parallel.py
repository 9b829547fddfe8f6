"""What other threads make comes in order, with what goes wrong, and the threads end when their caller does."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest

from archive.errors import Trouble
from archive.parallel import WORKERS, parallel_map, prefetch
from archive.tables import Batch


def _batch(n: int) -> Batch:
    return Batch.from_rows({"records": [{"record_id": str(n), "evidence": "none"}]})


def _names(batches: Iterator[Batch]) -> Iterator[str]:
    for batch in batches:
        yield batch["records"]["record_id"][0].as_py()


def test_order_stays_through_two_threads() -> None:
    before = threading.active_count()
    found = list(_names(prefetch(prefetch(_batch(n) for n in range(20)))))
    assert found == [str(n) for n in range(20)]
    assert threading.active_count() == before


def test_trouble_comes_after_what_came_before_it() -> None:
    def source() -> Iterator[Batch]:
        yield _batch(0)
        yield _batch(1)
        raise Trouble("cannot be read", where="b.csv")

    found = []
    with pytest.raises(Trouble, match="cannot be read"):
        for name in _names(prefetch(prefetch(source()))):
            found.append(name)
    assert found == ["0", "1"]


def test_a_caller_that_stops_ends_the_thread_and_closes_its_source() -> None:
    before, closed = threading.active_count(), []

    def source() -> Iterator[Batch]:
        try:
            for n in range(1_000):
                yield _batch(n)
        finally:
            closed.append(True)

    batches = prefetch(prefetch(source()))
    next(batches)
    batches.close()
    assert closed == [True]
    assert threading.active_count() == before


def test_shared_work_stays_in_order_and_asks_for_no_more_than_it_needs() -> None:
    before, asked = threading.active_count(), []

    def numbers() -> Iterator[int]:
        for n in range(100):
            asked.append(n)
            yield n

    def work(n: int) -> int:
        time.sleep(0.002 if n % 3 else 0)
        return n * n

    made = parallel_map(work, numbers())
    assert next(made) == 0
    assert len(asked) == WORKERS + 1
    assert list(made) == [n * n for n in range(1, 100)]
    assert threading.active_count() == before


def test_shared_work_that_fails_says_so_in_its_place() -> None:
    found = []
    with pytest.raises(ZeroDivisionError):
        for one in parallel_map(lambda n: 12 // n, [4, 3, 0, 2]):
            found.append(one)
    assert found == [3, 4]
