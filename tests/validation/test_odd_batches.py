"""Whatever stands in the tables, no rule fails: odd texts, odd numbers, odd axes, rows that refer to nothing."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from archive.tables import Batch, schema
from archive.validation.check import run
from archive.validation.job import JobCheck
from archive.validation.report import Collected, document, lines, sarif
from tests import strategies

TODAY = dt.date(2026, 11, 25)
ODD = settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
)


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@ODD
@given(strategies.batches())
def test_no_rule_fails(batch: Batch) -> None:
    batch = batch.replace(findings=schema("findings").empty_table())
    with np.errstate(all="ignore"):
        outcome = run(batch, today=TODAY)
        job = JobCheck(today=TODAY)
        job.add(batch)
        whole = job.finish(lambda _: [batch])
    faults = [*outcome.faults, *whole.faults]
    assert not faults, faults[0].traceback
    collected = Collected()
    collected.add_batch(batch, outcome.findings)
    collected.add(whole.findings, (), whole.places)
    document(collected, whole.summary.counts)
    sarif(collected)
    assert all(line for line in lines(collected))


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@ODD
@given(strategies.batches(), st.data())
def test_the_same_batch_gives_the_same_findings(batch: Batch, data: st.DataObject) -> None:
    """Twice the same; and a record alone raises what it raises among others."""
    batch = batch.replace(findings=schema("findings").empty_table(), set_aside=schema("set_aside").empty_table())
    with np.errstate(all="ignore"):
        first = run(batch, today=TODAY).findings
        assert run(batch, today=TODAY).findings.equals(first)
        ids = batch["records"].column("record_id").to_pylist()
        if not ids:
            return
        one = data.draw(st.sampled_from(ids))
        alone = run(batch.select([one]), today=TODAY).findings
    mine = [f for f in first.to_pylist() if f["record_id"] == one]
    assert sorted(map(str, mine)) == sorted(map(str, alone.to_pylist()))
