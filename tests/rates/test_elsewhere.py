"""Taking answers elsewhere: several archives in one question, the Python calls, tables without rows."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import muniment
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from archive import store
from archive.errors import Trouble
from archive.store import Archive
from tests.rates import years
from tests.rates.test_rates import of_verdicts, run, told


@pytest.fixture
def two(tmp_path: Path) -> tuple[Archive, Archive]:
    """Two archives with the same labels and the same job."""
    one, other = store.create(tmp_path / "one"), store.create(tmp_path / "other")
    of_verdicts(one, 30, 2)
    of_verdicts(other, 20, 5, source="b" * 64)
    return one, other


def test_two_archives_are_counted_as_one_and_kept_apart(two: tuple[Archive, Archive]) -> None:
    paths = [a.root for a in two]
    whole = told("rates", *paths)["total"]
    assert (whole["links"], whole["passed"], whole["jobs"]) == (57, 50, 2)  # the jobs of one name are two
    rows = told("rates", *paths, "--by", "archive")["rows"]
    assert [(r["archive"], r["links"], r["passed"]) for r in rows] == [("one", 32, 30), ("other", 25, 20)]
    assert told("rates", *paths, "--what-failed", "--tests", "first")["unknown"] == 7
    begun = told("rates", *paths, "--by", "archive", "--cohort", "first-test")["rows"]
    assert [r["links"] for r in begun] == [32, 25]
    assert isinstance(run("rates", paths[0], paths[0]).exception, Trouble)
    assert isinstance(run("rates", *paths, "--curves", "next").exception, Trouble)


def test_the_python_calls_answer_as_the_commands_do(of_years: Path, tmp_path: Path) -> None:
    table = muniment.rates([of_years], "cable_type", cohort="first-test")
    assert table.column("links").to_pylist() == [1920, 2376, 1320]
    ready = muniment.ready(of_years, "10gbase-t", "cable_type", job="SIM-3-0042")
    assert ready.num_rows == 1 and ready.column("links").to_pylist() == [48]
    curves = muniment.curves(of_years, "next", worst=True, job="SIM-3-0042")
    assert curves.column("curves").to_pylist()[0] == 48
    assert all(
        w <= m for w, m in zip(*(curves.column(n).to_pylist() for n in ("margin_worst", "margin_median")), strict=True)
    )
    drawn = muniment.plot(of_years, tmp_path / "rates.svg", "cable_type")
    assert drawn.read_text().startswith("<svg")
    assert muniment.plot(of_years, tmp_path / "trend.svg", trend="quarter").stat().st_size > 2000
    with pytest.raises(TypeError):
        muniment.rates(of_years, colour="red")


NEVER = ["--until", "2001-01-01"]


def test_tables_without_rows_keep_their_columns(archive: Archive) -> None:
    rates = muniment.rates(archive, "year")
    assert rates.num_rows == 0 and {"year", "links", "rate", "low"} <= set(rates.column_names)
    assert {"application", "carry", "reasons"} <= set(muniment.ready(archive, "10gbase-t").column_names)
    assert {"frequency_mhz", "margin_worst"} <= set(muniment.curves(archive, "next").column_names)
    of_verdicts(archive, 3, 1)
    for words in (["--by", "year"], ["--what-failed", "--only", "year=2019"], ["--trend", "year"]):
        full, none = (run("rates", archive.root, *words, *filters, "--as", "csv").stdout for filters in ([], NEVER))
        head = none.splitlines()
        assert len(head) == 1 and (words[0] == "--what-failed" or head[0] == full.splitlines()[0])
    assert sum(years.numbers().values()) == 5616


def test_several_archives_are_asked_in_sql(two: tuple[Archive, Archive], archive: Archive) -> None:
    paths = [*(a.root for a in two), archive.root]
    asked = "SELECT archive, count(*) AS n FROM links GROUP BY ALL ORDER BY ALL"
    assert [tuple(r.values()) for r in told("sql", *paths, asked)["rows"]] == [("one", 32), ("other", 25)]
    joined = "SELECT count(*) AS n FROM jobs j JOIN links l USING (archive, job_id) JOIN deposits d USING (archive)"
    assert told("sql", *paths, joined)["rows"] == [{"n": 57}]
    assert told("sql", *paths, "FROM assessed_verdicts")["columns"][:2] == ["archive", "assessment"]
    assert isinstance(run("sql", paths[0], paths[0], asked).exception, Trouble)
    assert isinstance(run("sql", paths[0]).exception, Trouble)


def test_several_archives_are_ready_as_one(two: tuple[Archive, Archive]) -> None:
    paths = [a.root for a in two]
    (whole,) = told("ready", *paths, "--application", "1000base-t")["rows"]
    assert whole["links"] == whole["cannot_be_told"] == 57  # the same labels in another archive are other links
    rows = told("ready", *paths, "--application", "1000base-t", "--by", "archive")["rows"]
    assert [(r["archive"], r["links"]) for r in rows] == [("one", 32), ("other", 25)]


def test_tables_of_no_rows_have_the_columns_of_full_ones(of_years: Path, tmp_path: Path) -> None:
    """Names and types alike, so that frames of several questions can be laid one under the other."""
    asked: dict[str, Callable[..., pa.Table]] = {
        "rates": lambda **f: muniment.rates(of_years, "cable_type,year", **f),
        "differences": lambda **f: muniment.rates(of_years, "cable_type", what="differences", **f),
        "told": lambda **f: muniment.rates(of_years, "quarter", what="told", **f),
        "failed": lambda **f: muniment.rates(of_years, "parameter,pairing,year", what="failed", **f),
        "ready": lambda **f: muniment.ready(of_years, "10gbase-t", "cable_type,year", **f),
        "curves": lambda **f: muniment.curves(of_years, "next", "cable_type", **f),
    }
    for name, ask in asked.items():
        full, none = ask(), ask(since="2090-01-01")
        assert full.num_rows and not none.num_rows, name
        assert none.schema == full.schema, name
    for words in (["--curves", "next"], ["--first-failure", "3"], ["--what-failed"], ["--trend", "year"], []):
        by = [] if "--trend" in words else ["--by", "cable_type"]
        for form in ("csv", "parquet"):
            heads = []
            for since in ([], ["--since", "2090-01-01"]):
                out = tmp_path / f"{form}-{len(heads)}"
                done = run("rates", of_years, *words, *by, *since, "--as", form, "--out", out)
                assert done.exit_code == 0, done.output
                heads.append(pq.read_schema(out) if form == "parquet" else out.read_text().splitlines()[0])
                out.unlink()
            assert heads[0] == heads[1], words
