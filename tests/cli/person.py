"""A person at the command line: types a command, reads what it prints, looks at the exit code."""

from __future__ import annotations

import contextlib
import io
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Said:
    """Exit code, standard output, standard error."""

    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """The one JSON document on standard output."""
        return json.loads(self.out)

    @property
    def line(self) -> str:
        """The one line that a person gets where nothing was done."""
        assert self.code == 2, self
        assert self.out == "", self
        lines = [x for x in self.err.splitlines() if x and not x.startswith(("Usage:", "Try "))]
        assert len(lines) == 1, lines
        assert len(lines[0]) < 700, lines
        return lines[0]


def typed(*words: object) -> Said:
    """A command in this process, through the entry point of the console script. A fault of the program is raised."""
    from archive.cli import main

    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    code: Any = None
    argv = mock.patch.object(sys, "argv", ["muniment", *map(str, words)])
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), argv:
        try:
            main()
        except SystemExit as ended:
            code = ended.code
    said = Said(code or 0, *(f.buffer.getvalue().decode() for f in (out, err)))  # type: ignore[attr-defined]
    assert said.code in (0, 1, 2), said
    return said


def printed(*words: object, code: int = 0) -> str:
    """What a command prints, its folded lines made one again; it must end with this code."""
    said = typed(*words)
    assert said.code == code, said
    return " ".join(said.out.split())


def document(*words: object, code: int = 0) -> Any:
    """The document of a command with --json, which must end with this code."""
    return json.loads(printed(*words, "--json", code=code))


def in_shell(*words: object, before: str = "", cwd: Path | None = None, **environment: str) -> Said:
    """A command in a process of its own. before: Python to run first, such as a limit of the system."""
    program = f"import sys\n{before}\nfrom archive.cli import main\nmain()"
    done = subprocess.run(
        [sys.executable, "-c", program, *map(str, words)],
        cwd=cwd or ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        capture_output=True,
        check=False,
        timeout=120,
    )
    return Said(done.returncode, done.stdout.decode(), done.stderr.decode())


def everything(*folders: Path) -> dict[str, bytes | None]:
    """Every path below the folders, with the bytes of the files: to see that nothing came, went or changed."""
    return {
        str(p): p.read_bytes() if p.is_file() and not p.is_symlink() else None for f in folders for p in f.rglob("*")
    }
