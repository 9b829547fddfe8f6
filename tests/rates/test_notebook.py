"""The notebook of fixtures/notebooks: every cell runs, and counts what `muniment rates` counts."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import muniment
import pytest

from archive.answers.inference import jobs as of_jobs
from tests.rates.test_rates import told

NOTEBOOK = Path(__file__).parents[2] / "fixtures/notebooks/pass_rates.ipynb"


def cells(kind: str) -> list[str]:
    """Sources of the cells of one kind, in order."""
    document = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
    assert document["nbformat"] == 4
    assert all(c["outputs"] == [] for c in document["cells"] if c["cell_type"] == "code")  # of nobody's archive
    return ["".join(c["source"]) for c in document["cells"] if c["cell_type"] == kind]


@pytest.fixture
def space(of_years: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the names of the notebook stand for after its last cell."""
    told("export-data", of_years, "--to", tmp_path / "data")
    monkeypatch.chdir(tmp_path)
    names: dict[str, Any] = {"__name__": "notebook"}
    for number, source in enumerate(cells("code")):
        exec(compile(source, f"{NOTEBOOK.name}, code cell {number + 1}", "exec"), names)
    return names


def test_the_notebook_counts_what_the_command_counts(space: dict[str, Any], of_years: Path) -> None:
    table = muniment.rates(of_years, "cable_type")
    want = {r["cable_type"]: r for r in table.to_pylist()}
    for name, frame, counts in (
        ("first_time", space["first_time"], ("first_links", "first_passed", "first_jobs")),
        ("final", space["final"], ("links", "passed", "jobs")),
    ):
        assert set(frame.index) == set(want), name
        for cable, row in frame.iterrows():
            assert [row["links"], row["passed"], row["jobs"]] == [want[cable][c] for c in counts]
    assert space["in_sql"]["passed"].tolist() == space["first_time"]["passed"].tolist()


def test_the_correlation_within_jobs_is_that_of_the_estimate(space: dict[str, Any]) -> None:
    codes = space["n"].index.get_level_values(0)
    order = {word: i for i, word in enumerate(dict.fromkeys(codes))}
    made = of_jobs.JobCounts.of([order[c] for c in codes], space["n"].to_numpy(), space["x"].to_numpy())
    assert space["correlation"] == pytest.approx(float(of_jobs.scatter(made).over_all.correlation), rel=1e-12)


def test_the_bad_lot_and_what_failed_are_found(space: dict[str, Any], of_years: Path) -> None:
    cable, begin = space["worst"]
    assert (cable, str(begin)[:7]) == ("cat6a/f-utp/awg23/solid", "2022-04")
    failed = {r["parameter"]: r["links"] for r in told("rates", of_years, "--what-failed")["rows"]}
    assert space["by_parameter"]["links"].to_dict() == failed
    assert space["margins"]["5 %"].notna().all()
    assert "tests of the project run every cell" in cells("markdown")[0]
