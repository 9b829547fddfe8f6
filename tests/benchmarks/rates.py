"""Pass rates as a whole command against a bare DuckDB query and a pandas script on one Parquet file; and reindex.

The peers get one Parquet file of the same records, with what stands worked out for them already; DuckDB as a user would
type it, in a fresh process. "same question" asks it for all that rates counts but the differences; "simple" for links
and passes alone. Every run is a fresh process; ours and theirs take turns. What is compared is processor time, which
other work on the machine moves little, with code compiled as an installation leaves it.
"""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from archive import store
from archive.store.counting.blocks import counting
from tests.benchmarks._tiled import tiled

BY = ("category", "cable_type,year", "quarter", "site", "crew,length_band", "serial", "parameter")
ROUNDS = 5

BARE = """
import duckdb, json, sys
print(json.dumps(duckdb.execute(sys.argv[1]).fetchall()))
"""
PANDAS = """
import json, sys
import pandas as pd
t = pd.read_parquet(sys.argv[1], columns=["cable_type", "current", "outcome", "worst_margin_db"])
t = t[t["current"]]
t["passed"] = t["outcome"] == "pass"
g = t.groupby("cable_type")
g = g.agg(links=("outcome", "count"), passed=("passed", "sum"), median=("worst_margin_db", "median"))
print(json.dumps(g.reset_index().values.tolist()))
"""
SIMPLE = (
    "SELECT {keys}, count(outcome) AS links, count(*) FILTER (outcome = 'pass') AS passed "
    "FROM '{file}' r WHERE current GROUP BY ALL ORDER BY ALL"
)
SAME = (
    "SELECT {keys}, count(outcome) FILTER (current) AS links, "
    "count(*) FILTER (current AND outcome = 'pass') AS passed, "
    "count(outcome) FILTER (first) AS first_links, count(*) FILTER (first AND outcome = 'pass') AS first_passed, "
    "count(*) FILTER (current AND outcome = 'pass' AND first_outcome = 'fail') AS fixed, count(*) AS tests, "
    "count(*) FILTER (current AND outcome IS NULL) AS not_graded, "
    "count(*) FILTER (current AND outcome = 'pass' AND marginal) AS marginal, "
    "count(*) FILTER (current AND provisional AND evidence = 'full-sweep') AS provisional, "
    "quantile_cont(worst_margin_db, [0.05, 0.5]) FILTER (current) AS margins "
    "FROM '{file}' r WHERE unit IS NOT NULL GROUP BY ALL ORDER BY ALL"
)
OF_PARAMETER = (
    "SELECT parameter, count(*) FILTER (current AND evidence = 'worst-points') AS links, "
    "count(*) FILTER (current AND margin >= 0) AS passed, quantile_cont(margin, [0.05, 0.5]) FILTER (current) "
    "FROM '{long}' GROUP BY ALL ORDER BY ALL"
)


def run(sizes: tuple[int, ...], quick: bool) -> list[dict[str, Any]]:
    """Rows for the largest size (1,000,000 records in 5,000 bags with --large; else 100,000 in 500)."""
    records = 4_000 if quick else 1_000_000 if max(sizes) >= 1_000_000 else 100_000
    bags = 20 if quick else records // 200
    with tempfile.TemporaryDirectory() as folder:
        return measured(Path(folder), records, bags, 1 if quick else ROUNDS, (*BY[:2], "parameter") if quick else BY)


