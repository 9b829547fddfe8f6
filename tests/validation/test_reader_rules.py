"""Rules that readers raise, as they come through check: nothing is lost on the way, and none is unknown."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from archive import formats
from archive.validation import catalogue
from archive.validation.check import run

FILES = Path(__file__).resolve().parents[2] / "fixtures" / "touchstone"
TODAY = dt.date(2026, 11, 25)


def _raised(name: str) -> set[str]:
    found: set[str] = set()
    for batch in formats.read(FILES / name):
        outcome = run(batch, today=TODAY)
        assert not outcome.faults
        found |= {f["rule"] for f in outcome.findings.to_pylist() if f["status"] == "raised"}
    return found


@pytest.mark.parametrize(
    ("rule", "fires", "silent"), [("noise-data-left-out", "balun-with-noise.s2p", "four-pairs.s16p")]
)
def test_rules_of_network_analyser_files(rule: str, fires: str, silent: str) -> None:
    assert catalogue.rule(rule).by == "reader"
    assert rule in _raised(fires)
    assert rule not in _raised(silent)
