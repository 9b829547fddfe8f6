"""muniment export-data: what other tools read, and what is not in it."""

from __future__ import annotations

import json
from pathlib import Path

import duckdb
import pandas as pd
import pytest

from archive.answers.rates.table import table
from archive.errors import Trouble
from tests.rates import years
from tests.rates.test_rates import run, told


@pytest.fixture(scope="module")
def exported(of_years: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The archive of seven years as a folder."""
    out = tmp_path_factory.mktemp("export") / "data"
    document = told("export-data", of_years, "--to", out)
    assert document["rows"]["links"] == sum(years.numbers().values())
    assert document["withheld"] == {"jobs": 0, "links": 0}
    return out


def test_pandas_counts_the_same_rates(exported: Path, of_years: Path) -> None:
    frame = pd.read_parquet(exported / "links.parquet")
    mine = frame.groupby("cable_type").agg(links=("outcome", "count"), jobs=("job_id", "nunique"))
    want = table(of_years, "cable_type")
    assert mine["links"].to_dict() == dict(
        zip(*(want.column(c).to_pylist() for c in ("cable_type", "links")), strict=True)
    )
    assert mine["jobs"].to_dict() == dict(
        zip(*(want.column(c).to_pylist() for c in ("cable_type", "jobs")), strict=True)
    )
    assert str(frame["tested_time"].dtype).startswith("datetime64")
    assert set(frame["quarter"].str[4:6]) == {"-Q"}


def test_nothing_tells_whose_records_they_are(exported: Path, of_years: Path) -> None:
    hidden = {"link_label", "site", "client", "source_id", "name", "zone", "comment", "confirmed_by"}
    secret = set()
    db = duckdb.connect()
    tables = f"{of_years}/deposits/*/*/data/tables"
    for column, name in (("link_label", "records"), ("job_id", "records"), ("site", "jobs"), ("crew", "jobs")):
        secret |= {
            r[0] for r in db.execute(f"SELECT DISTINCT {column} FROM '{tables}/{name}.parquet'").fetchall() if r[0]
        }
    assert len(secret) > 1000
    for path in exported.glob("*.parquet"):
        frame = pd.read_parquet(path)
        assert not hidden & set(frame.columns)
        for column in frame.select_dtypes(include=["object", "string"]):
            assert not secret & set(frame[column].dropna().unique()), (path.name, column)


def test_every_column_has_its_meaning_and_tables_join(exported: Path) -> None:
    told_of = json.loads((exported / "schema.json").read_text())["views"]
    assessed = {"assessed_verdicts", "assessed_grades"}
    assert set(told_of) == {"records", "links", "parameters", "failures", "jobs"} | assessed
    assert all(told_of[v]["rows"] == 0 and "margin" in told_of[v]["columns"] for v in assessed)  # nothing was regraded
    assert all(c["meaning"] and c["type"] for v in told_of.values() for c in v["columns"].values())
    joined = duckdb.execute(
        f"SELECT count(*) FROM '{exported}/failures.parquet' f JOIN '{exported}/records.parquet' r "
        "USING (deposit, position)"
    ).fetchall()[0][0]
    assert joined == told_of["failures"]["rows"] > 0
    jobs = pd.read_parquet(exported / "links.parquet")["job_id"].nunique()
    assert jobs == years.JOBS


def test_one_duckdb_file_and_what_is_included(of_years: Path, tmp_path: Path) -> None:
    out = tmp_path / "data.duckdb"
    assert run("export-data", of_years, "--to", out, "--include", "sites,jobs", "--least-links", "100").exit_code == 0
    with duckdb.connect(str(out), read_only=True) as db:
        small = [n for n, count in years.numbers().items() if count < 100]
        jobs, sites = db.execute("SELECT count(DISTINCT job_id), count(DISTINCT site) FROM links").fetchall()[0]
        assert jobs == years.JOBS - len(small) and sites > 1
        assert db.execute("SELECT count(*) FROM links WHERE job_id NOT LIKE 'SIM-%'").fetchall() == [(0,)]
        assert (
            db.execute("SELECT comment FROM duckdb_columns() WHERE column_name = 'crew' AND comment IS NULL").fetchall()
            == []
        )
    for words in (["--to", out], ["--to", tmp_path / "x", "--include", "colour"], ["--to", of_years]):
        assert isinstance(run("export-data", of_years, *words).exception, Trouble)
