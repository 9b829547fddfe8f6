"""muniment rates: groups, denominators, differences, output."""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner, Result

from archive import store
from archive.answers import statistics
from archive.answers.rates.fields import FIELDS, OTHER_NAMES
from archive.answers.rates.rates import rates as count
from archive.answers.rates.rates import sensitivity
from archive.answers.rates.source import Choice
from archive.answers.rates.table import encoded, table
from archive.cli import cli
from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from tests.rates import years
from tests.rates.test_counting import graded
from tests.store import store_making as making

CONTRACT = {"links", "passed", "rate", "low", "high", "first_time_rate", "marginal_share", "provisional_share"}


def run(*words: str | Path) -> Result:
    """A command; nothing but a Trouble may leave it."""
    return CliRunner().invoke(cli, [str(w) for w in words])


def told(*words: str | Path) -> Any:
    """The JSON that a command prints."""
    result = run(*words, "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def reported(label: str, verdict: str | None, **more: Any) -> making.Rows:
    """A record of which only the instrument's verdict came along."""
    made = making.rows(label, evidence="verdict-only", reported_verdict=verdict, **more)
    return {**made, "sweeps": [], "readings": [], "wiremap": []}


def of_verdicts(archive: Archive, passed: int, failed: int, prefix: str = "A", **more: Any) -> None:
    """Deposits links with a verdict alone."""
    listed = [
        reported(f"{prefix}{i}", "pass" if i < passed else "fail", place=f"row {prefix} {i}", **more)
        for i in range(passed + failed)
    ]
    making.deposit(archive, making.batch(*listed))


def test_the_shape_that_is_promised(of_years: Path) -> None:
    document = told("rates", of_years, "--by", "cable_type,year")
    for row in document["rows"]:
        assert set(row) >= CONTRACT | {"cable_type", "year"}
        assert row["rate"] == row["passed"] / row["links"]
        assert (row["wilson_low"], row["wilson_high"]) == statistics.wilson(row["passed"], row["links"])
        assert row["low"] <= row["wilson_low"] <= row["rate"] <= row["wilson_high"] <= row["high"]
    assert set(document) >= {"method", "told", "expected_false_alarms", "sensitivity"}
    assert sum(r["links"] for r in document["rows"]) == document["total"]["links"] == sum(years.numbers().values())


def test_first_time_rates_are_those_that_were_planted(of_years: Path) -> None:
    """Exactly: each first test that failed was planted, and no other; per cable type and quarter."""
    planted = years.truth()
    for row in told("rates", of_years, "--by", "cable_type,quarter")["rows"]:
        here = (planted["cable_type"] == row["cable_type"]) & (planted["quarter"] == row["quarter"])
        assert row["first_links"] == here.sum() == row["links"]
        assert row["first_passed"] == (here & ~planted["fails"]).sum()


def test_failed_then_fixed_is_counted_as_such(of_years: Path) -> None:
    total = told("rates", of_years)["total"]
    planted = years.truth()
    assert total["fixed"] == total["tests"] - total["links"] == total["retested"]
    assert total["links"] - total["passed"] == planted["fails"].sum() - total["fixed"]
    assert 0.8 < total["fixed"] / planted["fails"].sum() < 1.0


@pytest.mark.parametrize("name", [n for n in FIELDS if n != "parameter"])
def test_every_field_counts_every_link_once(of_years: Path, name: str) -> None:
    document = told("rates", of_years, "--by", name, "--compare", "none")
    assert sum(r["links"] for r in document["rows"]) == sum(years.numbers().values())
    assert len({json.dumps(r[name]) for r in document["rows"]}) == len(document["rows"])


@pytest.mark.parametrize(("said", "name"), sorted({**OTHER_NAMES, "cable-type": "cable_type", "Year": "year"}.items()))
def test_other_names_of_fields(of_years: Path, said: str, name: str) -> None:
    assert name in told("rates", of_years, "--by", said, "--compare", "none")["rows"][0]


def test_filters_and_only_choose_the_same_links(of_years: Path) -> None:
    one = told("rates", of_years, "--cable-type", "cat6a/f-utp", "--since", "2022-01-01", "--until", "2022-12-31")
    other = told("rates", of_years, "--only", f"cable_type={years.GOOD}", "--only", "year=2022")
    assert one["total"] == other["total"]
    assert one["total"]["links"] == 3 * 120 + 2 * 120 + 48 + 48
    quarter = told("rates", of_years, "--only", f"quarter={years.BAD_QUARTER}", "--only", "category=cat6a")
    assert [r["quarter"] for r in told("rates", of_years, "--by", "quarter", "--only", "month=2022-06")["rows"]] == [
        years.BAD_QUARTER
    ]
    assert quarter["total"]["links"] > 0
    bands = told("rates", of_years, "--by", "length", "--length-bands", "30,60")["rows"]
    assert [r["length_band"] for r in bands] == ["to 30 m", "30 to 60 m", "over 60 m"]
    one_band = told("rates", of_years, "--only", "length=30 to 60 m", "--length-bands", "30,60")["total"]
    assert one_band["links"] == bands[1]["links"]


def test_two_configurations_of_one_label_are_one_link_in_every_count(archive: Archive) -> None:
    channel = {"configuration": "channel", "limit_found": "TIA 568.2-D Cat 6 channel"}
    making.deposit(
        archive,
        graded(making.rows("A1"), making.rows("A1", place="row 3", time="2019-03-04T10:20", shift=0.5, **channel)),
    )
    found = count(archive, ["configuration"])
    assert sorted(r["links"] + r["not_graded"] for r in found.rows) == [0, 1]
    assert found.total["links"] + found.total["not_graded"] == 1


def test_records_without_curves_count_by_the_instrument_and_never_by_half(archive: Archive) -> None:
    """A record of worst points can fail here and never pass: counting only its fails would make every rate nought."""
    of_verdicts(archive, 3, 1)
    best = count(archive).total
    assert (best["links"], best["passed"], best["by_instrument"]) == (4, 3, 4)
    program = count(archive, (), Choice(verdicts="program")).total
    assert (program["links"], program["not_graded"], program["rate"]) == (0, 4, None)
    reported_ = count(archive, (), Choice(verdicts="reported")).total
    assert (reported_["links"], reported_["passed"]) == (4, 3)


def test_links_that_are_not_graded_are_shown_and_bound_the_rate(archive: Archive) -> None:
    of_verdicts(archive, 3, 1)
    making.deposit(
        archive,
        making.batch(reported("Z1", None, source="e" * 64), reported("Z2", None, place="row 9", source="e" * 64)),
    )
    found = count(archive)
    row = found.total
    assert (row["links"], row["not_graded"], row["rate"]) == (4, 2, 0.75)
    assert (row["rate_at_least"], row["rate_at_most"]) == (3 / 6, 5 / 6)
    assert sensitivity(row) == "If all that is uncertain went one way, 50.0 to 83.3 % would pass: 2 not graded."


def test_small_groups_say_so(archive: Archive) -> None:
    of_verdicts(archive, 18, 1)
    (row,) = count(archive, ["category"]).rows
    assert row["small"] is True
    assert (row["exact_low"], row["exact_high"]) == pytest.approx(statistics.exact(18, 19))
    of_verdicts(archive, 1, 0, prefix="B", source="b" * 64)
    (row,) = count(archive, ["category"]).rows
    assert (row["small"], row["exact_low"]) == (False, None)


def test_marginal_and_provisional_shares_have_their_own_denominators(of_years: Path) -> None:
    """Against the raw verdicts of the bags, counted in Python."""
    opened = store.open(of_years)
    wanted = {"marginal": 0, "known": 0, "provisional": 0}
    for r in opened.db.execute("SELECT * FROM records WHERE current"):
        swept = r["evidence"] == "full-sweep"
        said = r["verdict"] if swept else r["reported_verdict"]
        wanted["known"] += said == "pass" and r["marginal"] is not None
        wanted["marginal"] += said == "pass" and r["marginal"] == 1
        wanted["provisional"] += swept and r["provisional"] == 1
    total = count(opened).total
    assert (total["marginal"], total["marginal_known"]) == (wanted["marginal"], wanted["known"])
    assert total["marginal_share"] == wanted["marginal"] / wanted["known"]
    assert total["provisional_share"] == wanted["provisional"] / total["links"]


def test_verdicts_from_memory_have_a_share_of_the_graded_links(archive: Archive) -> None:
    """Eight links that pass, three of them by a line from memory, and one that is not graded."""
    listed = []
    for n in range(9):
        made = making.rows(f"A{n}", place=f"row {n}", shift=0.3 * n)
        verdict = {"verdict": "pass" if n else "not graded", "provisional": n in (1, 2, 3), "limits_version": "tests"}
        made["verdicts"] = [{"record_id": made["records"][0]["record_id"], "program": "tests", **verdict}]
        listed.append(made)
    making.deposit(archive, making.batch(*listed))
    total = count(archive).total
    assert (total["links"], total["provisional"], total["provisional_share"]) == (8, 3, 3 / 8)


def test_medians_of_the_leading_margin(of_years: Path) -> None:
    """Against numpy over the margins of the current records."""
    opened = store.open(of_years)
    margins = [
        r[0]
        for r in opened.db.execute("SELECT leading_margin FROM records WHERE current AND cable_type = ?", (years.SIX,))
    ]
    (row,) = count(opened, ["cable_type"], Choice(Filters(cable_type=years.SIX))).rows
    assert row["median_margin"] == pytest.approx(np.median(margins))
    assert row["p5_margin"] == pytest.approx(np.quantile(margins, 0.05))


def test_by_parameter_the_planted_parameters_fail(of_years: Path) -> None:
    """Each planted fault fails its parameter; power sums may fail beside it, nothing else does at the first test."""
    planted = years.truth()
    rows = {r["parameter"]: r for r in told("rates", of_years, "--by", "parameter")["rows"]}
    for name in ("next", "return_loss", "acr_f", "insertion_loss"):
        wanted = int((planted["parameter"][planted["fails"]] == name).sum())
        failed = rows[name]["first_links"] - rows[name]["first_passed"]
        assert wanted <= failed <= wanted + 3, name  # a spoiled curve of the swept jobs may take another one along
    assert rows["delay_skew"]["rate"] == 1.0
    assert rows["delay_skew"]["margin_unit"] == "ns" and rows["next"]["margin_unit"] == "dB"


def test_the_bad_lot_differs_from_the_typical_quarter_and_nothing_else_does(of_years: Path) -> None:
    found = told("rates", of_years, "--by", "quarter", "--cable-type", "cat6a/f-utp")
    assert {d["of"] for d in found["differences"]} == {"first-time"}  # each quarter is compared once
    assert len({d["group"] for d in found["differences"]}) == len(found["differences"]) == len(found["rows"])
    (differs,) = (t for t in found["told"] if t["kind"] == "differs")
    assert (differs["group"], differs["against"]) == (years.BAD_QUARTER, "the typical quarter")
    assert differs["low"] <= differs["effect"] <= differs["high"] < 0 and differs["p"] <= 0.05
    assert "less often" in differs["sentence"] and "lower" in differs["sentence"]
    assert found["expected_false_alarms"] == 0.1  # of who differs, and of the mix


def test_tables_for_other_tools(of_years: Path, tmp_path: Path) -> None:
    made = table(of_years, by="cable_type", since="2022-01-01")
    assert made.schema.field("links").type == "int64" and made.schema.field("rate").type == "double"
    frame = made.to_pandas()
    assert list(frame["cable_type"]) == [years.SIX, years.GOOD, years.OPEN]
    for form in ("csv", "parquet", "json"):
        out = tmp_path / f"rates.{form}"
        assert run("rates", of_years, "--by", "cable_type", "--as", form, "-o", out).exit_code == 0
    want = table(of_years, by=["cable_type"]).to_pylist()
    assert pq.read_table(tmp_path / "rates.parquet").to_pylist() == want
    assert json.loads((tmp_path / "rates.json").read_text()) == want
    head, first, *_ = (tmp_path / "rates.csv").read_text().splitlines()
    assert dict(zip(head.split(","), first.split(","), strict=True))["links"] == str(want[0]["links"])
    assert table(of_years, by="year", what="differences").num_rows == 7
    assert table(of_years, by="quarter", what="told", cable_type="cat6a/f-utp").num_rows > 0
    assert table(of_years, by="parameter,end", what="failed").num_rows > 3


def test_what_is_printed(of_years: Path) -> None:
    result = run("rates", of_years, "--by", "cable_type")
    lines = result.stdout.splitlines()
    assert lines[0].split()[:3] == ["cable_type", "links", "jobs"]
    assert lines[4].split()[:2] == ["all", str(sum(years.numbers().values()))]
    assert "No cable type differs" in result.stdout and "the instrument's verdict alone" in result.stderr
    assert run("rates", of_years, "-q").output == ""


@pytest.mark.parametrize(
    "words",
    [
        ["--by", "colour"],
        ["--only", "year"],
        ["--only", "year=last"],
        ["--only", "quarter=2020-Q5"],
        ["--only", "month=2020-13"],
        ["--only", "month=2020-13-45"],
        ["--only", "crew=nobody"],
        ["--cable-type", "CAT6A"],
        ["--tests", "first"],
        ["--worst"],
        ["--title", "A heading"],
        ["--curves", "next", "--compare", "final"],
        ["--what-failed", "--compare", "final"],
        ["--curves", "next", "--cohort", "first-test"],
        ["--by", "parameter", "--cohort", "first-test"],
        ["--standardise", "parameter"],
        ["--only", "quarter=2022"],
        ["--only", "length_band=long"],
        ["--only", "parameter=next"],
        ["--length-bands", "90,30"],
        ["--length-bands", "long"],
        ["--against", "tia-568.2-d/cat6a/channel"],
        ["--curves", "nonsense"],
        ["--curves", "next", "--what-failed"],
        ["--curves", "next", "--against", "no such limit"],
        ["--curves", "next", "--by", "parameter"],
        ["--what-failed", "--by", "colour"],
        ["--by", "parameter", "--verdicts", "reported"],
        ["--plot", "rates.bmp"],
        ["--out", "x.csv"],
    ],
)
def test_what_cannot_be_asked_is_told_in_one_line(of_years: Path, words: list[str]) -> None:
    result = run("rates", of_years, *words)
    assert isinstance(result.exception, Trouble), result.output
    assert "\n" not in str(result.exception)


def test_an_empty_archive_and_none_at_all(archive: Archive, tmp_path: Path) -> None:
    document = told("rates", archive.root, "--by", "year")
    assert document["rows"] == [] and document["total"]["links"] == 0
    assert run("rates", archive.root, "--what-failed").exit_code == 0
    assert run("rates", archive.root, "--curves", "next").exit_code == 0
    assert isinstance(run("rates", tmp_path / "nowhere").exception, Trouble)


def test_numbers_in_json_are_finite(of_years: Path) -> None:
    text = run("rates", of_years, "--by", "job", "--json").stdout
    assert all(math.isfinite(v) for r in json.loads(text)["rows"] for v in r.values() if isinstance(v, float))
    assert "NaN" not in text


def test_a_csv_of_rates_holds_no_formula() -> None:
    rows = [{"site": "=1+1", "low": -1.5, "of": ["@x", "y"]}, {"site": "a\rb", "low": None, "of": "-x"}]
    data = encoded(rows, "csv", {})
    assert list(csv.reader(io.StringIO(data.decode(), newline=""))) == [
        ["site", "low", "of"],
        ["'=1+1", "-1.5", "'@x; y"],
        ["a\rb", "", "'-x"],
    ]


def test_a_grouping_that_is_none_is_answered_with_all_there_are(archive: Archive) -> None:
    of_verdicts(archive, 1, 0)
    with pytest.raises(Trouble) as refused:
        count(archive, ["nonsense"])
    assert refused.value.expected.split(", ") == list(FIELDS)
    with pytest.raises(Trouble) as misspelt:
        count(archive, ["cable_tpye"])
    assert "cable_type" in misspelt.value.remedy


def test_one_link_rests_on_the_verdict_of_its_instrument(archive: Archive) -> None:
    of_verdicts(archive, 1, 0)
    assert any(n.startswith("1 link rests on the instrument's verdict alone") for n in count(archive).notes)


def test_notes_go_with_their_numbers(archive: Archive) -> None:
    """Jobs of 25, 25 and 3 links: groups by job, and by cable type, of which one job is another."""
    cables = ["cat6/u-utp", "cat6/u-utp", "cat6/f-utp"]
    listed = [
        reported(f"{job}-{i}", "pass", place=f"row {job} {i}", job_id=f"J-{job}", cable_type=cable)
        for job, (links, cable) in enumerate(zip((25, 25, 3), cables, strict=True))
        for i in range(links)
    ]
    making.deposit(archive, making.batch(*listed), job=None)
    apart, together = (told("rates", archive.root, "--by", by)["notes"] for by in ("job", "cable_type"))
    assert any(n.startswith("3 of 3 groups are one job each: ") for n in apart)
    assert any(n.startswith("1 of 2 groups is one job: ") for n in together)
    for notes, of in ((apart, 3), (together, 2)):
        assert f"1 of {of} groups has fewer than 20 links" in notes
