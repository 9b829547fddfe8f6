"""Work that goes on while its results are used: reading in one thread, judging in another, archiving in a third.

NumPy, Arrow, zlib and hashlib let go of Python's lock while they work, so threads share the cores.
"""

from __future__ import annotations

import ctypes
import os
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from queue import Empty, Queue
from threading import Event, Thread
from typing import Any, TypeVar

Given = TypeVar("Given")
Made = TypeVar("Made")

WORKERS = max(2, min(4, os.cpu_count() or 2))
"""Threads that share one kind of work."""


def prefetch(made: Iterable[Made], held: int = 1) -> Generator[Made, None, None]:
    """The same results in the same order, made in a thread of their own, a little before they are asked for. None is
    no result.

    held: how many wait to be used at the most, besides the one in work and the one in use.
    What goes wrong there is raised here, after what came before it. When the caller stops, so does the thread after the
    result in work; when the caller is interrupted (Ctrl-C, archive.bounds), so is the thread.
    """
    results: Queue[tuple[Any, BaseException | None]] = Queue(held)
    stop = Event()
    thread = Thread(target=_make, args=(made, results, stop), daemon=True)
    thread.start()
    try:
        while True:
            result, error = _wait(results)
            if error is not None:
                raise error
            if result is None:
                return
            yield result
            del result
    except GeneratorExit:
        raise
    except BaseException as error:
        if not isinstance(error, Exception):
            interrupt(thread.ident, type(error))
        raise
    finally:
        stop.set()
        while thread.is_alive():
            try:
                results.get(timeout=0.01)  # makes room for one that the thread still wants to hand over
            except Empty:
                thread.join(0.01)


def _wait(results: Queue[Any]) -> Any:
    """The next result; waits in small steps, since a thread is interrupted between steps only."""
    while True:
        try:
            return results.get(timeout=0.5)
        except Empty:
            continue


def interrupt(thread: int | None, kind: type[BaseException]) -> None:
    """Raises an exception of this kind in a thread, as soon as it takes a step of Python."""
    if thread is not None:
        ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread), ctypes.py_object(kind))


def _make(made: Iterable[Any], results: Queue[tuple[Any, BaseException | None]], stop: Event) -> None:
    source = iter(made)
    try:
        for result in source:
            results.put((result, None))
            if stop.is_set():
                break
        results.put((None, None))
    except BaseException as error:  # noqa: BLE001 - raised again by whoever takes the results
        results.put((None, error))
    finally:
        close = getattr(source, "close", None)
        if close is not None:
            close()


def parallel_map(work: Callable[[Given], Made], given: Iterable[Given], workers: int = WORKERS) -> Iterator[Made]:
    """The result of the work on each thing given, in their order, made by several threads. At most one thing more than
    there are threads is in work or waits; the things themselves are asked for by the caller's thread.

    What goes wrong is raised where its result would have come.
    """
    waiting: deque[Future[Made]] = deque()
    with ThreadPoolExecutor(workers) as pool:
        for one in given:
            waiting.append(pool.submit(work, one))
            if len(waiting) > workers:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
