"""The notation of formulas: what it means, and that nothing a person types ends in anything but one line."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.errors import Trouble
from archive.limits.formula import parse

F = np.array([1.0, 31.25, 100.0, 500.0])


def _value(text: str) -> np.ndarray:
    return parse(text).function({})(F)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("19", lambda f: 19.0),
        ("24 - 5*lg(f)", lambda f: 24 - 5 * math.log10(f)),
        ("10 - 4 - 3", lambda f: 3.0),
        ("8/4/2", lambda f: 1.0),
        ("2^3^2", lambda f: 512.0),
        ("-2^2", lambda f: -4.0),
        ("2 - -3", lambda f: 5.0),
        ("0.0003*f^1.5", lambda f: 0.0003 * f**1.5),
        ("1.82*sqrt(f) + 0.25/sqrt(f)", lambda f: 1.82 * math.sqrt(f) + 0.25 / math.sqrt(f)),
        ("vsum(40, 40)", lambda f: 40 - 20 * math.log10(2)),
        ("vsum(40, 3 x 40)", lambda f: 40 - 20 * math.log10(4)),
        ("psum(40, 40)", lambda f: 40 - 10 * math.log10(2)),
        ("psum(3 x f)", lambda f: f - 10 * math.log10(3)),
    ],
)
def test_meaning(text: str, plain: object) -> None:
    assert _value(text) == pytest.approx([plain(f) for f in F], rel=1e-14)  # type: ignore[operator]


def test_names_are_told_and_filled_in() -> None:
    formula = parse("0.9*cable + n*connector")
    assert formula.names == {"cable", "n", "connector"}
    function = formula.function({"cable": lambda f: f, "n": lambda f: 0 * f + 3, "connector": np.sqrt})
    assert function(F) == pytest.approx(0.9 * F + 3 * np.sqrt(F))


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("", "the end"),
        ("24 - ", "the end"),
        ("24 - 5*lg f", "'f' at character 11"),
        ("(1 + 2", "the end"),
        ("1 + 2)", "')' at character 6"),
        ("1 % 2", "'%' at character 3"),
        ("vsum(f x 3)", "'x' at character 8"),
        ("vsum 3", "'3' at character 6"),
        ("2 x f", "'x' at character 3"),
        ("1,5*f", "',' at character 2"),
        ("import os", "'os' at character 8"),
        ("__import__('os')", "'(' at character 11"),
    ],
)
def test_fault_names_its_place(text: str, place: str) -> None:
    with pytest.raises(Trouble) as caught:
        parse(text, "own.toml, next")
    assert place in str(caught.value) and str(caught.value).startswith("own.toml, next: ")


@given(st.text(alphabet="0123456789.f+-*/^()x, nlgsqrtvum", max_size=30))
def test_any_text_is_read_or_refused_in_one_line(text: str) -> None:
    try:
        formula = parse(text)
    except Trouble as trouble:
        assert "\n" not in str(trouble)
        return
    with np.errstate(all="ignore"):
        assert formula.function(dict.fromkeys(formula.names, lambda f: f))(F).shape == F.shape


losses = st.floats(min_value=0, max_value=120)


@given(st.lists(losses, min_size=1, max_size=8))
def test_a_sum_is_never_better_than_its_worst_contributor(parts: list[float]) -> None:
    """And a voltage sum never better than a power sum of the same, nor worse than all in phase."""
    text = ", ".join(repr(p) if "e" not in repr(p) else f"{p:.20f}" for p in parts)
    volts, power = _value(f"vsum({text})"), _value(f"psum({text})")
    assert np.all(volts <= power + 1e-9)
    assert np.all(power <= min(parts) + 1e-9)
    assert np.all(volts >= min(parts) - 20 * math.log10(len(parts)) - 1e-9)
