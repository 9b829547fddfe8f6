"""What a reader remembers over a whole input: shared rows by their keys, and which records came before."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

import archive.formats
from archive.formats import shared_rows
from archive.formats.seen_ids import NOT_THERE, SeenIds
from archive.formats.shared_rows import SharedRows
from archive.tables import Batch


@given(st.lists(st.text(max_size=3), max_size=200), st.integers(1, 20))
def test_marks_keep_the_first_number_of_each_text(texts: list[str], fresh: int) -> None:
    """Against a dict, with levels that are merged early."""
    marks, plain = SeenIds(), {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("archive.formats.seen_ids._FRESH", fresh)
        for number, text in enumerate(texts):
            if marks.get(text) == NOT_THERE:
                marks.put(text, number)
            plain.setdefault(text, number)
    asked = [*texts, "a text that never came"]
    assert marks.numbers(asked).tolist() == [plain.get(t, NOT_THERE) for t in asked]


def _places(*rows: dict[str, Any]) -> Any:
    return Batch.from_rows({"places": rows})["places"]


def _records(*keys: str) -> dict[str, Any]:
    rows = [{"record_id": str(i), "evidence": "verdict-only", "local_place_id": k} for i, k in enumerate(keys)]
    return {"records": Batch.from_rows({"records": rows})["records"]}


def _taken(of: SharedRows, *keys: str) -> list[str]:
    rows = of.take(_records(*keys)).get("places")
    return [] if rows is None else rows.column("place_id").to_pylist()


def test_a_row_comes_as_new_and_again_where_it_is_referred_to() -> None:
    of = SharedRows()
    of.add("places", _places({"place_id": "a"}, {"place_id": "b"}))
    assert _taken(of) == ["a", "b"]
    of.add("places", _places({"place_id": "c"}))
    assert _taken(of, "a") == ["a", "c"]
    assert _taken(of) == []
    assert _taken(of, "c", "b") == ["b", "c"]


def test_former_names_come_along_however_often_renamed() -> None:
    of = SharedRows()
    chain = [{"place_id": str(i), "former_place_id": str(i + 1)} for i in range(5)]
    of.add("places", _places(*chain, {"place_id": "5", "former_place_id": "0"}))
    assert _taken(of) == list("012345")
    assert _taken(of, "3") == list("012345"), "a ring ends too"
    of.add("places", _places({"place_id": "9", "former_place_id": "4"}))
    assert "5" in _taken(of), "new rows bring the former names of theirs"


def test_rows_with_one_key_and_other_facts_all_come() -> None:
    of = SharedRows()
    of.add("places", _places({"place_id": "a", "site": "x"}))
    _taken(of)
    of.add("places", _places({"place_id": "a", "site": "y"}))
    rows = of.take(_records("a"))["places"]
    assert rows.column("site").to_pylist() == ["x", "y"]


def test_many_rows_wait_in_files_and_come_in_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shared_rows, "MOST_HELD", 20_000)
    monkeypatch.setattr(shared_rows, "MOST_NEW", 100)
    of = SharedRows()
    names = [f"place {i:05d}" for i in range(3000)]
    for start in range(0, len(names), 50):
        of.add("places", _places(*({"place_id": n} for n in names[start : start + 50])))
    found: list[str] = []
    while of.left:
        rows = _taken(of, names[7])
        assert names[7] in rows
        found += [r for r in rows if r != names[7] or not found]
    assert found == names
    assert _taken(of, names[2999], names[7], names[1500]) == [names[7], names[1500], names[2999]]


@pytest.mark.parametrize("form", ["xml", "csv", "parquet"])
def test_shared_rows_without_end_come_in_several_batches(
    tmp_path: Path, form: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """12,000 places and one record that refers to the last: no batch takes them all."""
    places = [{"place_id": f"p{i:05d}"} for i in range(12_000)]
    record = {"record_id": "a", "evidence": "verdict-only", "local_place_id": "p11999"}
    out = tmp_path / ("a.xml" if form == "xml" else "a")
    archive.formats.write([Batch.from_rows({"places": places, "records": [record]})], out, form)
    monkeypatch.setattr("archive.formats.reading.rebatch", lambda batches: batches)
    back = list(archive.formats.read(out))
    assert "p11999" in back[0]["places"].column("place_id").to_pylist()
    assert max(b["places"].num_rows for b in back) <= shared_rows.MOST_NEW + 1
    found = pa.concat_tables([b["places"] for b in back]).column("place_id").to_pylist()
    assert sorted(set(found)) == [p["place_id"] for p in places]
