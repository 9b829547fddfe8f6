"""Batches come back from a bag bit for bit: whole, by record, and by parameter."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from archive.demo.simulator import simulate
from archive.store.bags import BagWriter
from archive.store.parquet import BagTables, TableFiles
from archive.tables import Batch, identical, tables
from archive.tables.order import ordered
from tests.strategies import batches


def written(folder: Path, given_batches: Iterable[Batch]) -> BagTables:
    bag = BagWriter(folder / "bag")
    files = TableFiles(bag)
    for batch in given_batches:
        files.add(batch)
    files.finish()
    bag.finish([])
    return BagTables(folder / "bag")


def record_tables(listed: Iterable[Batch]) -> dict[str, Any]:
    held = list(listed)
    return {
        name: pa.concat_tables([b[name] for b in held]).combine_chunks()
        for name, table in tables().items()
        if table.level == "record"
    }


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(batches(), min_size=1, max_size=3))
def test_any_batches_come_back(given_batches: list[Batch]) -> None:
    """Unusual text, nulls and empty strings, missing points, censored cells, minus zero, any axis."""
    seen: set[str] = set()
    kept = []
    for batch in given_batches:  # ids are unique in a deposit
        ids = batch["records"]["record_id"].to_pylist()
        if seen.isdisjoint(ids):
            kept.append(ordered(batch))
            seen.update(ids)
    with tempfile.TemporaryDirectory() as folder:
        bag = written(Path(folder), kept)
        assert bag.count == sum(len(b) for b in kept)
        want = record_tables(kept)
        for size in (1, 3, 1000):
            if bag.count:
                got = record_tables(bag.batches(size=size))
                for name, table in want.items():
                    assert identical(got[name], table), name
        for name, table in tables().items():
            if table.level != "shared":
                continue
            rows = [r for b in kept for r in b[name].to_pylist()]
            back = bag.table(name).to_pylist()
            if name == "sources":
                assert {r["source_id"] for r in rows} == {r["source_id"] for r in back}
            else:
                assert all(r in back for r in rows)
                assert all(r in rows for r in back)


@pytest.fixture(scope="module")
def links() -> list[Batch]:
    return list(simulate(50, seed=4, records=20, step=0.1))


@pytest.fixture(scope="module")
def bag(links: list[Batch], tmp_path_factory: pytest.TempPathFactory) -> BagTables:
    return written(tmp_path_factory.mktemp("tables"), links)


def test_one_record_is_the_one_that_was_written(links: list[Batch], bag: BagTables) -> None:
    ids = [i for b in links for i in b["records"]["record_id"].to_pylist()]
    assert bag.count == len(ids) == 50
    for position in (0, 15, 16, 31, 49):
        one = bag.record(position)
        assert one["records"]["record_id"].to_pylist() == [ids[position]]
        want = next(b for b in links if ids[position] in b["records"]["record_id"].to_pylist()).select([ids[position]])
        for name, table in record_tables([want]).items():
            assert identical(one[name].combine_chunks(), table), name
        for name, key in (("axes", "axis_id"), ("instruments", "instrument_id"), ("people", "person_key")):
            assert set(one[name][key].to_pylist()) <= set(want[name][key].to_pylist())
        assert one["axes"].num_rows == 1
    with pytest.raises(IndexError):
        bag.record(50)


def test_selected_records_are_those_asked_for(links: list[Batch], bag: BagTables) -> None:
    ids = [i for b in links for i in b["records"]["record_id"].to_pylist()]
    got = {p: b["records"]["record_id"].to_pylist() for p, b in bag.select([49, 3, 3, 17, 18])}
    assert got == {p: [ids[p]] for p in (3, 17, 18, 49)}


def test_one_parameter_over_all_records_reads_its_own_row_groups_alone(links: list[Batch], bag: BagTables) -> None:
    curves = pa.concat_tables(list(bag.curves("next")))
    want = [
        (r["end"], r["pairing"], r["values"])
        for b in links
        for r in b["sweeps"].to_pylist()
        if r["parameter"] == "next"
    ]
    got = sorted(
        zip(curves["position"].to_pylist(), curves["end"].to_pylist(), curves["pairing"].to_pylist(), strict=True)
    )
    assert len(got) == len(want) == 50 * 12
    assert sorted(map(repr, curves["values"].to_pylist())) == sorted(repr(v) for _, _, v in want)
    file = pq.ParquetFile(bag.sweep_files[0][1])
    for group in range(file.metadata.num_row_groups):
        stats = file.metadata.row_group(group).column(file.schema_arrow.names.index("parameter")).statistics
        assert stats.min == stats.max, "a row group holds one parameter only"
    assert list(bag.curves("tcl")) == []


def test_curves_are_scaled_integers_in_delta_encoding_with_page_checksums(bag: BagTables) -> None:
    file = pq.ParquetFile(bag.sweep_files[0][1])
    assert file.read(columns=["values"])["values"].null_count == file.metadata.num_rows
    names = [file.metadata.schema.column(i).path for i in range(file.metadata.num_columns)]
    chunk = file.metadata.row_group(0).column(names.index("scaled.list.element"))
    assert "DELTA_BINARY_PACKED" in chunk.encodings
    assert chunk.compression == "ZSTD"


def test_a_large_deposit_has_several_sweeps_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from archive.store.parquet import writer

    monkeypatch.setattr(writer, "RECORDS_PER_FILE", 32)
    monkeypatch.setattr(writer, "ROWS_OF", 20)
    links = list(simulate(70, seed=4, records=23))
    bag = written(tmp_path, links)
    assert [start for start, _ in bag.sweep_files] == [0, 32, 64]
    got = record_tables(bag.batches(size=9))
    for name, table in record_tables(links).items():
        assert identical(got[name], table), name
