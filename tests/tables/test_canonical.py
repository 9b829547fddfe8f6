"""Digests of records are the SHA-256 of their canonical bytes, those of long curves too."""

from __future__ import annotations

import hashlib

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from archive.tables import Batch, axis_row, number
from archive.tables.canonical import record_bytes, record_digests
from tests.formats import conformance_kit as kit
from tests.strategies import batches


@settings(max_examples=25, deadline=None)
@given(batches())
@example(Batch.from_rows(kit.every_table()))
@example(Batch.from_rows(kit.texts()))
def test_a_digest_is_the_sha256_of_the_canonical_bytes(batch: Batch) -> None:
    assert record_digests(batch) == _plainly(batch)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_long_lists_of_numbers_stand_in_their_lexical_form(seed: int) -> None:
    """Invented curves of one batch: at 0.1 dB, of any double, with gaps, with minus zero, and one without a point."""
    chance = np.random.default_rng(seed)
    wild = chance.integers(0, 2**64, 700, dtype=np.uint64).view(float)
    wild[~np.isfinite(wild)] = 0.0
    axis, short = axis_row((1.0 + np.arange(700)).tolist()), axis_row([])
    curves: list[list[float | None]] = [
        np.round(chance.uniform(-5, 90, 700), 1).tolist(),
        wild.tolist(),
        [None if n % 3 else -0.0 for n in range(700)],
        [],
    ]
    sweep = {"parameter": "next", "origin": "measured"}
    batch = Batch.from_rows(
        {
            "axes": [axis, short],
            "records": [{"record_id": r, "evidence": "full-sweep"} for r in ("a", "b")],
            "sweeps": [
                {**sweep, "record_id": r, "axis_id": (axis if v else short)["axis_id"], "values": v}
                for r in ("a", "b")
                for v in curves
            ],
        }
    )
    texts = [" ".join("-" if v is None else number(v) for v in curve) for curve in curves]
    for canonical in record_bytes(batch):
        for text in texts:
            assert f">{text}</".encode() in canonical
    assert record_digests(batch) == _plainly(batch)


def _plainly(batch: Batch) -> list[str]:
    return [f"link-record-1:{hashlib.sha256(r).hexdigest()}" for r in record_bytes(batch)]
