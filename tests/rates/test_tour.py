"""The tour of the analyst: three questions over seven years, each answered with the numbers that were planted.

The README tells these three; the commands here are the ones it shows.
"""

from __future__ import annotations

import shlex
from pathlib import Path

import numpy as np
import pytest

from archive.answers import statistics
from tests.rates import years
from tests.rates.test_rates import run, told


@pytest.fixture(scope="module")
def planted() -> dict[str, np.ndarray]:
    """The truth."""
    return years.truth()


def test_how_do_the_cables_pass(of_years: Path, tmp_path: Path, planted: dict[str, np.ndarray]) -> None:
    """Question 1: how do links pass by brand-neutral cable type, and is any difference more than chance?"""
    document = told("rates", of_years, "--by", "cable_type")
    for row in document["rows"]:
        here = planted["cable_type"] == row["cable_type"]
        assert row["first_time_rate"] == 1 - planted["fails"][here].mean()
        if row["cable_type"] != years.GOOD:  # the bad lot is among these: question 2
            assert row["first_time_low"] <= 1 - years.RATES[row["cable_type"]] <= row["first_time_high"]
    assert document["told"] == []  # between jobs the rates of each type differ as much as the types do
    assert any("tell" not in c and "4 of 5" in c for c in document["closing"])
    assert any("cat6/u-utp/awg23/solid (limit)" in n for n in document["notes"])  # no other type has its limit
    out = tmp_path / "rates-by-cable.svg"
    assert run("rates", of_years, "--by", "cable_type", "--plot", out).exit_code == 0
    assert out.stat().st_size < 100_000


def test_was_there_a_bad_lot(of_years: Path, tmp_path: Path, planted: dict[str, np.ndarray]) -> None:
    """Question 2: F/UTP passed 98 % for years; was any delivery worse, and what failed in it?"""
    document = told("rates", of_years, "--by", "quarter", "--cable-type", "cat6a/f-utp")
    found = {t["group"] for t in document["told"] if t["kind"] == "differs"}
    assert found == {years.BAD_QUARTER}
    row = next(r for r in document["rows"] if r["quarter"] == years.BAD_QUARTER)
    lot = (planted["cable_type"] == years.GOOD) & (planted["quarter"] == years.BAD_QUARTER)
    rest = (planted["cable_type"] == years.GOOD) & ~lot
    assert (row["first_links"], row["first_passed"]) == (lot.sum(), (lot & ~planted["fails"]).sum())
    assert row["first_time_low"] <= 1 - years.BAD.fail_rate <= row["first_time_high"]
    others = next(d for d in document["differences"] if d["group"] == years.BAD_QUARTER)
    assert others["other_share"] == pytest.approx(1 - planted["fails"][rest].mean())
    low, high = statistics.wilson(int((~planted["fails"][rest]).sum()), int(rest.sum()))
    assert low <= 1 - years.RATES[years.GOOD] <= high
    failed = told(
        "rates", of_years, "--what-failed", "--only", f"quarter={years.BAD_QUARTER}", "--cable-type", "cat6a/f-utp"
    )
    assert failed["links"] == (lot & planted["fails"]).sum()
    assert failed["rows"][0]["parameter"] == "next"
    for words in (["--by", "quarter"], ["--what-failed", "--by", "parameter,end"]):
        out = tmp_path / "picture.svg"
        assert run("rates", of_years, *words, "--cable-type", "cat6a/f-utp", "--plot", out).exit_code == 0
        assert out.stat().st_size < 100_000


def test_where_in_frequency_was_the_margin_lost(of_years: Path, tmp_path: Path, planted: dict[str, np.ndarray]) -> None:
    """Question 3: how much does NEXT clear its limit, and where, in that lot and in the quarter after it?"""
    words = ["--curves", "next", "--worst", "--tests", "first", "--by", "quarter", "--cable-type", "cat6a/f-utp"]
    document = told("rates", of_years, *words)
    by_quarter = {q: [r for r in document["rows"] if r["quarter"] == q] for q in ("2022-Q2", "2022-Q4")}
    fails = {
        q: (planted["fails"] & (planted["parameter"] == "next"))[planted["number"] == n]
        for q, n in (("2022-Q2", 36), ("2022-Q4", 42))
    }
    for quarter, rows in by_quarter.items():
        share = max(r["beyond"] for r in rows if r["beyond"] is not None)
        # each planted fault misses at some frequency, not all at the same one
        assert 0 <= share <= fails[quarter].mean()
        assert (share > 0) == bool(fails[quarter].any())
    lowest = {q: min(r["margin_low"] for r in rows if r["margin_low"] is not None) for q, rows in by_quarter.items()}
    assert lowest["2022-Q2"] < lowest["2022-Q4"]
    median = {q: np.median([r["margin_median"] for r in rows]) for q, rows in by_quarter.items()}
    assert abs(median["2022-Q2"] - median["2022-Q4"]) < 1.0  # the usual link of the lot is as good as any
    out = tmp_path / "next.svg"
    assert run("rates", of_years, *words, "--plot", out).exit_code == 0
    assert out.stat().st_size < 100_000


README = Path(__file__).parents[2] / "README.md"


def shown() -> list[tuple[list[str], list[str]]]:
    """Commands of the analyst's tour in the README, each with the lines that are shown under it."""
    part = README.read_text(encoding="utf-8").split("### The analyst", 1)[1].split("\n## ", 1)[0]
    blocks = [b.strip().splitlines() for b in part.split("```")[1::2]]
    return [(shlex.split(lines[0])[1:], [line for line in lines[1:] if line.strip(". ")]) for lines in blocks]


@pytest.mark.parametrize(("words", "lines"), shown(), ids=lambda v: " ".join(v)[:40])
def test_what_the_readme_shows_is_what_is_printed(
    of_years: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], lines: list[str]
) -> None:
    """To the letter, but for how lines are broken; one may be cut short, which three dots then say."""
    monkeypatch.chdir(tmp_path)
    printed = " ".join(run(*[str(of_years) if w == "years" else w for w in words]).stdout.split())
    for line in lines:
        assert " ".join(line.removesuffix("...").split()) in printed, line
    drawn = words[words.index("--plot") + 1]
    assert (tmp_path / drawn).stat().st_size < 100_000
    assert (README.parent / "fixtures/pictures" / drawn).is_file()


def test_what_the_readme_says_of_the_bad_lot(of_years: Path, planted: dict[str, np.ndarray]) -> None:
    """25 of its 43 failing links miss NEXT: as counted, and as planted."""
    found = told("rates", of_years, "--what-failed", "--only", "quarter=2022-Q2", "--cable-type", "cat6a/f-utp")
    lot = (planted["cable_type"] == years.GOOD) & (planted["quarter"] == years.BAD_QUARTER) & planted["fails"]
    numbers = (next(r["links"] for r in found["rows"] if r["parameter"] == "next"), found["links"])
    assert numbers == (int((planted["parameter"][lot] == "next").sum()), int(lot.sum()))
    assert f"{numbers[0]} of its {numbers[1]} failing links miss NEXT" in README.read_text(encoding="utf-8")
