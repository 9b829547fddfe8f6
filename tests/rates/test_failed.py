"""What failed: against what was planted, and against the raw grades of the bags."""

from __future__ import annotations

from collections import Counter, defaultdict
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from archive import store
from archive.answers.rates.pareto import failed
from archive.answers.rates.source import Choice
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from tests.rates import years
from tests.rates.test_counting import graded
from tests.rates.test_rates import of_verdicts, told
from tests.store import store_making as making


@cache
def raw_failures(path: Path) -> list[dict[str, Any]]:
    """Every failing curve or reading of the bags, each link's once, with its link: from the grades as tables."""
    opened = store.open(path)
    opened.catch_up()
    seen, out = set(), []
    for (deposit,) in opened.db.execute("SELECT deposit FROM deposits").fetchall():
        labels = {r["record_id"]: r["link_label"] for r in opened.tables(deposit).table("records").to_pylist()}
        for g in opened.tables(deposit).table("grades").to_pylist():
            key = (labels[g["record_id"]], g["parameter"], g["pairing"], g["end"])
            if g["kind"] == "worst_margin" and g["verdict"] == "fail" and key not in seen:
                seen.add(key)
                out.append({**g, "link": labels[g["record_id"]]})
    return out


@pytest.mark.parametrize("parts", [["parameter"], ["parameter", "pairing"], ["end"], ["pairing", "end", "parameter"]])
def test_links_and_failures_are_those_of_the_bags(of_years: Path, parts: list[str]) -> None:
    raw = raw_failures(of_years)
    links: dict[Any, set[str]] = defaultdict(set)
    number: Counter[Any] = Counter()
    for f in raw:
        key = tuple(f[p] for p in parts)
        links[key].add(f["link"])
        number[key] += 1
    found = failed(store.open(of_years), by=parts)
    got = {tuple(r[p] for p in parts): (r["links"], r["failures"]) for r in found.rows}
    assert got == {key: (len(links[key]), number[key]) for key in links}
    assert (found.links, found.failures) == (len({f["link"] for f in raw}), len(raw))
    assert [r["links"] for r in found.rows] == sorted((r["links"] for r in found.rows), reverse=True)


def test_the_most_is_what_was_planted_most(of_years: Path) -> None:
    planted = years.truth()
    most = Counter(planted["parameter"][planted["fails"]].tolist()).most_common(1)[0]
    first = told("rates", of_years, "--what-failed")["rows"][0]
    assert first["parameter"] == most[0] == "next"
    assert first["links"] == pytest.approx(most[1], abs=2)
    assert first["worst_margin"] < first["median_margin"] < 0


def test_bands_of_frequency_hold_what_lies_in_them(of_years: Path) -> None:
    rows = failed(store.open(of_years), Choice(Filters(cable_type=years.GOOD)), ["frequency"]).rows
    assert {"100 to 250 MHz", "250 to 500 MHz"} <= {r["frequency_band"] for r in rows}
    raw = [f for f in raw_failures(of_years) if f["frequency_mhz"] and 100 < f["frequency_mhz"] <= 250]
    every = failed(store.open(of_years), by=["band"]).rows
    assert next(r["failures"] for r in every if r["frequency_band"] == "100 to 250 MHz") == len(raw)


def test_other_fields_and_filters_go_with_it(of_years: Path) -> None:
    rows = told("rates", of_years, "--what-failed", "--by", "year,parameter", "--cable-type", "cat6a/f-utp")["rows"]
    by_year: Counter[int] = Counter()
    for r in rows:
        by_year[r["year"]] += r["failures"]
    assert by_year.most_common(1)[0][0] == 2022  # the bad lot


def test_a_failure_that_a_retest_repeats_is_one(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1", shift=20.0)))
    before = failed(archive)
    assert before.failures > 0
    making.deposit(archive, graded(making.rows("A1", shift=20.5, time="2019-03-05T08:00", source="b" * 64)))
    after = failed(archive)
    assert (after.links, after.failures) == (before.links, before.failures) == (1, before.failures)


def test_verdicts_alone_do_not_say_what_failed(archive: Archive) -> None:
    of_verdicts(archive, 3, 2)
    found = failed(archive)
    assert (found.rows, found.links, found.unknown) == ([], 0, 2)
    assert "2 of 2 failing links" in found.notes[0]
