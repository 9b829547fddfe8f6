"""muniment sql: documented views, nothing else can be read, nothing can be written."""

from __future__ import annotations

import csv
import json
from collections import Counter
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from archive import store
from archive.answers.views import Query, views
from archive.errors import Trouble
from archive.store import Archive
from archive.store.events import redact
from tests.rates import years
from tests.rates.test_counting import graded
from tests.rates.test_rates import run, told
from tests.store import store_making as making


@pytest.mark.parametrize("name", sorted(views()))
def test_every_view_has_the_columns_that_are_told(of_years: Path, archive: Archive, name: str) -> None:
    """On an archive of years, and on an empty one."""
    for path in (of_years, archive.root):
        document = told("sql", path, f"SELECT * FROM {name} LIMIT 2")
        assert document["columns"] == list(views()[name]["columns"])


def test_views_are_listed(of_years: Path) -> None:
    text = run("sql", of_years, "--views").stdout
    assert "links: One row per link" in text and "worst_margin_db: the worst margin, dB" in text
    assert set(told("sql", of_years, "--views")["views"]) == set(views())
    assert not {"people", "operator_key"} & set(views()) and "operator_key" not in views()["records"]["columns"]


def test_counts_agree_with_rates(of_years: Path) -> None:
    rows = told("rates", of_years, "--by", "cable_type")["rows"]
    found = told(
        "sql",
        of_years,
        "SELECT cable_type, count(outcome) AS n, count(*) FILTER (outcome = 'pass') AS x, "
        "count(*) FILTER (outcome = 'pass' AND first_outcome = 'fail') AS fixed FROM links GROUP BY ALL ORDER BY 1",
    )["rows"]
    assert [(r["cable_type"], r["links"], r["passed"], r["fixed"]) for r in rows] == [tuple(r.values()) for r in found]
    failing = told("sql", of_years, "SELECT count(DISTINCT unit) AS n FROM failures WHERE counts")["rows"][0]["n"]
    assert failing == told("rates", of_years, "--what-failed")["links"]


def test_bags_are_seen_as_they_are(of_years: Path) -> None:
    """Readings, curves and grades through SQL, against the tables read batch by batch."""
    opened = store.open(of_years)
    opened.catch_up()
    deposit = opened.db.execute("SELECT deposit FROM records WHERE evidence = 'full-sweep' LIMIT 1").fetchone()[0]
    batch = opened.record(f"{deposit}/3")
    with Query(
        opened,
        f'SELECT s.parameter, s."end", s.pairing, s.values, a.frequencies_mhz FROM sweeps s '
        f"JOIN axes a USING (deposit, axis_id) WHERE s.deposit = '{deposit}' AND s.position = 3",
    ) as query:
        got = {r[:3]: r[3:] for r in query.rows()}
    for sweep in batch["sweeps"].to_pylist():
        values, frequencies = got[sweep["parameter"], sweep["end"], sweep["pairing"]]
        assert values == sweep["values"] and frequencies == batch["axes"].to_pylist()[0]["frequencies_mhz"]
    grades = told("sql", of_years, f"SELECT * FROM grades WHERE deposit = '{deposit}' AND position = 3")["rows"]
    wanted = [{"deposit": deposit, "position": 3, **g} for g in batch["grades"].to_pylist()]
    assert Counter(map(json.dumps, grades)) == Counter(map(json.dumps, wanted))


@pytest.mark.parametrize(
    "sql",
    [
        "DELETE FROM records",
        "CREATE TABLE t AS SELECT 1",
        "COPY (SELECT 1) TO 'out.csv'",
        "COPY records TO '{bag}/data/index.parquet'",
        "ATTACH 'other.db'",
        "INSTALL httpfs",
        "LOAD httpfs",
        "SET enable_external_access = true",
        "PRAGMA version",
        "CALL pragma_version()",
        "EXPORT DATABASE 'out'",
        "SELECT 1; SELECT 2",
        "",
        "SELEKT 1",
        "SELECT * FROM read_text('{root}/archive.toml')",
        "SELECT * FROM read_parquet('{bag}/data/tables/people.parquet')",
        "SELECT * FROM '{bag}/data/tables/people.parquet'",
        "SELECT * FROM read_csv('/etc/passwd')",
        "SELECT * FROM glob('{root}/*')",
        "SELECT * FROM sqlite_scan('x', 'y')",
        "SELECT getenv('HOME')",
        "SELECT * FROM people",
        "SELECT nothing FROM links",
        "SELECT * FROM opened",
        "SELECT CAST('x' AS INTEGER) FROM links",
        "EXPLAIN COPY (SELECT 1) TO 'out.csv'",
        "EXPLAIN ANALYZE COPY (SELECT 1) TO 'out.csv'",
    ],
)
def test_nothing_else_can_be_read_and_nothing_written(
    of_years: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sql: str
) -> None:
    monkeypatch.chdir(tmp_path)
    opened = store.open(of_years)
    opened.catch_up()
    bag = opened.bag(opened.db.execute("SELECT deposit FROM deposits LIMIT 1").fetchone()[0])
    before = {p: p.stat().st_mtime_ns for p in bag.rglob("*")}
    result = run("sql", of_years, sql.format(bag=bag, root=of_years))
    assert isinstance(result.exception, Trouble), result.output
    assert "\n" not in str(result.exception)
    assert {p: p.stat().st_mtime_ns for p in bag.rglob("*")} == before
    assert list(tmp_path.iterdir()) == []


