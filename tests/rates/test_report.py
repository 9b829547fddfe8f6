"""The page of a report, first claims in service, best guesses: what stands in them and what does not."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from archive.answers.rates.first_failures import first_failures
from archive.errors import Trouble
from archive.store import Archive
from archive.store.events.cases import open_case
from tests.rates import years
from tests.rates.test_rates import of_verdicts, run, told


def test_the_page_says_what_may_be_relied_on_and_what_not(of_years: Path, tmp_path: Path) -> None:
    out = tmp_path / "report"
    result = run("rates", of_years, "--by", "quarter", "--cable-type", "cat6a/f-utp", "--report", out)
    assert result.exit_code == 0, result.output
    page = (out / "index.html").read_text(encoding="utf-8")
    assert {p.name for p in out.iterdir()} == {"index.html", "rates.csv", "failed.csv", "quarters.csv"}
    reliable, unreliable = page.split("What a reader may rely on</h2>")[1].split("What a reader may not rely on</h2>")
    assert f"{years.BAD_QUARTER} passes the first test less often" in reliable
    assert "false alarms among such sentences" in reliable and "never tested" in unreliable and "one job" in unreliable
    assert page.count("<svg") == 3 and "cable type cat6a/f-utp" in page
    assert not re.search(r"(src|href)=\"(?!#|data:)", page) and "<script" not in page
    again = run("rates", of_years, "--report", out)
    assert isinstance(again.exception, Trouble)
    assert isinstance(run("rates", of_years, "--trend", "year", "--report", tmp_path / "x").exception, Trouble)
    assert isinstance(run("rates", of_years, "--report", tmp_path / "x", "--as", "csv").exception, Trouble)


def test_best_guesses_lie_between_the_groups_and_all(of_years: Path) -> None:
    document = told("rates", of_years, "--by", "crew")
    total = document["total"]["first_time_rate"]
    for row in document["rows"]:
        ends = sorted((row["first_time_rate"], total))
        assert ends[0] - 0.01 <= row["best_guess"] <= ends[1] + 0.01
    spread = [
        max(values) - min(values)
        for values in zip(*((r["best_guess"], r["first_time_rate"]) for r in document["rows"]), strict=True)
    ]
    assert spread[0] < spread[1]


def test_first_claims_in_service(archive: Archive) -> None:
    """Forty links tested in 2019; six with a case in the second year, by the end of 2023."""
    of_verdicts(archive, 40, 0)
    rows = archive.db.execute("SELECT deposit, position, link_label FROM records ORDER BY row").fetchall()
    for n, r in enumerate(rows[:6]):
        said = {"day": f"2020-{n + 4:02d}-01", "name": f"C-{n}", "link_label": r["link_label"], "text": "no link"}
        open_case(archive, f"{r['deposit']}/{r['position']}", said, by="R. Ostrander", reason="a letter")
    found = first_failures(archive, 5, today=date(2023, 12, 31))
    by_year = {r["years"]: r for r in found.rows}
    assert (by_year[1]["claims"], by_year[2]["claims"]) == (0, 6)
    assert by_year[1]["share"] == 0.0 and by_year[2]["share"] == pytest.approx(6 / 40)
    assert by_year[2]["low"] < 6 / 40 < by_year[2]["high"]
    assert by_year[1]["low"] is None and by_year[1]["high"] > 0  # no claim: the upper limit alone
    assert max(by_year) == 4 and "nobody reports" in found.notes[0]
    document = told("rates", archive.root, "--first-failure", "2")
    assert [r["claims"] for r in document["rows"]] == [0, 6]
    assert "upper limit" in run("rates", archive.root, "--first-failure", "1").stdout
    assert isinstance(run("rates", archive.root, "--first-failure", "2", "--compare", "none").exception, Trouble)
