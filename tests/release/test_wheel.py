"""The wheel beside another distribution that brings a folder `archive`: the command tells of it, in either order.

The other one is a dummy, made here.
"""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from collections.abc import Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOLD = "its folder `archive` was written over, or taken away, by stacks"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Our own wheel, built from this checkout."""
    out = tmp_path_factory.mktemp("wheel")
    _run(sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", out, cwd=ROOT)
    (made,) = out.glob("*.whl")
    return made


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel of another distribution, `stacks`, whose folder is called archive, too."""
    path = tmp_path_factory.mktemp("other") / "stacks-1.0-py3-none-any.whl"
    info = "stacks-1.0.dist-info"
    files = {
        "archive/__init__.py": "SHELVES = 3\n",
        "archive/errors.py": "class Full(Exception): pass\n",
        f"{info}/METADATA": "Metadata-Version: 2.1\nName: stacks\nVersion: 1.0\n",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: tests\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = "".join(f"{name},,\n" for name in [*files, f"{info}/RECORD"])
    with zipfile.ZipFile(path, "w") as made:
        for name, text in {**files, f"{info}/RECORD": record}.items():
            made.writestr(name, text)
    return path


class Place:
    """An environment of its own that sees the libraries of this one."""

    def __init__(self, folder: Path) -> None:
        _run(sys.executable, "-m", "venv", "--without-pip", folder)
        self.python = folder / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
        self._libraries = [p for p in sys.path if p.endswith("site-packages")]

    def pip(self, *words: str | Path) -> None:
        """What pip does here, without dependencies."""
        _run(sys.executable, "-m", "pip", "--quiet", "--python", self.python, "--disable-pip-version-check", *words)

    def muniment(self, *words: str) -> subprocess.CompletedProcess[str]:
        """The command as it was installed; its libraries come from the environment of the tests, after its own."""
        code = (
            "import sys, runpy; sys.path += sys.argv.pop(1).split('|'); "
            "sys.argv[0] = 'muniment'; from muniment.start import main; main()"
        )
        asked = [self.python, "-c", code, "|".join(self._libraries), *words]
        own = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
        return subprocess.run(asked, capture_output=True, text=True, cwd=self.python.parent, env=own, check=False)


def _run(*words: str | Path, cwd: Path | None = None) -> None:
    done = subprocess.run([str(w) for w in words], capture_output=True, text=True, cwd=cwd, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def _installed(folder: Path, wheels: Sequence[Path]) -> Place:
    place = Place(folder)
    for one in wheels:
        place.pip("install", "--no-deps", one)
    return place


def test_the_wheel_alone_runs_and_brings_its_declared_files(wheel: Path, tmp_path: Path) -> None:
    place = _installed(tmp_path / "env", [wheel])
    assert place.muniment("--version").stdout.startswith("muniment, version ")
    listed = place.muniment("limits", "list", "--json")
    assert listed.returncode == 0, listed.stderr
    assert "tia-568.2-d/cat6a/permanent-link" in listed.stdout
    assert (place.python.parent / "muniment").exists() or sys.platform == "win32"


def test_another_one_that_came_later_is_told(wheel: Path, other: Path, tmp_path: Path) -> None:
    said = _installed(tmp_path / "env", [wheel, other]).muniment("--version")
    assert said.returncode == 2
    assert TOLD in said.stderr
    assert len(said.stderr.splitlines()) == 1


def test_another_one_that_came_first_and_was_taken_away_is_told(wheel: Path, other: Path, tmp_path: Path) -> None:
    """Ours writes over its files, which its removal then takes along."""
    place = _installed(tmp_path / "env", [other, wheel])
    assert place.muniment("--version").returncode == 0
    place.pip("uninstall", "--yes", "stacks")
    said = place.muniment("--version")
    assert said.returncode == 2
    assert "its folder `archive` was written over, or taken away, by another distribution" in said.stderr
