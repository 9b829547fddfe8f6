"""Accuracy of instruments from a file of the user's. No accuracy is built in: none is established."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from archive import vocabulary
from archive.errors import Trouble
from archive.grading.arithmetic import Ints, Reals


@dataclass(frozen=True)
class Accuracy:
    """Accuracy by parameter: frequencies in MHz (empty: one number) and values in the parameter's unit.

    basis: what the verdict says of it. Between frequencies it runs in a straight line; beyond them the last holds.
    """

    by_parameter: dict[str, tuple[Reals, Reals]]
    basis: str

    def at(self, parameter: Ints, names: list[str], frequency: Reals) -> Reals:
        """Accuracy of points. parameter: places in names; NaN where the file says nothing."""
        out = np.full(frequency.shape, np.nan)
        for place, name in enumerate(names):
            known = self.by_parameter.get(name)
            if known is not None:
                mine = parameter == place
                f = np.where(np.isnan(frequency[mine]), 0.0, frequency[mine])
                out[mine] = np.interp(f, *known) if len(known[0]) else known[1][0]
        return out


def load(path: Path | str) -> Accuracy:
    """Reads an accuracy file.

        source = "certificate of unit 40-00317, page 2"
        [accuracy]
        propagation_delay = 5
        next = { at_mhz = [1, 100, 500], is = [1.2, 1.8, 3.5] }

    Errors: Trouble for a file that cannot be read, an unknown parameter, or lists that do not match.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            text = tomllib.load(file)
    except tomllib.TOMLDecodeError as error:
        raise Trouble("this is not TOML", code="accuracy.not-toml", where=str(path), found=str(error)) from None
    except UnicodeDecodeError:
        raise Trouble("this is not text in UTF-8", code="accuracy.not-utf8", where=str(path)) from None
    table, source = text.get("accuracy"), text.get("source")
    if not isinstance(table, dict) or not isinstance(source, str) or not source.strip():
        raise Trouble(
            "an accuracy file needs both",
            code="accuracy.incomplete",
            where=str(path),
            expected='source = "..." and a table [accuracy]',
        )
    found = {name: _one(path, name, value) for name, value in table.items()}
    return Accuracy(found, f"accuracy by {path.name}: {source.strip()}")


def _one(path: Path, name: str, value: object) -> tuple[Reals, Reals]:
    if name not in vocabulary.parameters():
        raise Trouble(
            "no such parameter",
            code="accuracy.unknown-parameter",
            where=f"{path}, accuracy",
            found=name,
            expected="a name such as next",
        )
    if _is_number(value):
        return np.zeros(0), np.array([value], np.float64)
    if isinstance(value, dict) and isinstance(value.get("at_mhz"), list) and isinstance(value.get("is"), list):
        f, a = value["at_mhz"], value["is"]
        if len(f) == len(a) > 0 and all(map(_is_number, f + a)) and all(x < y for x, y in pairwise(f)):
            return np.array(f, np.float64), np.array(a, np.float64)
    raise Trouble(
        "an accuracy is a number, or frequencies with as many numbers",
        code="accuracy.not-a-number",
        where=f"{path}, accuracy, {name}",
        found=str(value),
        expected="3.5 or { at_mhz = [1, 500], is = [1.2, 3.5] }, frequencies rising",
    )


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value < float("inf")
