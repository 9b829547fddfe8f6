"""The plotter: thinning keeps extremes, gaps stay gaps, the same input gives the same bytes, texts are escaped."""

import re
from html import unescape
from xml.etree import ElementTree

import numpy as np
import pytest
from answers_making import CONFLICT, FLIPPED
from hypothesis import given
from hypothesis import strategies as st
from test_claim import ON

from archive.answers.claim.compose import compose
from archive.answers.claim.gather import gather
from archive.answers.documents import Figure, html
from archive.answers.plots import LINEAR, LOG, ROOT, Event, Mark, Panel, PlotCurve, PlotLayout, plot, thin
from archive.answers.plots.model import NARROW
from archive.answers.plots.scale import ticks


@given(st.lists(st.floats(-100, 100), min_size=1, max_size=3000), st.integers(1, 200))
def test_thinning_keeps_the_extremes_and_the_ends(values, columns):
    y = np.array(values)
    x = np.arange(len(y), dtype=float)
    kept_x, kept_y = thin(x, y, columns)
    assert kept_y.min() == y.min() and kept_y.max() == y.max()
    assert kept_x[0] == x[0] and kept_x[-1] == x[-1]
    assert len(kept_x) <= max(4 * columns + 4, len(y) if len(y) <= 4 * columns else 0)


def test_a_gap_stays_a_gap_when_a_curve_is_thinned():
    y = np.ones(1000)
    y[400:500] = np.nan
    assert np.isnan(thin(np.arange(1000.0), y, 20)[1]).any()


def panels():
    f = np.linspace(1, 500, 700)
    limit = 65 - 20 * np.log10(f)
    return [
        Panel(
            "local end",
            (PlotCurve("1-2/3-6", f, limit + 5), PlotCurve("<b>", f, limit + 8)),
            PlotCurve("limit", f, limit),
            "min",
            Mark(100, 25.0, "worst\nhere"),
        )
    ]


def test_the_picture_is_well_formed_and_the_same_every_time():
    first = plot(panels(), title="NEXT <&>", x_label="MHz", y_label="dB")
    assert first == plot(panels(), title="NEXT <&>", x_label="MHz", y_label="dB")
    root = ElementTree.fromstring(first)
    assert root.find("{http://www.w3.org/2000/svg}title").text == "NEXT <&>"
    assert "<b>" not in first


def test_every_curve_has_a_dash_or_a_colour_of_its_own():
    f = np.linspace(1, 100, 50)
    many = Panel("x", tuple(PlotCurve(str(k), f, f + k) for k in range(12)), None)
    picture = plot([many], title="t", x_label="x", y_label="y")
    lines = re.findall(r'<path d="M[^"]*l[^"]*" fill="none" ([^/]*)/>', picture)
    drawn = [tuple(re.findall(r'stroke(?:-dasharray)?="([^"]*)"', line)) for line in lines]
    assert len(drawn) == 12 and len(set(drawn)) == 12
    assert len({line[1:] for line in drawn}) == 12  # told apart without colour


def test_a_curve_is_drawn_where_it_is():
    f = np.array([1.0, 10.0, 100.0])
    svg = plot(
        [Panel("p", (PlotCurve("a", f, np.array([0.0, 5.0, 10.0])),))],
        title="t",
        x_label="x",
        y_label="y",
        layout=PlotLayout(width=500, height=300),
    )
    path = re.search(r'<path d="(M[^"]*l[^"]*)" fill="none" stroke="#3c0a54"', svg)
    x0, _y0, dx1, dy1, dx2, dy2 = map(float, re.findall(r"-?[\d.]+", path[1]))
    assert (x0, x0 + dx1 + dx2) == (50, 486)
    # The frequency axis is one of square roots: 1, 10, 100 MHz stand at 1, 3.16, 10.
    assert dx1 / (dx1 + dx2) == pytest.approx((10**0.5 - 1) / 9, abs=0.001)
    assert dy1 == pytest.approx(dy2, abs=0.11) and dy1 < 0


