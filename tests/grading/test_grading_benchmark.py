"""The benchmark works, and the pandas script grades as we do. No time is asserted."""

import pyarrow as pa
import pytest

from archive.demo.simulator import simulate
from archive.grading import grade
from tests.benchmarks import __main__ as runner
from tests.benchmarks import grading


@pytest.mark.parametrize(
    ("category", "limit"),
    [
        ("cat6a", "tia-568.2-d/cat6a/permanent-link"),
        ("cat6a", "tia-568.2-d/cat6a/channel"),
        ("cat5e", "tia-568.2-d/cat5e/permanent-link"),
        ("cat6", "tia-568-c.2/cat6/channel"),
    ],
)
def test_the_pandas_script_finds_the_same_worst_points(category, limit):
    batch = next(simulate(3, 4, category=category))
    if limit.endswith("channel"):  # a link measured as one would be judged with cords added
        column = pa.array(["channel"] * len(batch), pa.string())
        records = batch["records"]
        batch = batch.replace(
            records=records.set_column(records.column_names.index("configuration"), "configuration", column)
        )
    curves, off = grading.agreement(batch, limit)
    assert curves == 3 * 96
    assert off < 2e-9  # we state nine decimals


def test_bare_numpy_finds_the_same_worst_margins():
    batch = next(simulate(4, 2))
    bare = grading.bare_numpy(grading.Arrays(batch))
    overall = {}
    for row in grade(batch, grading.LIMIT)["grades"].to_pylist():
        if row["kind"] == "overall":
            overall.setdefault(row["parameter"], []).append(row["margin"])
    for parameter, (_, margins, _, _) in bare.items():
        assert overall[parameter] == pytest.approx(margins.min(axis=1).tolist(), abs=2e-9), parameter


def test_the_quick_form_and_the_runner(capsys, tmp_path):
    assert runner.main(["--quick", "--out", str(tmp_path), "grading"]) == 0
    assert "times_pandas" in capsys.readouterr().out
    assert (tmp_path / "benchmarks.json").is_file() and (tmp_path / "benchmarks.txt").is_file()
