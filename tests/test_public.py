"""The public package is light, complete, typed and documented; `python -m muniment` is the command."""

from __future__ import annotations

import subprocess
import sys

import muniment
import pytest


def _run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, *words], capture_output=True, text=True, check=False, timeout=120)


def test_import_loads_nothing_heavy() -> None:
    code = (
        "import sys, muniment; print([m for m in ('numpy', 'pyarrow', 'click', 'lxml', 'duckdb') if m in sys.modules])"
    )
    assert _run("-c", code).stdout.strip() == "[]"


@pytest.mark.parametrize("name", muniment.__all__)
def test_each_public_name_is_there_and_documented(name: str) -> None:
    assert getattr(muniment, name).__doc__


def test_functions_say_what_they_raise() -> None:
    functions = [n for n in muniment.__all__ if n.islower()]
    assert len(functions) >= 6
    for name in functions:
        assert "Errors:" in getattr(muniment, name).__doc__, name


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError):
        muniment.nothing_of_that_name  # noqa: B018


def test_the_module_is_the_command() -> None:
    ran = _run("-m", "muniment", "--version")
    assert ran.returncode == 0
    assert ran.stdout.startswith("muniment")


def test_types_travel() -> None:
    from importlib.resources import files

    assert files("muniment").joinpath("py.typed").is_file()
