"""Distributions per frequency: against numpy over every curve, in memory that does not grow."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive import limits, store
from archive.answers.rates import distributions
from archive.answers.rates.distributions import CurveChoice, distribution
from archive.answers.rates.histogram import Histogram
from archive.answers.rates.source import Choice
from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.tables import axis_row
from tests.rates import years
from tests.rates.test_counting import graded
from tests.rates.test_rates import run, told
from tests.store import store_making as making

LIMIT = "tia-568.2-d/cat6a/permanent-link"


def curves_of(path: Path, parameter: str, column: str = "current") -> dict[str, Any]:
    """Curves (records, pairings, points) of current (or first) swept records by quarter, and the frequencies: read
    from the bags batch by batch, as tables, with nothing of what is tested."""
    opened = store.open(path)
    opened.catch_up()
    found: dict[str, list[Any]] = {}
    wanted = opened.db.execute(
        f"SELECT deposit, position, tested_local FROM records WHERE {column} AND evidence = 'full-sweep' ORDER BY row"
    ).fetchall()
    frequencies = None
    for deposit in dict.fromkeys(r["deposit"] for r in wanted):
        here = {r["position"]: r["tested_local"] for r in wanted if r["deposit"] == deposit}
        for position, batch in opened.tables(deposit).select(list(here)):
            rows = [r for r in batch["sweeps"].to_pylist() if r["parameter"] == parameter]
            frequencies = np.array(batch["axes"].to_pylist()[0]["frequencies_mhz"])
            date = here[position]
            quarter = f"{date[:4]}-Q{(int(date[5:7]) + 2) // 3}"
            found.setdefault(quarter, []).append([r["values"] for r in rows])
    return {"frequencies": frequencies, **{q: np.array(c) for q, c in sorted(found.items())}}


@pytest.mark.parametrize("of", ["curves", "worst"])
@pytest.mark.parametrize("parameter", ["next", "insertion_loss"])
def test_quantiles_are_those_of_numpy(of_years: Path, parameter: str, of: str) -> None:
    raw = curves_of(of_years, parameter)
    f = raw.pop("frequencies")
    found = distribution(store.open(of_years), CurveChoice(parameter, of=of), by=["quarter"])
    assert [s.name for s in found.spreads] == list(raw)
    line = limits.get(LIMIT).lines[parameter]
    for spread, curves in zip(found.spreads, raw.values(), strict=True):
        worst = curves.max(axis=1) if line.sense == "max" else curves.min(axis=1)
        values = worst if of == "worst" else curves.reshape(-1, len(f))
        np.testing.assert_array_equal(spread.frequencies_mhz, f)
        assert spread.records == len(curves) and (spread.curves == len(values)).all()
        for got, share in ((spread.low, 0.05), (spread.median, 0.5), (spread.high, 0.95)):
            np.testing.assert_allclose(got, np.quantile(values, share, axis=0), atol=1e-9)
        margins = (line.at(f) - values) if line.sense == "max" else (values - line.at(f))
        np.testing.assert_allclose(spread.margin_low, np.quantile(margins, 0.05, axis=0), atol=1e-9)
        np.testing.assert_allclose(spread.margin_median, np.median(margins, axis=0), atol=1e-9)
        np.testing.assert_allclose(spread.beyond, (margins < -1e-9).mean(axis=0), atol=1e-12)


def test_what_no_curve_is_there_of_is_recomputed(of_years: Path) -> None:
    """PS NEXT of a pair by its definition, 10^(-x/10) summed over the three combinations, from the raw curves."""
    raw = curves_of(of_years, "next")
    pairs = ["1-2/3-6", "1-2/4-5", "1-2/7-8", "3-6/4-5", "3-6/7-8", "4-5/7-8"]
    members = [[i for i, c in enumerate(pairs) if p in c.split("/")] for p in ("1-2", "3-6", "4-5", "7-8")]
    curves = raw["2022-Q4"].reshape(-1, 2, 6, len(raw["frequencies"]))
    sums = np.stack([-10 * np.log10((10 ** (-curves[:, :, m] / 10)).sum(axis=2)) for m in members], axis=2)
    found = distribution(store.open(of_years), CurveChoice("ps_next"), Choice(only=[("quarter", "2022-Q4")]))
    assert found.notes[0] == "the curves were recomputed from measured ones"
    (spread,) = found.spreads
    want = np.quantile(sums.reshape(-1, sums.shape[-1]), [0.05, 0.5, 0.95], axis=0)
    for got, wanted in zip((spread.low, spread.median, spread.high), want, strict=True):
        np.testing.assert_allclose(got, wanted, atol=0.0051)  # told to be rounded to 0.01 dB


def test_the_command_and_its_tables(of_years: Path) -> None:
    document = told("rates", of_years, "--curves", "next", "--worst", "--tests", "first", "--by", "quarter")
    assert document["limit"] == LIMIT
    assert {r["quarter"] for r in document["rows"]} == {"2022-Q2", "2022-Q4"}
    assert set(document["rows"][0]) >= {
        "frequency_mhz",
        "curves",
        "low",
        "median",
        "high",
        "limit",
        "margin_low",
        "beyond",
    }
    assert "miss the limit" in run("rates", of_years, "--curves", "next").stdout


def test_against_another_limit_and_none(of_years: Path) -> None:
    opened = store.open(of_years)
    harder = distribution(opened, CurveChoice("next"), against="iso-11801-1/class-fa/permanent-link-2")
    usual = distribution(opened, CurveChoice("next"), against="TIA 568.2-D Cat 6A permanent link")
    assert usual.limit == LIMIT
    assert np.nanmin(harder.spreads[0].margin_low) < np.nanmin(usual.spreads[0].margin_low)
    mixed = distribution(opened, CurveChoice("return_loss"), against="tsb-67/cat5/channel")
    assert mixed.limit is None and "has no line" in mixed.notes[0]  # TSB-67 does not limit return loss


def test_too_many_groups_and_empty_selections(of_years: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened = store.open(of_years)
    monkeypatch.setattr(distributions, "MOST_GROUPS", 3)
    with pytest.raises(Trouble, match="groups are too many"):
        distribution(opened, CurveChoice("next"), by=["length_band", "quarter"])
    nothing = distribution(opened, CurveChoice("next"), Choice(Filters(cable_type=years.SIX)))
    assert nothing.spreads == []


def test_odd_axes_missing_points_and_finer_steps(archive: Archive) -> None:
    """A record on another axis with a missing point, one in steps of 0.01 dB, one in reals: all counted where they
    speak, each frequency with its own number."""
    a, b, c = making.rows("A1"), making.rows("A2", place="row 3"), making.rows("A3", place="row 4")
    other = axis_row([1.0, 10.0, 100.0])
    b["axes"].append(other)
    b["axes"] = [making.AXIS, other]
    for sweep in b["sweeps"]:
        if sweep["parameter"] == "next":
            sweep.update(axis_id=other["axis_id"], values=[60.0, None, 40.0])
    for i, sweep in enumerate(s for s in c["sweeps"] if s["parameter"] == "next"):
        values = [v + 0.37 for v in sweep["values"]]
        sweep.update(values=[round(v, 2) for v in values] if i % 2 else [v + 1 / 3 for v in values], step=0.01)
    making.deposit(archive, graded(a, b, c))
    (spread,) = distribution(archive, CurveChoice("next"), against="tia-568.2-d/cat6/permanent-link").spreads
    number = dict(zip(spread.frequencies_mhz.tolist(), spread.curves.tolist(), strict=True))
    assert (number[1.0], number[10.0], number[100.0], number[4.0]) == (12, 8, 12, 8)
    at_1 = [s["values"][0] for r in (a, b, c) for s in r["sweeps"] if s["parameter"] == "next"]
    assert spread.median[0] == pytest.approx(np.median(at_1), abs=0.0051)
    assert spread.records == 3


CURVES = st.lists(st.lists(st.integers(-400, 1900), min_size=3, max_size=3), min_size=1, max_size=40)


@given(CURVES, CURVES, st.sampled_from([0.05, 0.5, 0.95, 0.0, 1.0]))
@settings(max_examples=60, deadline=None)
def test_any_values_give_the_quantiles_of_numpy(tenths: list[list[int]], hundredths: list[list[int]], q: float) -> None:
    histogram = Histogram()
    places = histogram.places(np.array([1.0, 10.0, 100.0]))
    histogram.add(places, np.array(tenths, np.int32), 1)
    histogram.add(places, np.array(hundredths, np.int32), 2)
    values = np.concatenate([np.array(tenths) / 10, np.array(hundredths) / 100])
    np.testing.assert_allclose(histogram.quantile(q), np.quantile(values, q, axis=0), atol=1e-9)
    assert histogram.number().tolist() == [len(values)] * 3
    assert not histogram.rounded


def test_absurd_values_do_not_take_the_memory() -> None:
    histogram = Histogram()
    histogram.add(histogram.places(np.array([1.0])), np.array([[2**31 - 1], [-(2**30)], [450]], np.int64), 1)
    assert histogram.quantile(0.5) == pytest.approx([45.0])
    assert histogram.counts.size < 10_000


def test_memory_does_not_grow_with_the_links() -> None:
    """Ten times the curves, the same counts to hold."""
    sizes = []
    rng = np.random.default_rng(1)
    for rounds in (2, 20):
        histogram = Histogram()
        places = histogram.places(np.arange(1.0, 101.0))
        for _ in range(rounds):
            histogram.add(places, rng.integers(100, 900, (200, 100)), 1)
        sizes.append(histogram.counts.nbytes)
    assert sizes[0] == sizes[1]
