"""Work in a process of its own: whatever happens there is one line about one file."""

from __future__ import annotations

import datetime
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from archive import confined, schemas
from archive.cli import main
from archive.confined import MEMORY, SECONDS, Confined
from archive.errors import Trouble
from tests import confined_work as work

BOUNDED = sys.platform.startswith(("linux", "freebsd"))


def run(function: Callable[..., Iterator[Any]], *arguments: Any) -> list[Any]:
    with Confined("a.xls", 100) as process:
        return list(process.stream(function, *arguments))


def test_what_it_yields_comes_back() -> None:
    assert run(work.values, 3, "a", None, 2.5, b"x") == [0, 1, 2, ["a", None, 2.5, b"x"]]
    assert run(work.day) == [[datetime.date(2019, 3, 4), datetime.datetime(2019, 3, 4, 10, 15)]]
    assert run(work.chatter) == [7], "what a library prints is no answer"


def test_several_streams_side_by_side() -> None:
    with Confined("a.xls", 100) as process:
        one, other = process.stream(work.values, 3), process.stream(work.values, 2)
        assert [next(one), next(other), next(one), next(other), next(one), next(other)] == [0, 0, 1, 1, 2, []]


def test_a_process_serves_one_file_after_another() -> None:
    assert run(work.pid) == run(work.pid)
    with Confined("a.xls", 100) as first, Confined("b.xls", 100) as second:
        assert next(first.stream(work.pid)) != next(second.stream(work.pid))


def test_a_trouble_is_raised_as_it_is() -> None:
    with Confined("a.xls", 100) as process:
        stream = process.stream(work.trouble)
        assert next(stream) == 1
        with pytest.raises(Trouble) as raised:
            next(stream)
    assert str(raised.value) == "a.xls: is damaged; found x; expected y. Copy it again"
    assert raised.value.code == "test.damaged"


@pytest.mark.parametrize(
    ("function", "found"),
    [
        (work.abort, "the process ended with signal 6"),
        (work.panic, "PanicException: range end index 2 out of range"),
        (work.hostile, "an answer that is no plain value"),
    ],
)
def test_a_library_that_fails_costs_one_file(function: Callable[..., Iterator[Any]], found: str) -> None:
    with pytest.raises(Trouble) as raised:
        run(function)
    assert raised.value.code == "confined.failed"
    assert (raised.value.where, raised.value.found.startswith(found)) == ("a.xls", True), raised.value.found
    assert run(work.values, 1) == [0, []], "the next file is read"


@pytest.mark.skipif(not BOUNDED, reason="this system bounds no memory, and says so")
def test_a_bound_of_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(MEMORY, "300")
    with pytest.raises(Trouble) as raised:
        run(work.hog)
    assert (raised.value.code, raised.value.found) == ("confined.memory", "more than 300 MB")
    assert MEMORY in raised.value.remedy
    monkeypatch.setenv(MEMORY, "600")
    with Confined("a.xls", 100) as process:
        assert [next(process.stream(work.hog)) for _ in range(6)] == [1] * 6, "more is allowed"


def test_a_bound_of_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SECONDS, "1")
    with pytest.raises(Trouble) as raised:
        run(work.sleep)
    assert (raised.value.code, raised.value.found) == ("confined.time", "more than 1 seconds")
    assert SECONDS in raised.value.remedy


@pytest.mark.parametrize("given", ["0", "-3", "1.5", "many"])
def test_a_bound_that_is_none(monkeypatch: pytest.MonkeyPatch, given: str) -> None:
    monkeypatch.setenv(MEMORY, given)
    with pytest.raises(Trouble, match="whole number") as raised:
        run(work.values, 1)
    assert raised.value.where == MEMORY


def test_a_process_that_does_not_start_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/bin/false" if Path("/bin/false").exists() else sys.executable)
    monkeypatch.setattr(confined._Process, "waiting", [])
    with pytest.raises(Trouble, match="did not start"):
        run(work.values, 1)


def test_a_system_without_a_bound_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(confined._Process, "waiting", [])
    monkeypatch.setattr(confined._Process, "_warned", False)
    monkeypatch.setattr(confined._Process, "ask", lambda *_: ("done", False))
    with pytest.warns(confined.NoMemoryBound, match="no bound of memory"):
        confined._Process.take().bury()


@pytest.mark.parametrize("system", ["darwin", "win32", "sunos5"])
def test_no_bound_is_claimed_where_none_is_known_to_hold(monkeypatch: pytest.MonkeyPatch, system: str) -> None:
    monkeypatch.setattr(sys, "platform", system)
    assert confined._bound_memory(100) is False


def test_a_bound_that_the_system_refuses_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    resource = pytest.importorskip("resource")

    def refuse(*_: object) -> None:
        raise ValueError("not allowed to raise maximum limit")

    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(resource, "setrlimit", refuse)
    assert confined._bound_memory(100) is False


def test_a_person_is_told_once_and_the_command_ends_as_ever(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The process says that it could set no bound, as it does on such a system."""
    real = confined._Process.ask

    def ask(process: confined._Process, question: tuple[object, ...], seconds: float) -> tuple[str, object]:
        return ("done", False) if question == ("hello",) else real(process, question, seconds)

    book = schemas.root().parent / "fixtures" / "exports" / "marlow-workbook" / "Results.xlsx"
    for name in ("one.xlsx", "two.xlsx"):
        shutil.copy(book, tmp_path / name)
    codes, said = [], []
    for faked in (False, True):
        monkeypatch.setattr(confined._Process, "waiting", [])
        monkeypatch.setattr(confined._Process, "_warned", False)
        if faked:
            monkeypatch.setattr(confined._Process, "ask", ask)
        monkeypatch.setattr(sys, "argv", ["muniment", "survey", str(tmp_path)])
        with pytest.raises(SystemExit) as ended:
            main()
        codes.append(ended.value.code)
        said.append(" ".join(capsys.readouterr().err.split()))
        for process in confined._Process.waiting:
            process.bury()
    assert codes[0] == codes[1]
    assert "to know" not in said[0]
    assert said[1].count("to know: this system sets no bound of memory for a process, and MUNIMENT_READ_MEMORY") == 1
