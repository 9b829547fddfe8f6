"""The limit library read a second time: another program's tables, an evaluator written apart, and scikit-rf.

None of these is evidence that a limit is right; they show that what is declared is what is computed.
"""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from archive import limits
from archive.limits import Line

HERE = Path(__file__).resolve().parents[1] / "limits"
TABLES = tomllib.loads((HERE / "second_computation.toml").read_text(encoding="utf-8"))["table"]
LETTERS = tomllib.loads((HERE / "reference_letters.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("table", TABLES, ids=[t["limit"] for t in TABLES])
def test_table_of_the_other_program(table: dict[str, Any]) -> None:
    """1726 values of 29 limits, printed to 0.1 dB by a program written by somebody else."""
    limit = limits.get(table["limit"])
    for row in table["rows"]:
        for parameter, printed in zip(table["columns"][1:], row[1:], strict=True):
            line = limit.line(parameter)
            assert line is not None
            gives = line.unbounded(row[0]) if parameter in table.get("unbounded", ()) else line.at(row[0])
            assert abs(gives.item() - printed) <= 0.05 + 1e-9, (parameter, row[0])


@pytest.mark.parametrize("row", LETTERS["rows"], ids=[f"{r[0]} {r[1]} {r[2]:g}-{r[3]:g}" for r in LETTERS["rows"]])
def test_every_line_of_the_reference_is_here_with_its_letter(row: list[Any]) -> None:
    limit_id, parameter, low, high, letter = row
    line = limits.get(limit_id).lines[parameter]
    f = np.geomspace(low, high, 40)[1:-1] if high > low else np.array([low])
    assert max(line.confidence_at(f).tolist()) == letter
    assert line.range_mhz[0] <= low and high <= line.range_mhz[1]
    assert np.all(np.isfinite(line.at(f)))


@pytest.mark.parametrize("row", LETTERS["values"], ids=[f"{r[0]} {r[1]} {r[2]:g}" for r in LETTERS["values"]])
def test_every_value_stated_in_words_is_here_with_its_letter(row: list[Any]) -> None:
    limit_id, parameter, mhz, value, letter = row
    line = limits.get(limit_id).lines[parameter]
    assert line.at(mhz).item() == pytest.approx(value, abs=1e-4)
    assert line.confidence_at(mhz).item() == letter


@pytest.mark.parametrize("row", LETTERS["numbers"], ids=[f"{r[0]} {r[1]}" for r in LETTERS["numbers"]])
def test_every_number_of_the_reference_is_here_with_its_letter(row: list[Any]) -> None:
    limit_id, parameter, value, letter = row
    scalar = limits.get(limit_id).scalars[parameter]
    assert (scalar.value, scalar.confidence) == (value, letter)


def _plainly(text: str, f: float, limit: limits.Limit) -> float:
    """Value of a formula by Python's own arithmetic: only the printed text of the formula is used."""
    formula, *spelled = text.split("; ")
    names: dict[str, Any] = {"f": f, "sqrt": math.sqrt, "lg": math.log10}
    names["vsum"] = lambda *parts: -20 * math.log10(math.fsum(n * 10 ** (-a / 20) for n, a in parts))
    for parameter, line in limit.lines.items():
        if re.search(rf"\b{parameter}\b", formula):
            names[parameter] = _line_plainly(line, f, limit)
    for row in reversed(spelled):
        name, _, what = row.partition(" = ")
        steps = re.findall(r"([\d.]+) to ([\d.]+) MHz", what)
        names[name] = next(float(v) for v, top in steps if f <= float(top)) if steps else eval(_python(what), names)
    return float(eval(_python(formula), names))


def _python(text: str) -> str:
    text = re.sub(r"([\d.]+|\bn) x (\w+)", r"(\1, \2)", text.replace("^", "**"))
    return re.sub(r"vsum\((\w+),", r"vsum((1, \1),", text)


def _line_plainly(line: Line, f: float, limit: limits.Limit) -> float:
    at = [p for p in line.segments if p.low <= f <= p.high]
    piece = at[0] if at[0].closed else at[-1]
    value = _plainly(piece.expanded, f, limit)
    if line.cap:
        value = min(value, line.cap.value)
    return max(value, line.floor.value) if line.floor else value


ESTABLISHED = [i for i in limits.ids() if limits.get(i).lines]


@pytest.mark.parametrize("limit_id", ESTABLISHED)
def test_the_printed_formula_gives_the_same_as_the_library(limit_id: str) -> None:
    limit = limits.get(limit_id)
    for line in limit.lines.values():
        if all(p.low == p.high for p in line.segments):
            continue
        low, high = line.range_mhz
        edges = [e for p in line.segments for e in (p.low, p.high)]
        for f in [*np.geomspace(low, high, 23).clip(low, high), *edges]:
            assert line.at(f).item() == pytest.approx(_line_plainly(line, float(f), limit), rel=1e-12, abs=1e-11)


def test_voltage_sum_is_the_sum_of_amplitudes_scikit_rf() -> None:
    """Two couplings in phase add as amplitudes; scikit-rf turns decibels into amplitudes and back."""
    skrf = pytest.importorskip("skrf.mathFunctions")
    line = limits.get("tia-568-b/cat6/channel").lines["next"]
    for f in (10.0, 100.0, 250.0):
        cable, connector = 44.3 - 15 * math.log10(f / 100), 54.0 - 20 * math.log10(f / 100)
        amplitude = skrf.db_2_mag(-cable) + 2 * skrf.db_2_mag(-connector)
        assert line.at(f).item() == pytest.approx(-skrf.mag_2_db(amplitude), rel=1e-12)
