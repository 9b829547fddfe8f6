"""Tables to XML to tables to CSV to tables is the identity, bit for bit; Parquet and zips too."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings

import archive.formats
from archive.tables import Batch, axis_row, concat, ordered
from archive.tables.canonical import record_bytes, record_digests
from tests.formats import conformance_kit as kit
from tests.strategies import batches

EXAMPLES = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def _there_and_back(batch: Batch, folder: Path, form: str, name: str) -> Batch:
    archive.formats.write([batch], folder / name, form)
    return concat(archive.formats.read(folder / name))


def _empty(batch: Batch) -> bool:
    return not any(table.num_rows for _, table in batch.items())


@EXAMPLES
@given(batches())
@example(Batch.from_rows(kit.every_table()))
@example(Batch.from_rows(kit.texts()))
def test_xml_then_csv(batch: Batch) -> None:
    with tempfile.TemporaryDirectory() as folder:
        from_xml = _there_and_back(batch, Path(folder), "xml", "a.xml")
        assert from_xml.equals(batch) or _empty(batch)
        from_csv = _there_and_back(from_xml, Path(folder), "csv", "csv")
        assert from_csv.equals(batch) or _empty(batch)
        assert record_digests(from_csv) == record_digests(batch)


@settings(EXAMPLES, max_examples=10)
@given(batches(most_records=2))
def test_zipped_csv_then_parquet(batch: Batch) -> None:
    with tempfile.TemporaryDirectory() as folder:
        from_zip = _there_and_back(batch, Path(folder), "csv", "a.zip")
        assert from_zip.equals(batch) or _empty(batch)
        assert _there_and_back(from_zip, Path(folder), "parquet", "parquet").equals(batch) or _empty(batch)


@settings(EXAMPLES, max_examples=15)
@given(batches())
def test_the_document_holds_the_canonical_bytes_as_they_are(batch: Batch) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.xml"
        archive.formats.write([batch], path, "xml")
        document = path.read_bytes()
        for canonical in record_bytes(batch):
            assert canonical + b"\n" in document


@pytest.mark.parametrize("form", ["xml", "csv", "parquet"])
def test_many_records_come_back_in_batches(tmp_path: Path, form: str) -> None:
    """2,300 invented records over two axes, written in batches of 700, with rows and statements for each."""
    axes = [axis_row([1.0, 2.0]), axis_row([1.0, 3.0])]
    chance = np.random.default_rng(1)

    def made(start: int, stop: int) -> Batch:
        ids = [f"r{i:05d}" for i in range(start, stop)]
        used = {i: axes[int(chance.integers(2))]["axis_id"] for i in ids}
        sweep = {"parameter": "next", "origin": "measured"}
        verdict = {"verdict": "pass", "provisional": False, "limits_version": "1", "program": "p"}
        return ordered(
            Batch.from_rows(
                {
                    "axes": [a for a in axes if a["axis_id"] in used.values()],
                    "records": [{"record_id": i, "evidence": "full-sweep"} for i in ids],
                    "sweeps": [{"record_id": i, "axis_id": used[i], "values": [1.0, 2.0], **sweep} for i in ids],
                    "verdicts": [{"record_id": i, **verdict} for i in ids],
                    "findings": [
                        {"record_id": i, "rule": "a", "severity": "error", "status": "raised", "message": "m"}
                        for i in ids[::3]
                    ],
                }
            )
        )

    written = [made(s, min(s + 700, 2300)) for s in range(0, 2300, 700)]
    out = tmp_path / ("a.xml" if form == "xml" else "a")
    archive.formats.write(written, out, form)
    back = list(archive.formats.read(out))
    assert [len(b) for b in back] == [1000, 1000, 300]
    for batch in back:
        ids = set(batch["records"].column("record_id").to_pylist())
        for name in ("sweeps", "verdicts", "findings"):
            assert set(batch[name].column("record_id").to_pylist()) <= ids, "statements stand with their record"
        assert set(batch["sweeps"].column("axis_id").to_pylist()) <= set(batch["axes"].column("axis_id").to_pylist())
    digests = [d for b in back for d in record_digests(b)]
    assert digests == [d for b in written for d in record_digests(b)]


def test_the_same_tables_give_the_same_bytes(tmp_path: Path) -> None:
    batch = Batch.from_rows(kit.every_table())
    for form, name in (("xml", "a.xml"), ("csv", "a.zip")):
        one, two = tmp_path / f"1{name}", tmp_path / f"2{name}"
        archive.formats.write([batch], one, form)
        archive.formats.write([batch], two, form)
        assert one.read_bytes() == two.read_bytes()
