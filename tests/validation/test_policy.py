"""Policies: what they may say, and one clear line for what they may not."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.errors import Trouble
from archive.validation import catalogue
from archive.validation.catalogue.policy import Policy, load, of


def _file(folder: Path, text: str) -> Path:
    path = folder / "policy.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_policy_changes_what_it_names_and_nothing_else(tmp_path: Path) -> None:
    text = '[severity]\nzone-missing = "error"\nadapter-missing = "off"\n'
    text += "[tolerances.velocity-implausible]\npercent = [50.0, 90]\n"
    policy = load(_file(tmp_path, text))
    assert policy.severity("zone-missing") == "error"
    assert policy.severity("adapter-missing") == "off"
    assert policy.tolerance("velocity-implausible") == {"percent": [50.0, 90]}
    for name, rule in catalogue.rules().items():
        if name not in ("zone-missing", "adapter-missing"):
            assert policy.severity(name) == rule.severity
        if name != "velocity-implausible":
            assert policy.tolerance(name) == rule.tolerances


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[severity\n", "not TOML"),
        ('[severity]\nzone-mising = "error"\n', "zone-missing"),
        ('[severity]\nzone-missing = "grave"\n', "error, information, warning, off"),
        ("[tolerances.velocity-implausible]\nratio = 3\n", "percent"),
        ('[tolerances.step-too-coarse]\nslack_percent = "ten"\n', "a value like 10.0"),
        ("[tolerances.tested-in-the-future]\ndays = true\n", "a value like 1"),
        ("[colours]\nred = 1\n", "a key that nothing reads; found colours"),
        ('severity = "error"\n', "severity: a value of another kind; found text; expected a table"),
        ("[tolerances]\nclock-reset = 3\n", "found a whole number; expected a table"),
        ('[tolerances.clock-reset]\nbefore = "1993-02-30"\n', "a value like '1993-01-01'"),
        ("[tolerances.tested-at-night]\nhours = [23.0]\n", "a value like [23.0, 5.0]"),
        ('[tolerances.tested-at-night]\nhours = ["a", "b"]\n', "a value like [23.0, 5.0]"),
        ("[tolerances.step-too-coarse]\nsteps = []\n", "a value like [["),
        ('[tolerances.identifier-syntax]\npattern = "["\n', "no regular expression"),
    ],
)
def test_one_clear_line_for_what_is_wrong(tmp_path: Path, text: str, says: str) -> None:
    path = _file(tmp_path, text)
    with pytest.raises(Trouble) as told:
        load(path)
    line = str(told.value)
    assert says in line
    assert str(path) in line
    assert "\n" not in line


def test_the_catalogue_is_its_own_policy() -> None:
    assert all(Policy().severity(n) == r.severity for n, r in catalogue.rules().items())
    assert of({}) == Policy()


def test_every_tolerance_of_the_catalogue_is_a_policy() -> None:
    """What `muniment rules` shows can be written into a policy as it stands."""
    listed = {r.name: r.tolerances for r in catalogue.rules().values() if r.tolerances}
    assert of({"tolerances": listed}).tolerances == listed


def test_an_unknown_rule_has_no_severity() -> None:
    with pytest.raises(catalogue.UnknownRule):
        Policy().severity("a-rule-that-nobody-wrote")
