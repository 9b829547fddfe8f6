"""Where the declared files (schemas/) are: beside the package in a checkout, inside it in a wheel."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

_HERE = Path(__file__).resolve().parent


@cache
def root() -> Path:
    """Folder that holds the declared files.

    Errors: FileNotFoundError where the installation is incomplete.
    """
    for folder in (_HERE / "_schemas", _HERE.parent / "schemas"):
        if (folder / "tables.toml").is_file():
            return folder
    raise FileNotFoundError("the schemas/ folder of muniment is missing: install it again")


@cache
def load(name: str) -> dict[str, Any]:
    """One TOML file of schemas/, by its path inside that folder; read once. Do not change what it returns."""
    with (root() / name).open("rb") as file:
        return tomllib.load(file)


def toml(text: str) -> dict[str, Any]:
    """The table in a TOML text that a person wrote. Errors: tomllib.TOMLDecodeError, also for one nested too deep."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise tomllib.TOMLDecodeError("nested deeper than any declared file") from None
