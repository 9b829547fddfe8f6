"""How far a command is: told on standard error, at a terminal or where --progress asks for it."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from archive.cli.bar import Bar
from tests.cli.conftest import World
from tests.cli.person import ROOT, in_shell

AT_ONCE = "import archive.cli.bar as bar\nbar.AFTER = 0.0\nbar._EVERY = {True: 0.0, False: 0.0}"


@dataclass
class File:
    name: str


def at_a_terminal(*words: object) -> tuple[str, str]:
    """What a command prints, and what it draws on standard error, which is a terminal here."""
    drawn, end = pty.openpty()
    program = f"{AT_ONCE}\nfrom archive.cli import main\nmain()"
    command = [sys.executable, "-c", program, *map(str, words)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "80"}
    with subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=end) as process:
        os.close(end)
        assert process.stdout is not None
        seen = b""
        while True:
            try:
                more = os.read(drawn, 65536)
            except OSError:  # the other side is closed
                break
            if not more:
                break
            seen += more
        out = process.stdout.read().decode()
    os.close(drawn)
    return out, seen.decode()


def test_a_survey_at_a_terminal_tells_stage_count_file_rate_and_time_left(built: World) -> None:
    out, drawn = at_a_terminal("survey", built.exports)
    lines = [re.sub(r"\x1b\[K", "", x) for x in drawn.split("\r") if x.strip()]
    assert any(x.startswith("recognising: ") for x in lines)
    looked = [x for x in lines if x.startswith("looking into: ")]
    assert re.match(r"looking into: \d of 3 files, [\d,]+ a second, about \d+:\d\d left, ", looked[0]), looked
    assert any("week1.xml" in x for x in looked)
    assert all(len(x) <= 80 for x in lines)
    assert "looking into" not in out and "3 files" in out


def test_nothing_is_drawn_elsewhere_unless_it_is_asked_for(built: World) -> None:
    silent = in_shell("survey", built.exports, before=AT_ONCE)
    assert "looking into" not in silent.err + silent.out
    asked = in_shell("survey", built.exports, "--progress", before=AT_ONCE)
    assert "looking into: 3 of 3 files" in asked.err and "\x1b" not in asked.err
    assert asked.out == silent.out and asked.code == silent.code


@pytest.mark.parametrize("command", ["check", "grade"])
def test_records_and_bytes_are_counted_while_batches_are_read(command: str, built: World) -> None:
    said = in_shell(command, built.exports, "--progress", before=AT_ONCE)
    assert re.search(r"\d+ files?, \d+ records, [\d,]+ a second, about \d+:\d\d left, week\d.xml", said.err), said.err


def test_the_time_left_follows_from_what_is_done(tmp_path: Path) -> None:
    """Half of the bytes in 30 seconds leave 30."""
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text("x" * 100)
    bar = Bar("reading", None, [tmp_path], 80)
    bar.step(File("a.csv"))
    assert bar.line(30.0) == "reading: 1 file, 0 a second, about 0:30 left, a.csv"
    bar.step(File("z.zip/inner.csv"))
    assert bar.line(60.0) == "reading: 2 files, 0 a second, about 1:00 left, z.zip/inner.csv"


def test_of_what_is_not_known_nothing_is_guessed() -> None:
    bar = Bar("counting", None, [], 80)
    bar.step(object())
    assert bar.line(4.0) == "counting: 1 step, 0 a second"
