"""The records ready for counting: what counts, and that they follow the archive whatever happens to it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from archive import grading, store
from archive.answers.jobs import state
from archive.answers.reindex import reindex
from archive.store import Archive, memory
from archive.store.catalogue import standing_columns
from archive.store.counting import blocks, build_block
from archive.store.events import Correction, amend
from archive.store.events.withdraw import withdraw
from archive.tables import Batch
from tests.store import store_making as making

JOB = "HARBOUR-2019-04"


def graded(*records: making.Rows) -> Batch:
    """A batch with grades and verdicts; the invented curves of store_making meet no limit at every point."""
    return grading.grade(making.batch(*records))


def rows(archive: Archive) -> list[dict[str, Any]]:
    """All rows ready for counting."""
    files = blocks.counting(archive).records
    return [r for f in files for r in pq.read_table(f).to_pylist()]


def counts(archive: Archive) -> tuple[int, int, int]:
    """Standing records, tests that count, first tests."""
    found = rows(archive)
    return tuple(sum(bool(r[name]) for r in found) for name in ("current", "unit", "first"))  # type: ignore[return-value]


def fresh(archive: Archive) -> list[dict[str, Any]]:
    """The same rows derived anew by another user, who has nothing in the cache."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(archive.root.parent / "somebody-else"))
        return rows(store.open(archive.root))