def measured(folder: Path, records: int, bags: int, rounds: int, groupings: tuple[str, ...]) -> list[dict[str, Any]]:
    """Builds, reindexes, asks."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    environment |= {"MUNIMENT_CACHE": str(folder / "cache"), "PYTHONPYCACHEPREFIX": str(folder / "compiled")}
    path = folder / "archive"
    if not path.exists():
        tiled(path, records, bags)
    began = time.perf_counter()
    made = _process([sys.executable, "-m", "tests.benchmarks._timed", "reindex", str(path), "--json"], environment)
    rows: list[dict[str, Any]] = [
        {
            "what": "reindex",
            "records": json.loads(made.stdout)["records"],
            "bags": bags,
            "minutes": (time.perf_counter() - began) / 60,
            "peak_gb": json.loads(made.stderr.strip().splitlines()[-1])["peak"] / 1e9,
        }
    ]
    return rows + asked(path, environment, folder, rounds, groupings)


def asked(
    path: Path, environment: dict[str, str], folder: Path, rounds: int, groupings: tuple[str, ...]
) -> list[dict[str, Any]]:
    """Ours against the peers, for each grouping."""
    one, long = _one_file(path, environment, folder)
    rows = []
    for by in groupings:
        ours = [sys.executable, "-c", "from archive.cli import main; main()", "rates", str(path), "--by", by, "--json"]
        plain = [*ours, "--compare", "none"]
        simple, same = _questions(by, one, long)
        asked_of = {
            "ours": ours,
            "ours, no comparison": plain,
            "same question": [sys.executable, "-c", BARE, same],
            "simple": [sys.executable, "-c", BARE, simple],
        }
        if by == "cable_type,year":
            asked_of["pandas"] = [sys.executable, "-c", PANDAS, str(one)]
        spent: dict[str, list[float]] = {name: [] for name in asked_of}
        said: dict[str, Any] = {}
        for _ in range(rounds + (rounds > 1)):
            for name, words in asked_of.items():
                began = _processor_time()
                said[name] = json.loads(_process(words, environment).stdout)
                spent[name].append(_processor_time() - began)
        took = {name: statistics.median(s[1:] or s) for name, s in spent.items()}
        timed = [sys.executable, "-m", "tests.benchmarks._timed", *ours[3:]]
        peak = json.loads(_process(timed, environment).stderr.strip().splitlines()[-1])["peak"]
        rows.append(
            {
                "what": "rates",
                "by": by,
                "agrees": _agree(by, said["ours"]["rows"], said["same question"]),
                "ours_cpu_s": took["ours"],
                "peak_gb": peak / 1e9,
                "to_same_question": took["ours"] / took["same question"],
                "to_simple": took["ours"] / took["simple"],
                "no_comparison_to_same": took["ours, no comparison"] / took["same question"],
                "no_comparison_to_simple": took["ours, no comparison"] / took["simple"],
                "pandas_to_ours": took["pandas"] / took["ours"] if "pandas" in took else None,
            }
        )
    return rows


def _questions(by: str, one: Path, long: Path) -> tuple[str, str]:
    if by == "parameter":
        asked_for = OF_PARAMETER.format(long=long)
        return asked_for, asked_for
    exprs = {
        "quarter": "year * 4 + (month - 1) // 3 AS quarter",
        "serial": "local_serial AS serial",
        "length_band": " + ".join(f"(length_m > {m})::INT" for m in (15, 30, 45, 60, 75, 90, 100)) + " AS length_band",
    }
    keys = ", ".join(exprs.get(name, name) for name in by.split(","))
    return SIMPLE.format(keys=keys, file=one), SAME.format(keys=keys, file=one)


def _agree(by: str, ours: list[dict[str, Any]], theirs: list[list[Any]]) -> bool:
    """Whether links, passes and the rest are the same, group by group."""
    count = len(by.split(","))
    names = (
        ("links", "passed")
        if by == "parameter"
        else (
            "links",
            "passed",
            "first_links",
            "first_passed",
            "fixed",
            "tests",
            "not_graded",
            "marginal",
            "provisional",
        )
    )
    return sorted([r[n] for n in names] for r in ours) == sorted(t[count : count + len(names)] for t in theirs)


def _one_file(path: Path, environment: dict[str, str], folder: Path) -> tuple[Path, Path]:
    """All records in one Parquet file, and one row per record and parameter in another, as DuckDB writes them."""
    import duckdb

    kept = os.environ.get("MUNIMENT_CACHE")
    os.environ["MUNIMENT_CACHE"] = environment["MUNIMENT_CACHE"]
    try:
        files = counting(store.open(path))
    finally:
        os.environ.pop("MUNIMENT_CACHE") if kept is None else os.environ.update(MUNIMENT_CACHE=kept)
    listed = [str(p) for p in files.records]
    one, long = folder / "one.parquet", folder / "long.parquet"
    duckdb.execute(
        "COPY (SELECT * EXCLUDE (state, state_program, state_reported) "
        f"FROM read_parquet({listed}, union_by_name=true)) TO '{one}' (FORMAT parquet, COMPRESSION zstd)"
    )
    parts = " UNION ALL ".join(
        f"SELECT '{p}' AS parameter, current, first, evidence, margin_{p} AS margin FROM '{one}' "
        f"WHERE graded_{p} IS NOT NULL AND unit IS NOT NULL"
        for p in files.parameters
    )
    duckdb.execute(f"COPY ({parts}) TO '{long}' (FORMAT parquet, COMPRESSION zstd)")
    return one, long


def _processor_time() -> float:
    """Seconds that all processes so far have had of the processor."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _process(words: list[str], environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(words, env=environment, capture_output=True, text=True, check=True)
