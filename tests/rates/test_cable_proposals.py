"""What the figures of links fit: ranked for words that nobody knows, and never settled."""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa
import pytest

from archive.answers import cables
from archive.demo.simulator import simulate
from archive.store import Archive
from tests.rates.test_rates import run
from tests.store import store_making as making

WORDS = "Halyard 1200-X blue"


@pytest.mark.parametrize(
    ("kind", "said", "fits"),
    [
        ("", "cat6a/f-utp", "cat6a/f-utp/awg23/solid"),
        ("stranded", "cat6a/f-utp", "cat6a/f-utp/awg23/stranded"),
        ("", "unknown/f-utp", ""),
        ("stranded", "unknown/f-utp", ""),
    ],
)
def test_figures_rank_types_and_settle_nothing(archive: Archive, kind: str, said: str, fits: str) -> None:
    """Without the category a solid cable of one fits as a stranded cable of another: the gauge alone is common."""
    share = 1.0 if kind else 0.0
    (batch,) = simulate(6, 4, category="cat6a", length_m=(40.0, 55.0, 70.0), cable_is=kind, cable_is_share=share)
    records = batch["records"]
    for name, value in (("cable_found", WORDS), ("cable_type", said)):
        at = records.column_names.index(name)
        records = records.set_column(at, records.schema.field(at), pa.array([value] * len(batch), pa.string()))
    making.deposit(archive, batch.replace(records=records))
    size = archive.ledger.count()
    (row,) = cables.with_proposals(archive, cables.listed(archive))
    assert (row["type"], row["basis"]) == (said, "rule")
    found = [p["type"] for p in row["proposals"]]
    assert 1 <= len(found) <= 3
    if said.startswith("cat"):
        assert found == [fits]
    else:
        assert all({"f-utp", "awg23"} <= set(t.split("/")) and t.startswith("cat") for t in found)
    assert all("AWG 22." in p["why"] or "AWG 23." in p["why"] for p in row["proposals"])
    assert archive.ledger.count() == size
    assert "fits cat" in run("cables", archive.root, "--propose").output


def test_records_without_figures_propose_nothing(archive: Archive, tmp_path: Path) -> None:
    made = making.rows("A1", cable_found=WORDS, cable_type="unknown")
    making.deposit(archive, making.batch({**made, "readings": [], "sweeps": [], "axes": []}))
    (row,) = cables.with_proposals(archive, cables.listed(archive))
    assert row["proposals"] == []
