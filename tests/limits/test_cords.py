"""Limits less the cords of a channel: what a permanent link has to meet so that it makes one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive import limits, schemas
from archive.limits.cords import WITH_CORDS, cords_named, for_permanent_link

NAMED = [i for i in limits.ids() if limits.get(i).cords]
IEEE = "ieee-802.3/10gbase-t"


def _less(limit_id: str, metres: float | None = None) -> limits.Limit:
    found = for_permanent_link(limits.get(limit_id), metres)
    assert found is not None
    return found


def test_insertion_loss_is_less_by_1_2_times_the_cable_for_every_metre() -> None:
    """At 500 MHz 45.26 dB/100 m: 10 m of cord take 5.43 dB (about 5 dB in section 5 of the reference)."""
    f = 500.0
    cable = 1.82 * math.sqrt(f) + 0.0091 * f + 0.25 / math.sqrt(f)
    segment = limits.get(IEEE).lines["insertion_loss"].at(f).item()
    assert segment - _less(IEEE).lines["insertion_loss"].at(f).item() == pytest.approx(0.12 * cable)
    assert segment - _less(IEEE, 4).lines["insertion_loss"].at(f).item() == pytest.approx(0.048 * cable)
    assert _less(IEEE, 0).lines["insertion_loss"].at(f).item() == segment


def test_the_floor_of_insertion_loss_is_less_too() -> None:
    line = _less(IEEE).lines["insertion_loss"]
    cable = 1.82 + 0.0091 + 0.25
    assert line.at(1).item() == pytest.approx(4.0 - 0.12 * cable)


def test_crosstalk_has_to_leave_room_for_a_connection_in_phase() -> None:
    """A link that meets the result makes a channel that meets the segment, connection at its own limit included."""
    f = np.geomspace(10, 300, 40)
    connection = 94 - 20 * np.log10(f)
    needed = _less(IEEE).lines["next"].at(f)
    joined = -20 * np.log10(10 ** (needed / -20) + 10 ** (connection / -20))
    assert joined == pytest.approx(limits.get(IEEE).lines["next"].at(f))


def test_return_loss_has_to_be_2_db_better_as_the_link_of_the_standard_is() -> None:
    f = np.geomspace(3.001, 398, 30)
    assert _less(IEEE).lines["return_loss"].at(f) == pytest.approx(limits.get(IEEE).lines["return_loss"].at(f) + 2)
    link = limits.get("tia-568-c.2/cat6a/permanent-link").lines["return_loss"]
    f = np.geomspace(1, 500, 60)
    less = _less("tia-568-c.2/cat6a/channel").lines["return_loss"].at(f)
    assert np.abs(less - link.at(f)).max() <= 0.01


@pytest.mark.parametrize(
    ("link", "channels"),
    [
        ("tia-568.2-d/cat6a/permanent-link", ["tia-568.2-d/cat6a/channel", IEEE]),
        ("tia-568.2-d/cat6/permanent-link", ["tia-568.2-d/cat6/channel"]),
        ("tia-568.2-d/cat5e/permanent-link", ["tia-568.2-d/cat5e/channel", "ieee-802.3/1000base-t"]),
        ("iso-11801-1/class-ea/permanent-link-2", ["iso-11801-1/class-ea/channel"]),
        ("iso-11801-1/class-d/permanent-link-3", ["iso-11801-1/class-d/channel", "ieee-802.3/2.5gbase-t"]),
    ],
)
def test_a_link_at_its_own_limit_makes_a_channel_with_the_standard_s_cords(link: str, channels: list[str]) -> None:
    """What the standards promise, by their own formulas; to 0.25 dB, the insertion loss deviation included.

    The floor of insertion loss, 4 dB for link and channel alike, is left out: no cable reaches it at these frequencies.
    """
    compared = 0
    for channel in channels:
        for name, line in _less(channel).lines.items():
            other = limits.get(link).line(name)
            if other is None or not line.decides:
                continue
            low, high = max(line.range_mhz[0], other.range_mhz[0]), min(line.range_mhz[1], other.range_mhz[1])
            f = np.geomspace(low, high, 200)
            short = line.at(f) - other.at(f) if line.sense == "min" else other.unbounded(f) - line.at(f)
            assert short.max() <= 0.25, (channel, name, f[short.argmax()], short.max())
            compared += 1
    assert compared >= 4 * len(channels)


def test_numbers_are_less_too() -> None:
    """A permanent link of 90 m has 498 ns where the channel has 555; a pairset has half of what a pair has more."""
    less = _less("tia-568.2-d/cat6a/channel")
    assert less.scalars["propagation_delay"].value == pytest.approx(555 - 54.5, abs=0.1)
    assert less.scalars["delay_skew"].value == 44 and less.scalars["loop_resistance"].value == 21
    assert _less("ieee-802.3/poe-type-3").scalars["loop_resistance"].value == 12.5 - 2
    assert _less("ieee-802.3/poe-type-3", 5).scalars["loop_resistance"].value == 12.5 - 1


def test_what_was_done_is_said() -> None:
    assert _less(IEEE).judged_as == (
        "a permanent link with 10 m of category 6A cords added by formula (the standard's allowance)"
    )
    assert "with 4.5 m of" in _less(IEEE, 4.5).judged_as and "as given" in _less(IEEE, 4.5).judged_as
    line = _less(IEEE).lines["insertion_loss"]
    assert "less cords" in line.segments[0].formula and "S51" in line.sources and line.confidence == "B"


def test_what_cords_add_to_alien_crosstalk_is_not_known_and_said_so() -> None:
    less = _less("tia-568.2-d/cat6a/channel")
    assert {"ps_anext", "ps_aacr_f"} <= {*less.unjudged} and "ps_anext" not in less.lines
    assert "PS ANEXT" in less.judged_as
    assert {"ps_anext", "ps_aacr_f"} <= _less(IEEE).lines.keys()  # only warned of there


def test_acr_n_of_iso_follows_from_what_is_judged() -> None:
    less = _less("iso-11801-1/class-ea/channel")
    assert "acr_n" not in less.lines and "acr_n" not in less.unjudged
    assert {"next", "ps_next", "insertion_loss"} <= less.lines.keys()


def test_a_limit_without_declared_cords_says_nothing_of_a_permanent_link() -> None:
    assert for_permanent_link(limits.get("ieee-802.3/1000base-t1-a")) is None
    assert for_permanent_link(limits.get("iso-11801-1/class-f/channel")) is None


def test_only_what_has_cords_names_them_and_every_set_is_used() -> None:
    assert len(NAMED) >= 15
    assert {limits.get(i).configuration for i in NAMED} <= {*WITH_CORDS}
    assert {limits.get(i).cords for i in NAMED} == schemas.load("limits/cords.toml").keys()
    known = schemas.load("sources.toml")
    for name in schemas.load("limits/cords.toml"):
        effects = cords_named(name).effects
        assert effects and all({*effect.sources} <= known.keys() for effect in effects.values())


@given(st.sampled_from(NAMED), st.floats(0, 30), st.floats(0, 30))
def test_longer_cords_never_leave_more(limit_id: str, a: float, b: float) -> None:
    """And with any cords a link has to be at least as good as the channel."""
    short, long = (_less(limit_id, metres) for metres in sorted((a, b)))
    whole, compared = limits.get(limit_id), 0
    for name, line in long.lines.items():
        f = line.grid(50)
        sign = 1 if line.sense == "max" else -1
        first, second, third = (sign * part.lines[name].at(f) for part in (whole, short, long))
        assert (third <= second + 1e-9).all() and (second <= first + 1e-9).all(), name
        assert np.isfinite(third).all(), name
        compared += 1
    assert compared or not whole.lines