def test_nothing_to_draw_is_said():
    with pytest.raises(ValueError, match="no point"):
        plot([Panel("p", (PlotCurve("a", np.array([1.0]), np.array([np.nan])),))], title="", x_label="", y_label="")


def test_the_worst_curve_is_named_and_its_point_is_told_beyond_the_limit():
    svg = plot(
        panels(),
        title="t",
        x_label="MHz",
        y_label="dB",
        layout=PlotLayout(words=("margin", "fails", "free", "failing")),
    )
    assert ">fails<" in svg and ">margin<" in svg
    ring = re.search(r'<circle cx="(\S+)" cy="(\S+)" r="4.2"', svg)
    told = re.search(r'<text x="(\S+)" y="(\S+)"[^>]*fill="#1a1a1a">worst</text>', svg)
    assert float(told[2]) > float(ring[2])  # a minimum limit: the failing side is below


def test_events_of_a_trace_stand_in_the_picture():
    km = np.linspace(0, 2, 50)
    panel = Panel("trace", (PlotCurve("1310 nm", km, -km),), events=(Event(0.5, "2"),))
    assert ">2</text>" in plot([panel], title="t", x_label="km", y_label="dB", layout=PlotLayout(scale=LINEAR))


@given(st.lists(st.floats(-1e3, 1e3) | st.just(float("nan")), min_size=2, max_size=400))
def test_any_curve_can_be_drawn(values):
    y = np.array(values)
    if np.isnan(y).all():
        return
    f = np.linspace(1, 500, len(y))
    limit = PlotCurve("limit", f, np.full(len(y), 10.0))
    svg = plot([Panel("p", (PlotCurve("a", f, y),), limit)], title="", x_label="", y_label="")
    ElementTree.fromstring(svg)
    assert not re.search(r"\b(nan|inf)\b", svg)


def test_a_flat_curve_has_an_axis():
    f = np.linspace(1, 500, 40)
    noise = 0.5 + np.where(np.arange(40) % 2, 0, 1e-14)
    svg = plot([Panel("p", (PlotCurve("a", f, noise),))], title="", x_label="", y_label="")
    assert "nan" not in svg


@pytest.mark.parametrize("scale", [ROOT, LOG, LINEAR])
@pytest.mark.parametrize("ends", [(1, 500), (0.1, 2000), (0.064, 1.0), (1, 16), (10, 11)])
def test_the_figures_of_an_axis_lie_inside_it_and_rise(scale, ends):
    low, high = ends
    found = ticks(scale, low, high)
    assert found == sorted(set(found)) and len(found) >= 1
    assert all(low * 0.998 <= t <= high * 1.002 for t in found)


def _letters(svg: str) -> list[tuple[float, float, str, str]]:
    """Of each line of letters: size, place across, anchor, words."""
    found = re.findall(r'<text x="([-\d.]+)" y="[-\d.]+" font-size="([\d.]+)" text-anchor="(\w+)"[^>]*>([^<]*)<', svg)
    return [(float(size), float(x), anchor, unescape(words)) for x, size, anchor, words in found]


def test_a_claim_draws_every_curve_again_for_a_phone_with_letters_of_their_size(troubles):
    pictures = [
        b
        for label in (FLIPPED, CONFLICT)
        for s in compose(gather(troubles, label, on=ON)[0]).sections
        for b in s.blocks
        if isinstance(b, Figure)
    ]
    wide = [f for f in pictures if ' width="680"' in f.svg]
    assert len(wide) > 12 and all(f' width="{NARROW}"' in f.narrow for f in wide)
    for f in wide:
        for size, x, anchor, words in _letters(f.narrow):
            # A screen of 400 points leaves 368 to a picture; 0.62 of a size is what a letter takes at most on average.
            assert size >= 9.5
            room = 0.62 * size * len(words)
            left = x - room * {"start": 0, "middle": 0.5, "end": 1}[anchor]
            assert left > -2 and left + room < NARROW + 8, words
    page = html(compose(gather(troubles, FLIPPED, on=ON)[0]))
    shown = page[page.index("<main>") :]
    assert shown.count('class="picture broad"') == shown.count('class="picture slim"') > 5
