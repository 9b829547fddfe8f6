"""Work on a file that nobody vouches for, in a process of its own, within a bound of memory and one of time.

A library that aborts, panics, takes all memory or never ends then costs that file alone. A process serves one file
after another: starting one takes some 50 ms, asking it takes a tenth of a millisecond.
"""

from __future__ import annotations

import atexit
import contextlib
import importlib
import io
import os
import pickle
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Lock, Timer
from typing import Any, ClassVar, NoReturn

from archive.errors import MachineNotice, Trouble

MEMORY, SECONDS = "MUNIMENT_READ_MEMORY", "MUNIMENT_READ_SECONDS"
"""Variables of the environment: bound of memory in MB, bound of time in seconds."""

_MEMORY_MB, _SECONDS = 4096, 300
_WAITING = 2
"""Processes that wait for the next file, at most."""

_PLAIN = frozenset(("date", "datetime", "time", "timedelta"))


class NoMemoryBound(MachineNotice):
    """This system cannot bound the memory of a process."""


def bound(variable: str) -> int:
    """The bound of memory (MB) or of time (s) in force. Errors: Trouble where the variable is no whole number."""
    given = os.environ.get(variable, "")
    if not given:
        return _MEMORY_MB if variable == MEMORY else _SECONDS
    if not given.isascii() or not given.isdigit() or int(given) < 1:
        raise Trouble(
            "a bound that is no whole number",
            code="confined.bad-bound",
            where=variable,
            found=repr(given),
            expected="a whole number of MB" if variable == MEMORY else "a whole number of seconds",
        )
    return int(given)


_BYTES_PER_BOUND = 100_000_000
"""Each such part of a file has the bound of time for itself."""


