"""Files of a user's own about limits: limits of their own, and confirmations."""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from archive.errors import Trouble
from archive.limits.limit import Limit


def read(path: Path) -> dict[str, Any]:
    """A TOML file. Errors: Trouble where it cannot be read."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise Trouble("there is no such file", where=str(path)) from None
    except IsADirectoryError:
        raise Trouble("this is a folder, not a file", where=str(path)) from None
    except UnicodeDecodeError as error:
        raise Trouble("this file is not UTF-8 text", where=str(path), found=f"byte {error.start}") from None
    except tomllib.TOMLDecodeError as error:
        raise Trouble("this is not TOML", where=str(path), found=str(error)) from None


def text_of(table: Mapping[str, Any], key: str, where: str, example: str) -> str:
    """A text that must be there. Errors: Trouble."""
    value: Any = table.get(key)
    if isinstance(value, datetime.date):
        value = value.isoformat()
    if not isinstance(value, str) or not value.strip():
        found = "nothing" if value is None else f"'{value}'"
        raise Trouble(f"{key} is missing or is not a text", where=where, found=found, expected=example)
    return value.strip()


def filled(part: Any, source: str) -> Any:
    """Lines or scalars with a letter and a source wherever the file gives none: who states a limit stands for it."""
    if isinstance(part, Mapping):
        result = {key: filled(value, source) for key, value in part.items()}
        states = {"formula", "points", "breakpoints", "value", "il_below", "fext_above", "ps_fext_above"}
        if states & result.keys():
            result = {"confidence": "A", "source": [source], **result}
        return result
    if isinstance(part, list) and part and all(isinstance(row, Mapping) for row in part):
        return [filled(row, source) for row in part]
    return part


def working(limit: Limit, where: str) -> Limit:
    """The limit, if every piece of its lines gives numbers all along. Errors: Trouble where one does not."""
    for line in limit.lines.values():
        grid = line.grid()
        for piece in line.pieces:
            inside = grid[piece.covers(grid)]
            with np.errstate(all="ignore"):
                bad = inside[~np.isfinite(piece.value(inside))]
            if len(bad):
                found = f"at {bad[0]:g} MHz, from '{piece.formula}'"
                raise Trouble("this line gives no number", where=f"{where}, {line.parameter}", found=found)
    return limit
