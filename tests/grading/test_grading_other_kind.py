"""A limit of copper links says nothing of an optical one, whatever its wire map or length would come to."""

from __future__ import annotations

from archive.grading import grade
from archive.tables import Batch

COPPER = "tia-568.2-d/cat6a/permanent-link"
RECORD = "re-" + "0" * 32


def test_an_optical_record_is_not_graded_against_a_limit_of_copper() -> None:
    """Its crossed fibers are no crossed conductors: two of twelve such links came out as failing."""
    batch = Batch.from_rows(
        {
            "records": [{"record_id": RECORD, "medium": "fiber", "link_label": "OM-1", "evidence": "verdict-only"}],
            "readings": [{"record_id": RECORD, "quantity": "length", "value": 120.0, "origin": "measured"}],
            "wiremap": [
                {"record_id": RECORD, "near": "A", "far": "B"},
                {"record_id": RECORD, "near": "B", "far": "A"},
            ],
        }
    )
    graded = grade(batch, against=COPPER)
    (verdict,) = graded["verdicts"].to_pylist()
    assert (verdict["limit_id"], verdict["verdict"]) == (COPPER, "not graded")
    assert verdict["reason"] == "a limit of copper links; this record is of an optical one"
    assert len(graded["grades"]) == 0
