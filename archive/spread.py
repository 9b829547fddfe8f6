"""Work over many bags: in this process, in several of this machine, or on a Dask cluster, with the same results.

A piece of work is a function of a module and one small thing given to it; what it makes is small, too, and may be made
twice: a worker that is lost takes the pieces that it had finished along, and they are done again. Only two pieces for
each worker are under way at a time, so that memory does not grow with their number.
"""

from __future__ import annotations

import hashlib
import warnings
from abc import ABC, abstractmethod
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from functools import cache, partial
from importlib import import_module
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TypeAlias, TypeVar

from platformdirs import user_data_dir

from archive import schemas
from archive.errors import Trouble
from archive.version import PROGRAM

Given = TypeVar("Given")
Pieces: TypeAlias = Iterable[tuple[int, Given]]
"""Pieces of work with their numbers."""

AHEAD = 2
"""Pieces of work under way for each worker."""
TRIES = 4
"""Workers that a piece of work may take down before it is given up."""
PATIENCE = 20
"""Seconds that a scheduler has to answer, and to find a worker."""


@dataclass(frozen=True)
class Lost:
    """A piece of work that is given up: TRIES workers ended while they had it."""


@dataclass(frozen=True)
class Worked:
    """What was made of a piece of work, and what was warned of meanwhile in another process."""

    made: Any
    heard: tuple[Warning, ...] = ()


class Workers(ABC):
    """Where work is done."""

    elsewhere = True
    """It may be interrupted here and go on from what was done: results are worth keeping."""

    @abstractmethod
    def finished(self, work: Callable[[Given], Any], given: Pieces[Given]) -> Iterator[tuple[int, Worked | Lost]]:
        """What was made of each piece, or Lost, by its number, in the order in which it is done. Pieces are asked for
        as somebody has time for them.

        Errors: what the work raises; Trouble where there is nobody to do it.
        """


class Here(Workers):
    """This process, one piece after the other."""

    elsewhere = False

    def finished(self, work: Callable[[Given], Any], given: Pieces[Given]) -> Iterator[tuple[int, Worked | Lost]]:
        """As Workers.finished, in the order given."""
        for number, one in given:
            yield number, Worked(work(one))


@dataclass(frozen=True)
class Processes(Workers):
    """Processes of this machine. One that ends is replaced, and what it had is done again."""

    number: int

    def finished(self, work: Callable[[Given], Any], given: Pieces[Given]) -> Iterator[tuple[int, Worked | Lost]]:
        """As Workers.finished. Pieces that were under way when a process ended are tried again one by one, so that the
        one that ends it is known."""
        coming, doubtful, ended = iter(given), deque[tuple[int, Given]](), Counter[int]()
        while True:
            flying: dict[int, Given] = {}
            if alone := bool(doubtful):
                yield from self._round(work, iter([doubtful.popleft()]), 1, flying)
            else:
                yield from self._round(work, coming, self.number, flying)
            ended.update(flying.keys())
            for number, one in flying.items():
                if ended[number] < TRIES:
                    doubtful.append((number, one))
                else:
                    yield number, Lost()
            if not flying and not alone:
                return

    def _round(
        self, work: Callable[[Given], Any], coming: Iterator[tuple[int, Given]], workers: int, flying: dict[int, Given]
    ) -> Iterator[tuple[int, Worked | Lost]]:
        """Results until all is done, or until a process ends: what was under way then is left in `flying`."""
        most = AHEAD * workers if workers > 1 else 1
        futures: dict[Future[Worked], int] = {}
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            try:
                while True:
                    for number, one in islice(coming, most - len(flying)):
                        flying[number] = one
                        futures[pool.submit(_worked, fingerprint(), work, one)] = number
                    if not futures:
                        return
                    for future in wait(futures, return_when=FIRST_COMPLETED).done:
                        made = future.result()
                        number = futures.pop(future)
                        del flying[number]
                        yield number, made
            except BrokenProcessPool:
                return
            finally:
                pool.shutdown(wait=False, cancel_futures=True)


