"""Cables that are not what their words say: planted by the simulator, found by the rules."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from archive.demo import cables
from archive.demo.simulator import planted, simulate
from archive.errors import Trouble
from archive.validation.check import check

RULES = {
    "copper-clad": "copper-clad-suspected",
    "thin": "gauge-not-as-stated",
    "stranded": "stranded-not-solid",
}
N = 160


def raised(**options: Any) -> dict[str, set[int]]:
    """Numbers of the links that each rule about cables speaks of."""
    found: dict[str, set[int]] = {name: set() for name in RULES.values()}
    at = 0
    for batch in simulate(N, 11, **options):
        row = {record: at + i for i, record in enumerate(batch["records"]["record_id"].to_pylist())}
        for finding in check(batch).to_pylist():
            if finding["rule"] in found and finding["severity"] == "warning":
                found[finding["rule"]].add(row[finding["record_id"]])
        at += len(row)
    return found


@pytest.mark.parametrize("kind", cables.ODD)
@pytest.mark.parametrize("category", ["cat6a", "cat5e"])
def test_what_is_planted_is_found_and_nothing_else(kind: str, category: str) -> None:
    options: dict[str, Any] = {"category": category, "cable_is": kind, "cable_is_share": 0.5}
    truth = planted(N, 11, **options)["cable_is"]
    odd = set(np.flatnonzero(truth == kind).tolist())
    assert 50 < len(odd) < 110
    found = raised(**options)
    assert len(found[RULES[kind]] & odd) >= 0.95 * len(odd)
    assert set().union(*found.values()) - odd == set()
    assert set().union(*(links for rule, links in found.items() if rule != RULES[kind])) == set()


@pytest.mark.parametrize(("category", "mhz"), [("cat6a", "10, 100 and 250 MHz"), ("cat5e", "10 and 100 MHz")])
@pytest.mark.parametrize("kind", cables.ODD)
def test_findings_say_at_which_frequencies_the_loss_was_looked_at(kind: str, category: str, mhz: str) -> None:
    (batch,) = simulate(6, 4, category=category, cable_is=kind, cable_is_share=1.0)
    messages = [f["where"] for f in check(batch).to_pylist() if f["rule"] == RULES[kind]]
    assert len(messages) == 6
    assert all(mhz in m for m in messages), messages
    if kind == "copper-clad":
        assert all(m.startswith("very likely") and "times that at 2 MHz" in m for m in messages), messages


def test_words_do_not_tell_what_is_planted() -> None:
    (plain,), (odd,) = (list(simulate(8, 3, **o)) for o in ({}, {"cable_is": "thin", "cable_is_share": 1.0}))
    for column in ("cable_found", "cable_type", "link_label"):
        assert plain["records"][column].to_pylist() == odd["records"][column].to_pylist()


def test_copper_clad_loses_more_at_low_frequencies_alone() -> None:
    low, high = cables.odd_loss("copper-clad", np.array([1.0, 250.0]))
    assert low > 1.1
    assert high == pytest.approx(1.0, abs=0.01)


def test_there_is_no_other_kind() -> None:
    with pytest.raises(Trouble) as caught:
        next(iter(simulate(4, 1, cable_is="silver")))
    assert caught.value.code == "simulator.unknown-cable"
