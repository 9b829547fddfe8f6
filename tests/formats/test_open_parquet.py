"""The Parquet form: one file per table, sums over its pages, and damage that is told."""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import archive.formats
from archive.errors import Trouble
from archive.tables import Batch, concat, schema, tables
from tests.formats import conformance_kit as kit

EVERY = Batch.from_rows(kit.every_table())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The kit's every-table document as Parquet files."""
    out = tmp_path / "parquet"
    archive.formats.write([EVERY], out, "parquet")
    return out


def test_one_file_per_table(folder: Path) -> None:
    assert {p.name for p in folder.iterdir()} == {f"{t}.parquet" for t in tables()}
    for name in tables():
        assert pq.read_schema(folder / f"{name}.parquet").equals(schema(name))


def test_a_flipped_byte_in_a_page_is_told(folder: Path) -> None:
    """Every byte of the pages in turn, as borg's tests do: XOR, since a fixed value could be what stands there."""
    path = folder / "sweeps.parquet"
    whole = path.read_bytes()
    meta = pq.read_metadata(path).row_group(0)
    columns = (meta.column(i) for i in range(meta.num_columns))
    values = next(c for c in columns if c.path_in_schema.startswith("values"))
    start, size = values.data_page_offset, values.total_compressed_size
    silent = 0
    for at in range(start, min(start + size, len(whole) - 8), 3):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :])
        try:
            back = concat(archive.formats.read(folder))
        except Trouble as trouble:
            assert "sweeps.parquet" in str(trouble)
        else:
            silent += not back.equals(EVERY)
    assert silent == 0


def test_a_truncated_file_is_told(folder: Path) -> None:
    path = folder / "readings.parquet"
    path.write_bytes(path.read_bytes()[:-20])
    with pytest.raises(Trouble, match=r"readings\.parquet: is damaged"):
        list(archive.formats.read(folder))


def test_types_of_other_programs_are_taken(folder: Path) -> None:
    path = folder / "sweeps.parquet"
    table = pq.read_table(path)
    at = table.schema.get_field_index("parameter")
    table = table.set_column(at, "parameter", table.column("parameter").cast(pa.large_string()).dictionary_encode())
    table = table.drop_columns(["above", "below", "disturber"])
    pq.write_table(table, path)
    assert concat(archive.formats.read(folder))["sweeps"].column("values").equals(EVERY["sweeps"].column("values"))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda t: t.rename_columns(["id", *t.column_names[1:]]), "unknown id; missing record_id"),
        (lambda t: t.set_column(0, "record_id", pa.array([[1]] * t.num_rows)), "of another type record_id"),
    ],
)
def test_other_columns_are_refused(folder: Path, change: object, words: str) -> None:
    path = folder / "readings.parquet"
    pq.write_table(change(pq.read_table(path)), path)  # type: ignore[operator]
    with pytest.raises(Trouble, match=words):
        list(archive.formats.read(folder))


def test_a_column_of_records_that_may_be_null_may_be_left_out(folder: Path) -> None:
    path = folder / "findings.parquet"
    pq.write_table(pq.read_table(path).drop_columns(["record_id"]), path)
    assert len(concat(archive.formats.read(folder))) == len(EVERY)