def test_a_query_may_be_explained(of_years: Path) -> None:
    assert run("sql", of_years, "EXPLAIN SELECT count(*) FROM links").exit_code == 0
    assert told("sql", of_years, "DESCRIBE links")["rows"][0]["column_name"] == "deposit"


def test_tables_for_other_tools(of_years: Path, tmp_path: Path) -> None:
    sql = "SELECT link_label, length_m, outcome FROM links ORDER BY ALL LIMIT 3000"
    want = told("sql", of_years, sql)["rows"]
    assert run("sql", of_years, sql, "--as", "parquet", "-o", tmp_path / "x.parquet").exit_code == 0
    assert pq.read_table(tmp_path / "x.parquet").to_pylist() == want
    assert run("sql", of_years, sql, "--as", "csv", "-o", tmp_path / "x.csv").exit_code == 0
    with (tmp_path / "x.csv").open(newline="") as file:
        assert [r["link_label"] for r in csv.DictReader(file)] == [r["link_label"] for r in want]
    assert isinstance(run("sql", of_years, sql, "-o", tmp_path / "y").exception, Trouble)


def test_printed_rows(of_years: Path) -> None:
    lines = run(
        "sql", of_years, "SELECT category, count(*) AS n FROM links GROUP BY ALL ORDER BY 1"
    ).stdout.splitlines()
    assert lines[0].split() == ["category", "n"]
    assert [line.split()[0] for line in lines[1:]] == ["cat6", "cat6a"]


def test_a_redacted_table_is_seen_as_what_replaced_it(archive: Archive) -> None:
    """A name in the comment of a job, say, that a person asked to be taken out: only the new table is read."""
    made = making.rows("A1")
    made["instruments"] = [{**making.UNIT}, making.FAR]
    receipt = making.deposit(archive, graded(made))
    assert receipt.entry is not None
    path = f"{receipt.entry['path']}/data/tables/instruments.parquet"
    table = pq.read_table(archive.root / path)
    changed = table.set_column(table.column_names.index("adapter"), "adapter", [["redacted"] * table.num_rows])
    other = archive.root.parent / "instead.parquet"
    pq.write_table(changed.cast(table.schema), other)
    redact.redact(archive, redact.of_file(archive, path, other), by="R. Ostrander", reason="a name in it")
    found = told("sql", archive.root, "SELECT DISTINCT adapter, model FROM instruments ORDER BY 2")["rows"]
    assert found == [{"adapter": "redacted", "model": "P-40"}, {"adapter": "redacted", "model": "P-40R"}]


def test_years_and_views_go_together(of_years: Path) -> None:
    crews = told("sql", of_years, "SELECT count(DISTINCT crew) AS n FROM jobs")["rows"][0]["n"]
    assert crews == len(told("rates", of_years, "--by", "crew")["rows"])
    assert told("sql", of_years, "SELECT count(*) AS n FROM deposits")["rows"][0]["n"] == years.JOBS


_FORMULAS = ["=1+1", "+1", "-1+x", "@SUM(A1)", "\tx", "\rx"]


def test_a_table_for_a_spreadsheet_holds_no_formula_and_everything_else_is_exact(
    of_years: Path, tmp_path: Path
) -> None:
    listed = ", ".join(f"('{f}', -1.5)" for f in [*_FORMULAS, "a=b"])
    sql = f'SELECT * FROM (VALUES {listed}) AS t("=name", n)'
    assert run("sql", of_years, sql, "--as", "csv", "-o", tmp_path / "x.csv").exit_code == 0
    with (tmp_path / "x.csv").open(newline="") as file:
        head, *rows = csv.reader(file)
    assert head == ["'=name", "n"]
    assert rows == [[text, "-1.5"] for text in [*(f"'{f}" for f in _FORMULAS), "a=b"]]
    assert [r["=name"] for r in told("sql", of_years, sql)["rows"]] == [*_FORMULAS, "a=b"]
    assert run("sql", of_years, sql, "--as", "parquet", "-o", tmp_path / "x.parquet").exit_code == 0
    assert pq.read_table(tmp_path / "x.parquet")["=name"].to_pylist() == [*_FORMULAS, "a=b"]


_ENDLESS = "WITH RECURSIVE t(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM t) SELECT count(*) FROM t"


@pytest.mark.parametrize(
    ("sql", "bound", "said"),
    [
        ("SELECT list(range) FROM range(500000000)", ("--memory", 200), "more than 200 MB"),
        ("SELECT length(repeat('x', 2000000000))", ("--memory", 200), "more than 200 MB"),
        (_ENDLESS, ("--time", 1), "more than 1 seconds"),
        ("SELECT a.range FROM range(100000) a, range(100000) b", ("--time", 1), "more than 1 seconds"),
    ],
)
@pytest.mark.parametrize("form", [(), ("--json",), ("--as", "csv"), ("--as", "parquet")])
def test_a_query_has_a_bound_of_memory_and_of_time(
    of_years: Path, tmp_path: Path, sql: str, bound: tuple[object, ...], said: str, form: tuple[str, ...]
) -> None:
    out = ("-o", tmp_path / "x") if "--as" in form else ()
    result = run("sql", of_years, sql, *bound, *form, *out)
    assert isinstance(result.exception, Trouble), result.output
    assert said in str(result.exception) and "--" in result.exception.remedy
    assert list(tmp_path.iterdir()) == []
