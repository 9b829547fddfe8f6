"""Work that goes on while its results are used: reading in one thread, judging in another, archiving in a third.

NumPy, Arrow, zlib and hashlib let go of Python's lock while they work, so threads share the cores.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable
from queue import Empty, Queue
from threading import Event, Thread
from typing import Any

from archive.tables import Batch

_HELD = 1
"""Results that wait to be used, besides the one in work: memory holds three batches of each step at the most."""


def ahead(batches: Iterable[Batch]) -> Generator[Batch, None, None]:
    """The same batches in the same order, made in a thread of their own, a little before they are asked for.

    What goes wrong there is raised here, after what came before it. When the caller stops, so does the thread.
    """
    results: Queue[tuple[Any, BaseException | None]] = Queue(_HELD)
    stop = Event()
    thread = Thread(target=_make, args=(batches, results, stop), daemon=True)
    thread.start()
    try:
        while True:
            batch, error = results.get()
            if error is not None:
                raise error
            if batch is None:
                return
            yield batch
            del batch
    finally:
        stop.set()
        while thread.is_alive():
            try:
                results.get(timeout=0.01)  # makes room for one that the thread still wants to hand over
            except Empty:
                thread.join(0.01)


def _make(batches: Iterable[Batch], results: Queue[tuple[Any, BaseException | None]], stop: Event) -> None:
    source = iter(batches)
    try:
        for batch in source:
            results.put((batch, None))
            if stop.is_set():
                break
        results.put((None, None))
    except BaseException as error:  # noqa: BLE001 - raised again by whoever takes the results
        results.put((None, error))
    finally:
        close = getattr(source, "close", None)
        if close is not None:
            close()
