"""The archive's bags before the judges of others: the bagit library, DuckDB and pandas."""

from __future__ import annotations

import zipfile
from pathlib import Path

import bagit
import duckdb
import pandas as pd
import pytest

from archive import store
from archive.demo.simulator import simulate
from archive.store import Archive
from archive.store.deposits import Deposit, DepositFacts


@pytest.fixture
def bag(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    archive: Archive = store.create(tmp_path / "archive")
    making = Deposit(
        archive, DepositFacts(job="HARBOUR-2019-04", site="Lantern Quay 4", by="R. Ostrander", reason="line\nend")
    )
    for name in ("50 % off.csv", "ünïcode 例.csv", "week2/links.csv"):
        path = tmp_path / name.replace("/", "-")
        path.write_text("invented,cells\n" * 100)
        making.original(path, name)
    for batch in simulate(20, seed=2):
        making.add(batch)
    making.attach("mappings/petrel-rows.toml", b"x = 1\n")
    made = making.commit()
    assert made.entry is not None
    return archive.root / str(made.entry["path"])


def test_the_bagit_library_accepts_it(bag: Path) -> None:
    """RFC 8493, judged by the library `bagit`."""
    read = bagit.Bag(str(bag))
    assert read.validate()
    assert read.version_info == (1, 0)
    assert read.encoding == "UTF-8"
    assert read.info["External-Identifier"] == bag.name
    octets, count = map(int, str(read.info["Payload-Oxum"]).split("."))
    payload = [p for p in (bag / "data").rglob("*") if p.is_file()]
    assert (octets, count) == (sum(p.stat().st_size for p in payload), len(payload))


def test_the_bagit_library_sees_a_flipped_bit(bag: Path) -> None:
    path = bag / "data" / "index.parquet"
    path.chmod(0o644)
    data = path.read_bytes()
    path.write_bytes(data[:100] + bytes([data[100] ^ 1]) + data[101:])
    with pytest.raises(bagit.BagValidationError):
        bagit.Bag(str(bag)).validate()


def test_the_originals_are_as_received(bag: Path) -> None:
    with zipfile.ZipFile(bag / "data" / "originals.zip") as packed:
        assert packed.testzip() is None
        assert sorted(packed.namelist()) == ["50 % off.csv", "week2/links.csv", "ünïcode 例.csv"]
        assert packed.read("week2/links.csv") == b"invented,cells\n" * 100


def test_duckdb_and_pandas_read_the_same_values(bag: Path) -> None:
    """What Arrow wrote, two other readers give back: the curves of every record, and its identity."""
    sweeps = next((bag / "data" / "tables").glob("sweeps-*.parquet"))
    want = [r for b in simulate(20, seed=2) for r in b["sweeps"].to_pylist()]
    key = ("record_id", "parameter", "end", "pairing")
    by_key = {tuple(r[k] for k in key): r["values"] for r in want}
    rows = duckdb.sql(
        f"SELECT record_id, parameter, \"end\", pairing, decimals, scaled FROM '{sweeps}' ORDER BY position, curve"
    ).fetchall()
    assert len(rows) == len(by_key) == 20 * 48
    for *names, decimals, scaled in rows:
        assert [v / 10**decimals for v in scaled] == by_key[tuple(names)]
    frame = pd.read_parquet(sweeps).sort_values(["position", "curve"])
    for row in frame.itertuples():
        names = tuple(None if pd.isna(v) else v for v in (row.record_id, row.parameter, row.end, row.pairing))
        assert (row.scaled / 10.0**row.decimals).tolist() == by_key[names]
    labels = duckdb.sql(f"SELECT link_label FROM '{bag}/data/tables/records.parquet' ORDER BY position").fetchall()
    assert [label for (label,) in labels] == pd.read_parquet(bag / "data" / "index.parquet")["link_label"].tolist()
