"""A bug that one record brings out costs that record alone."""

import pytest

from archive.errors import Trouble
from archive.grading import alien, comparison, grade, grade_curves, grader, judgement, wire_map
from archive.tables import identical
from tests.grading.making import CAT5, batch, record, verdict

STAGES = [
    (alien, "with_power_sums"),
    (grade_curves, "grade_layout"),
    (grader, "grade_scalars"),
    (comparison, "compare"),
    (wire_map, "faults"),
    (judgement, "by_record"),
    (grader, "verdicts"),
]


def links(*ids):
    return batch(*(record(CAT5, record_id=key, link=key) for key in ids))


@pytest.mark.parametrize(("owner", "name"), STAGES)
@pytest.mark.parametrize("against", [None, CAT5])
def test_a_fault_in_any_stage_costs_the_record_that_brings_it_out(monkeypatch, owner, name, against):
    expected = grade(links("re-1", "re-3"), against)
    right, right_input, here = getattr(owner, name), grader.GradingInput, []

    def remembering(data):
        here[:] = data["records"].column("record_id").to_pylist()
        return right_input(data)

    def spoilt(*arguments):
        if "re-2" in here:
            raise IndexError("planted")
        return right(*arguments)

    monkeypatch.delenv("MUNIMENT_TRACEBACK", raising=False)
    monkeypatch.setattr(grader, "GradingInput", remembering)
    monkeypatch.setattr(owner, name, spoilt)
    found = grade(links("re-1", "re-2", "re-3"), against)
    first, fault, last = found["verdicts"].to_pylist()
    assert [first["verdict"], fault["verdict"], last["verdict"]] == ["pass", "not graded", "pass"]
    assert (fault["record_id"], fault["link_label"]) == ("re-2", "re-2")
    assert fault["reason"].startswith("fault of this program in grading: IndexError: planted")
    assert identical(found["verdicts"].take([0, 2]).combine_chunks(), expected["verdicts"].combine_chunks())
    assert identical(found["grades"].combine_chunks(), expected["grades"].combine_chunks())


def test_an_unknown_limit_is_trouble_and_no_fault():
    with pytest.raises(Trouble):
        grade(links("re-1"), "no-such-limit")


def test_a_batch_without_records_has_no_verdicts():
    assert not grade(batch({"records": []}))["verdicts"].num_rows
    assert verdict(grade(links("re-1")))["verdict"] == "pass"
