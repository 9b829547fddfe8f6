"""Writes fixtures/findings anew: a good record and records that break one rule each, as link record XML.

    python -m tests.validation.fixtures

Each is an example of the catalogue, thinned to every thirteenth point so that the files stay small, which breaks
step-too-coarse in all of them. Everything in them is invented.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from archive import formats
from archive.validation import catalogue
from tests.validation import examples

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "findings"
RULES = (
    "identifier-missing",
    "clock-reset",
    "calibration-expired",
    "limit-not-resolved",
    "pairing-missing",
    "sweep-stops-short",
    "sweep-has-holes",
    "sign-wrong",
    "skew-contradicts-delays",
    "loop-resistance-contradicts-length",
    "reported-margin-contradicts-itself",
    "verdict-contradicts-wire-map",
)
THIN: tuple[dict[str, Any], ...] = (
    {"table": "sweeps", "where": {"origin": "derived"}, "remove": True},
    {"table": "sweeps", "curve": "every", "nth": 13},
    {"table": "reported", "set": {"frequency_mhz": ""}},
)


def write() -> None:
    """All files."""
    FOLDER.mkdir(exist_ok=True)
    formats.write([examples.batch({"do": [*THIN]})], FOLDER / "good.xml", "xml", replace=True)
    for rule in RULES:
        example = next(e for e in catalogue.rule(rule).examples if e["outcome"] == "bad")
        made = examples.batch({"do": [*THIN, *example["do"]]})
        formats.write([made], FOLDER / f"{rule}.bad.xml", "xml", replace=True)


if __name__ == "__main__":
    write()