def seconds_for(size: int) -> int:
    """Seconds that reading a file of so many bytes may take."""
    return bound(SECONDS) * (1 + size // _BYTES_PER_BOUND)


def too_large(name: str, memory_mb: int) -> Trouble:
    """What to say of a file that takes more memory than it may."""
    return Trouble(
        "reading it takes more memory than one file may",
        code="confined.memory",
        where=name,
        found=f"more than {memory_mb:,} MB",
        remedy=f"it may be damaged; if you trust it, allow more: set {MEMORY} to a larger number of MB",
    )


def too_slow(name: str, seconds: int) -> Trouble:
    """What to say of a file that takes more time than it may."""
    return Trouble(
        "reading it takes more time than one file may",
        code="confined.time",
        where=name,
        found=f"more than {seconds:,} seconds",
        remedy=f"it may be damaged; if you trust it, allow more: set {SECONDS} to a larger number of seconds",
    )


class Confined:
    """A process in which functions run for one file. name: of the file, for messages; size: its bytes."""

    def __init__(self, name: str, size: int) -> None:
        self.name = name
        self._process = _Process.take()
        self._seconds = seconds_for(size)
        self._left = float(self._seconds)

    def __enter__(self) -> Confined:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.give_back()

    def stream(self, function: Callable[..., Iterator[Any]], *arguments: Any, name: str = "") -> Iterator[Any]:
        """What a generator yields that runs there. function: of a module; arguments, results: texts, numbers, bytes,
        dates, and lists and tuples of them. name: of the file, where it is one of several.

        Errors: Trouble that it raised; Trouble where it failed otherwise, the process died, or a bound was reached.
        """
        name = name or self.name
        stream = self._ask(name, "open", f"{function.__module__}:{function.__qualname__}", arguments, self._seconds)
        while (found := self._ask(name, "next", stream)) is not None:
            yield found[0]

    def _ask(self, name: str, *question: Any) -> Any:
        begun = time.monotonic()
        try:
            kind, answer = self._process.ask(question, self._left)
        except pickle.UnpicklingError:
            self._process.bury()
            self._failed(name, "an answer that is no plain value")
        except (EOFError, OSError):
            self._died(name)
        self._left -= time.monotonic() - begun
        if kind == "trouble":
            message, code, where, found, expected, remedy = answer
            raise Trouble(message, code=code, where=where, found=found, expected=expected, remedy=remedy)
        if kind in ("memory", "failed"):
            self._process.bury()  # who knows what state it is in
            if kind == "memory":
                raise too_large(name, self._process.memory_mb)
            self._failed(name, answer)
        return answer

    def _died(self, name: str) -> NoReturn:
        code, last_words, late = self._process.bury()
        if late:
            raise too_slow(name, self._seconds)
        if code in (-9, 137) or "memory allocation" in last_words or "MemoryError" in last_words:
            raise too_large(name, self._process.memory_mb)
        self._failed(name, f"the process ended with {f'signal {-code}' if code < 0 else f'code {code}'}")

    def _failed(self, name: str, found: str) -> NoReturn:
        raise Trouble(
            "the library that reads such files failed on it",
            code="confined.failed",
            where=name,
            found=" ".join(found.split())[:200],
            remedy="it may be damaged: export or copy it again",
        )


class _Process:
    """One process, and the pipe to it."""

    waiting: ClassVar[list[_Process]] = []
    _lock = Lock()
    _warned = False

    def __init__(self, memory_mb: int) -> None:
        self.memory_mb = memory_mb
        self._words = tempfile.TemporaryFile(prefix="muniment-")  # noqa: SIM115 - closed with the process
        here = str(Path(__file__).resolve().parent.parent)
        path = os.pathsep.join([here, *(p for p in sys.path if p)])
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", __name__, str(memory_mb)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._words,
            env={**os.environ, "PYTHONPATH": path, "ARROW_DEFAULT_MEMORY_POOL": "system", "RUST_BACKTRACE": "0"},
        )
        self._late = False
        self._alive = True

    @classmethod
    def take(cls) -> _Process:
        """One that is idle, or a new one."""
        memory = bound(MEMORY)
        with cls._lock:
            fitting = [p for p in cls.waiting if p.memory_mb == memory]
            if fitting:
                cls.waiting.remove(fitting[-1])
                return fitting[-1]
        new = cls(memory)
        try:
            bounded = new.ask(("hello",), _SECONDS)[1]
        except (EOFError, OSError, pickle.UnpicklingError):
            code, words, _ = new.bury()
            raise Trouble(
                "the process that reads such files did not start",
                code="confined.not-started",
                found=f"code {code}: {' '.join(words.split())[-200:]}",
                remedy=f"allow it more memory: set {MEMORY} to a larger number of MB",
            ) from None
        if not bounded and not cls._warned:
            cls._warned = True
            warnings.warn(
                f"this system sets no bound of memory for a process, and {MEMORY} does nothing: a damaged or hostile "
                "file may take all memory before its bound of time ends it",
                NoMemoryBound,
                stacklevel=4,
            )
        return new

    def give_back(self) -> None:
        """Ends every stream; the process waits for another file, or ends."""
        if self._alive:
            try:
                self.ask(("end",), 10)
            except (EOFError, OSError, pickle.UnpicklingError):
                self.bury()
                return
            with self._lock:
                if len(self.waiting) < _WAITING:
                    self.waiting.append(self)
                    return
            self.bury()

    def ask(self, question: tuple[Any, ...], seconds: float) -> tuple[str, Any]:
        """Kind of the answer, and the answer. Errors: EOFError, OSError, UnpicklingError where it died."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        timer = Timer(max(seconds, 0), self._end_late)
        timer.start()
        try:
            pickle.dump(question, self._process.stdin)
            self._process.stdin.flush()
            answer: tuple[str, Any] = _Answers(self._process.stdout).load()
        finally:
            timer.cancel()
        return answer

    def _end_late(self) -> None:
        self._late = True
        self._process.kill()

    def bury(self) -> tuple[int, str, bool]:
        """Code with which it ended, what it wrote last, and whether it was late."""
        self._alive = False
        for pipe in (self._process.stdin, self._process.stdout):
            with contextlib.suppress(OSError):
                assert pipe is not None
                pipe.close()
        try:
            code = self._process.wait(timeout=2)
        except subprocess.TimeoutExpired:
            self._process.kill()
            code = self._process.wait()
        self._words.seek(0)
        words = self._words.read(1 << 20).decode("utf-8", "replace")
        self._words.close()
        return code, words, self._late


def _end_all() -> None:
    while _Process.waiting:
        _Process.waiting.pop().bury()


atexit.register(_end_all)
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_Process.waiting.clear)


class _Answers(pickle.Unpickler):
    """Answers of the process, which a hostile file may have taken over: plain values and dates, nothing else."""

    def find_class(self, module: str, name: str) -> Any:
        """Errors: UnpicklingError for anything but a date."""
        if module == "datetime" and name in _PLAIN:
            return super().find_class(module, name)
        raise pickle.UnpicklingError(f"{module}.{name}")


# What runs in the process.


def serve(memory_mb: int) -> None:
    """Answers questions until there are no more."""
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the one who asks ends it
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints is no answer
    bounded = _bound_memory(memory_mb)
    questions, streams, number = os.fdopen(0, "rb"), dict[int, Iterator[Any]](), 0
    while True:
        try:
            kind, *rest = pickle.load(questions)
        except EOFError:
            return
        try:
            answer: tuple[str, Any] = ("done", bounded)
            if kind == "open":
                module, _, name = rest[0].partition(":")
                number += 1
                _bound_time(rest[2])
                streams[number] = getattr(importlib.import_module(module), name)(*rest[1])
                answer = ("done", number)
            elif kind == "next":
                found = next(streams[rest[0]], _OVER)
                answer = ("done", None if found is _OVER else [found])
            elif kind == "end":
                streams.clear()
        except Trouble as trouble:
            fields = (trouble.message, trouble.code, trouble.where, trouble.found, trouble.expected, trouble.remedy)
            answer = ("trouble", fields)
        except MemoryError:
            streams.clear()
            answer = ("memory", None)
        except BaseException as error:  # noqa: BLE001 - a panic of a native library is no Exception
            answer = ("failed", f"{type(error).__name__}: {error}")
        _send(answer, answers)


_OVER = object()
"""A stream has ended."""


def _send(answer: tuple[str, Any], answers: io.BufferedWriter) -> None:
    try:
        pickle.dump(answer, answers, protocol=pickle.HIGHEST_PROTOCOL)
    except MemoryError:
        os._exit(137)
    answers.flush()


def _bound_memory(memory_mb: int) -> bool:
    """Whether this system bounds the memory of this process."""
    if not sys.platform.startswith(("linux", "freebsd")):
        return False
    import resource

    most = memory_mb << 20
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    most = most if hard == resource.RLIM_INFINITY else min(most, hard)
    try:
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
    except (ValueError, OSError):
        return False
    return True


def _bound_time(seconds: int) -> None:
    """Ends this process after so many seconds of work, should the one who asks be gone by then."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        used = resource.getrusage(resource.RUSAGE_SELF)
        _, hard = resource.getrlimit(resource.RLIMIT_CPU)
        resource.setrlimit(resource.RLIMIT_CPU, (int(used.ru_utime + used.ru_stime) + seconds + 60, hard))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if __name__ == "__main__":
    serve(int(sys.argv[1]))
