"""Rows of points are put together to the same records wherever they stand, and however the file is cut into blocks.

Outside check: pandas.DataFrame.groupby as an independent way to gather the rows of a link.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import archive.formats
from archive.formats.base import text as texts
from archive.formats.mapping import files, record_rows
from archive.formats.mapping.rows import single_table

_MAPPING = """
[mapping]
layout = "tried"
language = 1
[[file]]
name = "1"
kind = "delimited"
[[file.table]]
name = "1"
rows = "points"
fields = [
  { from = "Link", to = "records.link_label" },
  { from = "Test", to = "records.sequence" },
  { from = "MHz", to = "row.frequency" },
  { from = "Loss", to = "sweeps.insertion_loss[1-2]" },
]
"""
_LINKS = [("A-1", "1"), ("A-1", "2"), ("B-2", "1"), ("C-3", "1"), ("D-4", "1")]


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blocks of a few lines, chunks of a few blocks."""
    monkeypatch.setattr(texts, "BLOCK", 40)
    monkeypatch.setattr(single_table, "MOST_BYTES", 150)


def _export(runs: list[int], quoted: bool = False) -> str:
    """Runs of two or three rows each: rising frequencies for each link, wherever its runs stand."""
    lines, at = ["Link,Test,MHz,Loss"], dict.fromkeys(range(len(_LINKS)), 0)
    for number in runs:
        for _ in range(2 + number % 2):
            at[number] += 1
            label, test = _LINKS[number]
            label = f'"{label}\n, hall"' if quoted else label
            lines.append(f"{label},{test},{at[number]},{at[number] / 10 + number}")
    return "\n".join(lines) + "\n"


def _found(folder: Path, text: str) -> dict[Any, Any]:
    (folder / "export.csv").write_text(text, encoding="utf-8")
    (folder / "tried.toml").write_text(_MAPPING, encoding="utf-8")
    found: dict[Any, Any] = {}
    for batch in archive.formats.read(folder / "export.csv", mapping=folder / "tried.toml"):
        assert not batch["set_aside"].num_rows
        names = {r["record_id"]: (r["link_label"], r["sequence"]) for r in batch["records"].to_pylist()}
        mhz = {a["axis_id"]: a["frequencies_mhz"] for a in batch["axes"].to_pylist()}
        for s in batch["sweeps"].to_pylist():
            name = names[s["record_id"]]
            assert name not in found, f"{name} came as two records"
            found[name] = list(zip(mhz[s["axis_id"]], s["values"], strict=True))
    return found


def _by_pandas(text: str) -> dict[Any, Any]:
    frame = pd.read_csv(io.StringIO(text), dtype={"Test": str})
    return {
        who: list(zip(rows["MHz"].astype(float), rows["Loss"], strict=True))
        for who, rows in frame.groupby(["Link", "Test"], sort=False)
    }


@given(st.lists(st.integers(0, len(_LINKS) - 1), min_size=1, max_size=40), st.booleans())
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_rows_are_gathered_as_pandas_gathers_them(
    small: None, tmp_path_factory: pytest.TempPathFactory, runs: list[int], quoted: bool
) -> None:
    text = _export(runs, quoted)
    assert _found(tmp_path_factory.mktemp("rows"), text) == _by_pandas(text)


def test_rows_that_stand_together_are_read_once(small: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And a file whose rows stand apart is begun again, with nothing of the first attempt left."""
    begun: list[bool] = []
    whole = files._read

    def read(entry: Any, mapping: Any, standing: Any) -> Any:
        begun.append(standing is not None)
        return whole(entry, mapping, standing)

    monkeypatch.setattr(files, "_read", read)
    together, apart = [0] * 9 + [1] * 9 + [2] * 9, [0, 1, 2] * 9
    assert len(_found(tmp_path, _export(together))) == 3
    assert begun == [True]
    found = _found(tmp_path, _export(apart))
    assert begun == [True, True, False]
    assert found == _by_pandas(_export(apart))


def test_beyond_what_is_held_a_record_that_comes_again_is_another(
    small: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file too large to be put together loses no row: what comes late is a record of its own."""
    monkeypatch.setattr(record_rows, "MOST_HELD", 100)
    text = _export([0] * 20 + [1] * 20 + [0] * 2)
    (tmp_path / "export.csv").write_text(text, encoding="utf-8")
    (tmp_path / "tried.toml").write_text(_MAPPING, encoding="utf-8")
    batches = list(archive.formats.read(tmp_path / "export.csv", mapping=tmp_path / "tried.toml"))
    labels = [n for b in batches for n in b["records"].column("sequence").to_pylist()]
    points = sum(len(v) for b in batches for v in b["sweeps"].column("values").to_pylist())
    assert labels == ["1", "2", "1"]
    assert points == text.count("\n") - 1


@given(st.text('ab"\n;é', max_size=300), st.integers(1, 60))
def test_blocks_are_the_text_whatever_their_size(text: str, size: int) -> None:
    data = text.encode()
    encoding = texts.Encoding("utf-8", "declared")
    blocks = list(texts.utf8_blocks(io.BytesIO(data), encoding, "x", size))
    assert b"".join(blocks) == data
    assert b"".join(texts.line_blocks(iter(blocks))) == data
    assert all(b.endswith(b"\n") for b in blocks[:-1])


@given(st.binary(max_size=200), st.sampled_from([b'"', b"\n", b"\xff", b"ab", "“".encode()]))
def test_marks_are_counted_as_bytes_counts_them(data: bytes, mark: bytes) -> None:
    assert texts.count(data, mark) == data.count(mark)
