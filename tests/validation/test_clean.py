"""Clean jobs raise no error: simulated, physical, of every category; a small number of links here, 10,000 by hand.

python -m tests.validation.test_clean 10000
"""

from __future__ import annotations

import sys
from collections import Counter
from typing import Any

import pytest

from archive import grading
from archive.demo.simulator import simulate
from archive.validation.check import run
from archive.validation.job import JobCheck

KINDS = [
    ({"category": "cat6a"}, 96),
    ({"category": "cat6a", "configuration": "channel", "derived": True}, 48),
    ({"category": "cat6a", "bundle_correlation": 0.9, "equal_lengths": True, "repeat_share": 0.1}, 96),
    ({"category": "cat6", "construction": "u-utp", "step": 0.01}, 48),
    ({"category": "cat5e", "step": None}, 96),
]


def errors(links: int, seed: int, **options: Any) -> Counter[tuple[str, str]]:
    """Errors by rule, and one message each, of a simulated job graded, checked and compared as a whole."""
    found: Counter[tuple[str, str]] = Counter()

    def batches() -> Any:
        return simulate(links, seed, **options)

    job = JobCheck()
    for batch in batches():
        batch = grading.grade(batch)
        outcome = run(batch)
        assert not outcome.faults, outcome.faults[0].traceback
        _count(outcome.findings, found)
        job.add(batch)
    whole = job.finish(lambda _: batches())
    assert not whole.faults, whole.faults[0].traceback
    _count(whole.findings, found)
    return found


def _count(table: Any, found: Counter[tuple[str, str]]) -> None:
    for row in table.to_pylist():
        if row["severity"] == "error":
            found[row["rule"], row["message"]] += 1


@pytest.mark.parametrize(("options", "links"), KINDS, ids=lambda x: str(x) if isinstance(x, dict) else "")
def test_a_clean_job_raises_no_error(options: dict[str, Any], links: int) -> None:
    assert errors(links, seed=20, **options) == Counter()


if __name__ == "__main__":
    for options, _ in KINDS[: int(sys.argv[2]) if len(sys.argv) > 2 else None]:
        made = errors(int(sys.argv[1]), seed=21, **options)
        print(options, sum(made.values()), "errors", list(made)[:5])
