"""An independent count: DuckDB over the raw Parquet of the bags, with SQL that knows nothing of the catalogue."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest

from archive import store
from archive.answers.rates.rates import rates
from archive.store import Archive
from tests.rates import years

RAW = """
WITH verdicts AS (
    SELECT record_id, verdict FROM read_parquet('{root}/deposits/*/*/data/tables/verdicts.parquet')
), tests AS (
    SELECT r.record_id, r.link_label, j.site, j.crew, r.cable_type, r.configuration, r.tested_at,
        split_part(r.cable_type, '/', 2) AS construction, year(CAST(r.tested_local AS TIMESTAMP)) AS year, i.model,
        CASE WHEN r.evidence = 'full-sweep' THEN v.verdict ELSE r.reported_verdict END AS outcome
    FROM read_parquet('{root}/deposits/*/*/data/tables/records.parquet') r
    JOIN verdicts v USING (record_id)
    JOIN (SELECT DISTINCT job_id, site, crew FROM read_parquet('{root}/deposits/*/*/data/tables/jobs.parquet')) j
        USING (job_id)
    JOIN (SELECT DISTINCT instrument_id, model
        FROM read_parquet('{root}/deposits/*/*/data/tables/instruments.parquet')) i
        ON i.instrument_id = r.local_instrument_id
), ranked AS (
    SELECT *, row_number() OVER (PARTITION BY site, link_label ORDER BY tested_at) AS nth,
        row_number() OVER (PARTITION BY site, link_label ORDER BY tested_at DESC) AS back
    FROM tests
)
SELECT {field}, count(*) FILTER (back = 1 AND outcome IN ('pass', 'fail')),
    count(*) FILTER (back = 1 AND outcome = 'pass'),
    count(*) FILTER (nth = 1 AND outcome IN ('pass', 'fail')),
    count(*) FILTER (nth = 1 AND outcome = 'pass'), count(*)
FROM ranked GROUP BY {field} ORDER BY {field}
"""


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    """The archive of years, smaller: twelve links of every job."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(tmp_path_factory.mktemp("cache")))
        patch.setattr("os.fsync", lambda _handle: None)
        yield years.build(tmp_path_factory.mktemp("years") / "certificates", links=12)


@pytest.fixture(autouse=True)
def own_user(archive: Archive) -> Archive:
    """The same cache for all tests here."""
    return archive


@pytest.mark.parametrize("field", ["cable_type", "construction", "year", "site", "crew", "model", "configuration"])
def test_the_same_counts_from_the_raw_files(archive: Archive, field: str) -> None:
    raw = duckdb.execute(RAW.format(root=archive.root, field=field)).fetchall()
    found = rates(store.open(archive.root), [field]).rows
    names = (field, "links", "passed", "first_links", "first_passed", "tests")
    assert [tuple(r[n] for n in names) for r in found] == raw
    assert len(raw) > 1 or field == "configuration"


def test_it_holds_for_a_copy_that_was_moved(archive: Archive, tmp_path: Path) -> None:
    """The cache goes by the archive's id, not by its path."""
    import shutil

    moved = tmp_path / "moved"
    shutil.copytree(archive.root, moved)
    assert rates(store.open(moved), ["year"]).rows == rates(store.open(archive.root), ["year"]).rows
