"""Batches joined, cut and put in order lose nothing."""

from __future__ import annotations

import pyarrow as pa
from hypothesis import assume, given, settings

from archive.tables import MOST_RECORDS, Batch, axis_row, concat, cut, ordered, pieces, rebatch
from tests.strategies import batches

AXIS = axis_row([1.0, 2.0])


def _batch(*ids: str, axis: dict[str, object] = AXIS) -> Batch:
    """Invented records with two sweeps each, and one statement each; the rows stand in turned order."""
    sweep = {"parameter": "next", "origin": "measured", "axis_id": axis["axis_id"]}
    finding = {"rule": "a", "severity": "error", "status": "raised", "message": "m"}
    return Batch.from_rows(
        {
            "axes": [axis],
            "records": [{"record_id": i, "evidence": "full-sweep"} for i in ids],
            "sweeps": [{"record_id": i, "values": [n, n], **sweep} for n in (0.0, 1.0) for i in reversed(ids)],
            "findings": [finding, *({"record_id": i, **finding} for i in reversed(ids))],
        }
    )


def test_rows_are_put_in_the_order_of_their_records() -> None:
    batch = ordered(_batch("a", "b"))
    assert batch["sweeps"].column("record_id").to_pylist() == ["a", "a", "b", "b"]
    assert batch["sweeps"].column("values").to_pylist() == [[0, 0], [1, 1], [0, 0], [1, 1]]
    assert batch["findings"].column("record_id").to_pylist() == ["a", "b", None]


def test_what_is_in_order_stays_the_same_object() -> None:
    batch = ordered(_batch("a", "b"))
    assert ordered(batch) is batch


@settings(max_examples=20, deadline=None)
@given(batches())
def test_a_batch_cut_in_two_joins_to_itself(batch: Batch) -> None:
    assume(len(batch))
    middle = len(batch) // 2
    assert concat([cut(batch, 0, middle), cut(batch, middle, len(batch))]).equals(batch)


def test_shared_rows_are_kept_once() -> None:
    other = axis_row([1.0, 3.0])
    joined = concat([_batch("a"), _batch("b"), _batch("c", axis=other)])
    assert joined["axes"].column("axis_id").to_pylist() == [AXIS["axis_id"], other["axis_id"]]


def test_shared_rows_with_one_key_and_other_facts_are_both_kept() -> None:
    one, two = ({"job_id": "J", "site": s} for s in ("here", "there"))
    joined = concat(
        [Batch.from_rows({"jobs": [one]}), Batch.from_rows({"jobs": [two]}), Batch.from_rows({"jobs": [one]})]
    )
    assert joined["jobs"].column("site").to_pylist() == ["here", "there"]


def test_pieces_hold_few_points_and_together_everything() -> None:
    batch = ordered(_batch(*"abcde"))
    parts = list(pieces(batch, points=8))
    assert [len(p) for p in parts] == [2, 2, 1]
    assert concat(parts).equals(batch)


def test_small_batches_are_joined_and_none_is_cut() -> None:
    many = [_batch(f"r{i}") for i in range(MOST_RECORDS + 5)]
    joined = list(rebatch(many))
    assert [len(b) for b in joined] == [MOST_RECORDS, 5]
    assert pa.concat_tables([b["records"] for b in joined]).num_rows == MOST_RECORDS + 5