@pytest.fixture
def small_blocks(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """Blocks of eight records, so that few records fill several."""
    for module in (standing_columns, blocks, build_block):
        monkeypatch.setattr(module, "BLOCK_BITS", 3)
    monkeypatch.setattr(build_block, "_SIZE", 8)
    yield 8


def test_a_retest_is_one_link_and_two_tests(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1", place="row 2"), making.rows("A2", place="row 3", shift=0.4)))
    assert counts(archive) == (2, 2, 2)
    making.deposit(
        archive, graded(making.rows("A1", time="2019-03-05T08:00", shift=1.0, place="row 9", source="b" * 64))
    )
    assert counts(archive) == (2, 3, 2)
    by_label = {(r["link_label"], r["tested_local"]): r for r in rows(archive)}
    first, later = by_label["A1", "2019-03-04T10:15"], by_label["A1", "2019-03-05T08:00"]
    assert (first["current"], first["first"], later["current"], later["first"]) == (False, True, True, False)
    assert (later["tests"], by_label["A2", "2019-03-04T10:15"]["tests"], first["tests"]) == (2, 1, None)
    assert later["first_outcome"] == first["outcome"] and first["unit"] == later["unit"] == later["row"]


def test_a_late_file_of_an_earlier_day_becomes_the_first_test_and_does_not_stand(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1", time="2019-03-05T08:00")))
    making.deposit(archive, graded(making.rows("A1", time="2019-03-01T08:00", shift=2.0, source="b" * 64)))
    early = next(r for r in rows(archive) if r["tested_local"] == "2019-03-01T08:00")
    late = next(r for r in rows(archive) if r["tested_local"] == "2019-03-05T08:00")
    assert (early["first"], early["current"], late["first"], late["current"]) == (True, False, False, True)


KNOWN = {
    # kind of decision -> what is deposited after the first record, tests that count, links
    "same_content": (making.rows("A1", source="b" * 64, place="row 7"), 1, 1),
    "reread": (making.rows("A-1", mapping="c" * 64), 1, 1),
    "renditions": (making.rounded(making.rows("A1", source="b" * 64)), 1, 1),
    "conflicts": (making.rows("A1", source="b" * 64, shift=3.0), 0, 0),
    "relabelled": (making.rows("B9", source="b" * 64), 1, 1),
    "copied_curves": (making.rows("B9", source="b" * 64, time="2019-03-04T11:40"), 2, 1),
    "retests": (making.rows("A1", source="b" * 64, time="2019-03-06T09:00", shift=1.0), 2, 1),
}


@pytest.mark.parametrize("kind", sorted(KNOWN))
def test_what_is_the_same_is_counted_once(archive: Archive, kind: str) -> None:
    """Each kind of dedup, against what house.md and a person would say: same content is a copy, a conflict is none."""
    second, tests, links = KNOWN[kind]
    making.deposit(archive, graded(making.rows("A1"), making.rows("A0", source="e" * 64, shift=0.4)))
    receipt = making.deposit(archive, graded(second, making.rows("A5", source="d" * 64, shift=0.7)))
    assert receipt.counts[kind] == 1, receipt.counts
    current, live, first = counts(archive)
    assert (current - 2, live - 2, first - 2) == (links, tests, links)  # A0 and A5 beside


def test_the_same_file_again_changes_nothing(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1")))
    before = blocks.counting(archive)
    making.deposit(archive, graded(making.rows("A1")))
    assert counts(archive) == (1, 1, 1)
    assert blocks.counting(archive).records == before.records


def test_amending_and_withdrawing_are_followed(archive: Archive) -> None:
    making.deposit(archive, graded(*(making.rows(f"A{i}", place=f"row {i}", shift=i / 4) for i in range(4))))
    rows(archive)
    address = archive.address(rows(archive)[0]["record_id"])
    amend(archive, [Correction(address, "cable_type", "cat6/f-utp")], by="R. Ostrander", reason="read off the sheath")
    assert sorted(r["construction"] for r in rows(archive)) == ["f-utp", "u-utp", "u-utp", "u-utp"]
    withdraw(archive, records=[address], by="R. Ostrander", reason="another building")
    assert counts(archive) == (3, 3, 3)
    assert rows(archive) == fresh(archive)


def test_a_corrected_serial_number_brings_another_model(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1")))
    assert rows(archive)[0]["model"] == "P-40"
    address = archive.address(rows(archive)[0]["record_id"])
    amend(archive, [Correction(address, "local_serial", "40-00318")], by="R. Ostrander", reason="units were exchanged")
    assert rows(archive)[0]["model"] == "P-40R"
    assert rows(archive) == fresh(archive)


def test_the_crew_of_a_job_is_followed(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1")))
    assert rows(archive)[0]["crew"] is None
    state(archive, JOB, ["crew=night crew"], by="R. Ostrander", reason=None)
    assert rows(archive)[0]["crew"] == "night crew"


def test_only_blocks_that_changed_are_written_anew(archive: Archive, small_blocks: int) -> None:
    listed = [making.rows(f"A{i:02d}", place=f"row {i}", shift=i / 8) for i in range(20)]
    making.deposit(archive, graded(*listed))
    before = blocks.counting(archive).records
    assert len(before) == 3  # rows 1 to 7, 8 to 15, 16 to 20
    making.deposit(archive, graded(making.rows("A09", time="2019-03-09T08:00", source="b" * 64, shift=9.0)))
    after = blocks.counting(archive).records
    assert after[0] == before[0] and after[1] != before[1] and after[2] != before[2]
    assert rows(archive) == fresh(archive)
    made = reindex(archive)
    assert (made["records"], made["files"], made["deposits"]) == (21, 3, 2)
    assert rows(archive) == fresh(archive)


def test_files_of_another_ledger_or_lost_ones_are_not_believed(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1")))
    rows(archive)
    held = memory.recall(archive.id, "counting")
    memory.remember(archive.id, "counting", {**held, "last": "0" * 64})
    assert counts(archive) == (1, 1, 1)
    blocks.counting(archive).records[0].unlink()
    assert counts(archive) == (1, 1, 1)
    memory.remember(archive.id, "counting", ["nonsense"])
    assert counts(archive) == (1, 1, 1)


def test_a_reader_without_a_cache_counts_too(archive: Archive, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    making.deposit(archive, graded(making.rows("A1")))
    (tmp_path / "no-folder").write_text("a file where the cache should be")
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "no-folder"))
    assert counts(store.open(archive.root)) == (1, 1, 1)


def test_an_empty_archive_has_no_files(archive: Archive) -> None:
    assert blocks.counting(archive).records == ()


def test_nothing_is_written_into_the_archive(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("A1")))
    before = sorted(str(p) for p in archive.root.rglob("*"))
    rows(archive)
    assert sorted(str(p) for p in archive.root.rglob("*")) == before


def test_text_columns_come_back_as_they_were(archive: Archive) -> None:
    """Labels as people type them: letters of any script, quotes, nothing at all."""
    labels = ["Ω-1", "'; DROP TABLE records; --", None, "x" * 10_000]
    made = [making.rows(label, place=f"row {i}", shift=i / 4) for i, label in enumerate(labels)]
    making.deposit(archive, graded(*made))
    assert [r["link_label"] for r in rows(archive)] == labels
    assert all(isinstance(t, pa.Table) for t in map(pq.read_table, blocks.counting(archive).records))
