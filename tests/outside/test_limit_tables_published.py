"""Published tables against the limit library, to the printed digits; each test is named after the printed table.

The values stand in fixtures/published with their sources; what a source misprints is judged in misprints.toml.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from archive import limits, schemas

PUBLISHED = Path(__file__).resolve().parents[2] / "fixtures" / "published"


def _read(name: str) -> dict[str, Any]:
    return tomllib.loads((PUBLISHED / name).read_text(encoding="utf-8"))


TABLES = [t for name in sorted(p.name for p in PUBLISHED.glob("*.toml")) for t in _read(name).get("table", [])]
NUMBERS = _read("others.toml")["number"]
JUDGED = _read("misprints.toml")["judged"]


def _key(entry: dict[str, Any]) -> tuple[str, ...]:
    return tuple(str(entry[k]) for k in ("source", "limit", "parameter", "mhz", "printed"))


_JUDGED = {_key(entry): entry for entry in JUDGED}


def _half(printed: str) -> float:
    """Half a unit in the last printed place."""
    exponent = Decimal(printed).as_tuple().exponent
    assert isinstance(exponent, int)
    return 0.5 * 10.0**exponent + 1e-9


def _cells(table: dict[str, Any]) -> list[tuple[str, str, str]]:
    """(parameter, MHz, printed) of every cell that was printed."""
    return [
        (parameter, row[0], printed)
        for row in table["rows"]
        for parameter, printed in zip(table["columns"][1:], row[1:], strict=True)
        if printed
    ]


@pytest.mark.parametrize("table", TABLES, ids=[f"{t['source']}, {t['name']}" for t in TABLES])
def test_published_table(table: dict[str, Any]) -> None:
    limit = limits.get(table["limit"])
    for parameter, mhz, printed in _cells(table):
        gives = limit.lines[parameter].at(float(mhz)).item()
        entry = _JUDGED.get((table["source"], table["limit"], parameter, mhz, printed))
        if entry:
            assert gives == pytest.approx(entry["limit_gives"], abs=0.005 + 1e-9), (parameter, mhz)
        else:
            assert abs(gives - float(printed)) <= _half(printed), (parameter, mhz, printed, gives)


@pytest.mark.parametrize("number", NUMBERS, ids=[f"{n['source']}, {n['name']}" for n in NUMBERS])
def test_published_number(number: dict[str, Any]) -> None:
    assert limits.get(number["limit"]).scalars[number["parameter"]].value == float(number["value"])


@pytest.mark.parametrize("entry", JUDGED, ids=[" ".join(_key(entry)) for entry in JUDGED])
def test_judged_value_was_printed_and_disagrees(entry: dict[str, Any]) -> None:
    cells = [(t["source"], t["limit"], *cell) for t in TABLES for cell in _cells(t)]
    assert _key(entry) in cells
    off = abs(float(entry["printed"]) - entry["limit_gives"])
    # "36" and "51" agree as printed, without decimals; they disagree only if read as 36.0 and 51.0
    assert off > min(_half(entry["printed"]), 0.05) - 0.005, "this needs no judgement"
    allowed = {"rounding": 0.105, "draft": 2.0, "raw": 9.0, "misprint": 1.2}
    assert off <= allowed[entry["kind"]], "worse than its kind explains"


def test_every_disagreement_of_the_reference_is_judged() -> None:
    assert len(JUDGED) == 36  # as many as the reference behind the library lists


def test_every_source_of_a_published_value_is_known() -> None:
    known = schemas.load("sources.toml")
    named = {entry["source"] for entry in (*TABLES, *NUMBERS, *JUDGED)}
    assert named <= known.keys()


def test_enough_was_published() -> None:
    """237 cells are marked as read in the reference's tables; none may get lost."""
    assert sum(len(_cells(table)) for table in TABLES) >= 237
