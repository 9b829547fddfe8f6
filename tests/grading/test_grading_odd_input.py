"""Any batch that fits the tables is graded without an error: odd text, odd numbers, anything missing."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from archive.grading import grade
from archive.grading.document import documents
from archive.grading.wording import lines
from tests import strategies
from tests.grading.making import CAT6A, CLASS_EA, batch, record

# What another test left to the collector of garbage is raised in whichever test runs then, and is not of this one.
pytestmark = [
    pytest.mark.filterwarnings("error"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]
LIMITS = [CAT6A, CLASS_EA, "tia-568-b/cat5e/channel", "ieee-802.3/poe-type-3", "tia-568.2-d/cat8/channel"]
calm = settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))


def sound(graded, per_record):
    assert graded["verdicts"].num_rows == len(graded) * per_record
    for name in ("value", "limit", "margin", "frequency_mhz"):
        column = graded["grades"].column(name).to_numpy(zero_copy_only=False)
        assert not np.isinf(column).any()
    for document in documents(graded):
        assert all(isinstance(line, str) for line in lines(document, True))


@calm
@given(strategies.batches())
def test_any_sound_batch(given_batch):
    sound(grade(given_batch), 1)
    sound(grade(given_batch, LIMITS), len(LIMITS))


@calm
@given(st.data())
def test_odd_numbers_in_a_whole_record(data):
    part = record(data.draw(st.sampled_from(LIMITS[:3])))
    for _ in range(data.draw(st.integers(1, 4))):
        row = part["sweeps"][data.draw(st.integers(0, len(part["sweeps"]) - 1))]
        row["values"][data.draw(st.integers(0, len(row["values"]) - 1))] = data.draw(
            st.one_of(st.none(), strategies.numbers)
        )
    part["readings"][data.draw(st.integers(0, 7))]["value"] = data.draw(strategies.numbers)
    sound(grade(batch(part)), 1)


def test_curves_that_cannot_be_used_are_missing():
    """A curve with more values than its axis has points, a pairing nobody knows: not used, and not an error."""
    part = record(CAT6A)
    part["sweeps"][0]["values"] = part["sweeps"][0]["values"][:-1]
    part["sweeps"][5]["pairing"] = "2-1"
    graded = grade(batch(part))
    (found,) = graded["verdicts"].to_pylist()
    assert found["verdict"] == "not graded"
    assert found["reason"] == (
        "insertion loss, PS ACR-F: covers 3 of 4 pairs; return loss: covers 3 local and 4 remote of 4 pairs; "
        "ACR-F: covers 9 of 12 combinations"
    )