@dataclass(frozen=True)
class Cluster(Workers):
    """The workers of a Dask scheduler. They must reach the archive by the same path, and have this version."""

    address: str

    def finished(self, work: Callable[[Given], Any], given: Pieces[Given]) -> Iterator[tuple[int, Worked | Lost]]:
        """As Workers.finished. Errors: Trouble too where no scheduler answers, has no worker, or goes away."""
        engine = _engine()
        with self._client(engine) as client, client.as_current():
            coming, flying = iter(given), dict[Any, int]()
            ready = engine.as_completed(raise_errors=False)
            send = partial(client.submit, _worked, fingerprint(), work, pure=False, retries=0)
            while True:
                most = AHEAD * max(1, sum(client.nthreads().values()))
                for number, one in islice(coming, max(0, most - len(flying))):
                    future = send(one)
                    flying[future] = number
                    ready.add(future)
                if not flying:
                    return
                future = next(ready)
                number = flying.pop(future)
                if future.status == "finished":
                    yield number, future.result()
                elif future.status == "error" and type(future.exception()).__name__ == "KilledWorker":
                    yield number, Lost()
                elif future.status == "error":
                    raise future.exception()
                elif future.status in ("pending", "lost"):  # done, and lost with its worker: it is done again
                    flying[future] = number
                    ready.add(future)
                    continue
                else:
                    raise self._trouble("the scheduler went away", code="cluster.scheduler-lost")
                future.release()

    def _client(self, engine: Any) -> Any:
        try:
            client = engine.Client(self.address, timeout=PATIENCE, set_as_default=False)
        except (OSError, ValueError, TypeError):
            raise self._trouble("no scheduler answers here", code="cluster.no-scheduler") from None
        try:
            client.wait_for_workers(1, timeout=PATIENCE)
        except OSError:
            client.close()
            raise self._trouble("the scheduler has no worker", code="cluster.no-worker") from None
        return client

    def _trouble(self, what: str, *, code: str) -> Trouble:
        return Trouble(
            what,
            code=code,
            where=self.address,
            expected="the address that `dask scheduler` prints, such as tcp://127.0.0.1:8786, with workers",
            remedy="start it, then give the same command again: what was done is kept",
        )


def _engine() -> Any:
    try:
        return import_module("distributed")
    except ImportError:
        raise Trouble(
            "work on a cluster needs the library dask.distributed",
            code="cluster.no-engine",
            remedy="install it with `pip install muniment[cluster]`, or use `--workers`",
        ) from None


@dataclass(frozen=True)
class Workforce:
    """Who does the work, and who passes the pieces through as they are done, for a bar."""

    workers: Workers = field(default_factory=Here)
    watch: Callable[[Any], Iterable[Any]] = iter


def in_order(finished: Iterable[tuple[int, Worked | Lost]]) -> Iterator[Worked | Lost]:
    """What was made of pieces numbered from 0, in the order of their numbers."""
    held: dict[int, Worked | Lost] = {}
    following = 0
    for number, worked in finished:
        held[number] = worked
        while following in held:
            yield held.pop(following)
            following += 1


def spread(workers: int = 1, scheduler: str | None = None) -> Workers:
    """Where work is to be done. workers: processes of this machine; scheduler: address of a Dask scheduler."""
    return Cluster(scheduler) if scheduler else Processes(workers) if workers > 1 else Here()


@cache
def fingerprint() -> str:
    """What a worker must have in common with whoever gives the work: program, declared files, and what this user
    confirmed of limits and words."""
    digest = hashlib.sha256(PROGRAM.encode())
    for folder, pattern in ((schemas.root(), "*.toml"), (Path(user_data_dir("muniment", appauthor=False)), "*")):
        for path in sorted(p for p in folder.rglob(pattern) if p.is_file()):
            digest.update(path.relative_to(folder).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()


def _worked(expected: str, work: Callable[[Given], Any], given: Given) -> Worked:
    """In a worker: what is made. Errors: Trouble where it has another version."""
    if fingerprint() != expected:
        raise Trouble(
            "a worker has another version of muniment, or other limits and words confirmed by its user",
            code="cluster.other-version",
            found=PROGRAM,
            remedy="install the same version for all workers, run them as the same user, and start them again",
        )
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        made = work(given)
    return Worked(made, tuple(w.message for w in heard if isinstance(w.message, Warning)))
