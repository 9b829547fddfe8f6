"""The quick forms of the benchmarks of exports: ours and the peers' results agree. No time is asserted."""

from __future__ import annotations

from pathlib import Path

from tests.benchmarks import delimited, draft, monday, workbook
from tests.endurance import exports


def test_delimited_exports_agree_with_pandas() -> None:
    """Every curve of three layouts is the one that pandas finds in the same cells, in quotes too; none is set aside."""
    rows = delimited.run(quick=True)
    assert len(rows) == 4
    assert all(row["agree"] for row in rows)


def test_workbooks_agree_with_pandas() -> None:
    """Every curve of a sheet is the one that pandas finds in the same cells."""
    assert workbook.run(quick=True)[0]["agree"]


def test_drafts_agree_with_the_mapping_of_the_export() -> None:
    """A draft sends no column elsewhere than the mapping of the export does, and most of them there."""
    for row in draft.run(quick=True):
        assert row["placed_otherwise"] == 0, row
        assert row["placed_rightly"] >= 0.75 * row["columns"], row


def test_a_mondays_folder_and_job_agree_with_pyarrow() -> None:
    """Issue 18, figures: a known job is deposited by fewer than 60 letters; three layouts are three."""
    unknown, known = monday.run(quick=True)
    assert unknown["agree"] and unknown["layouts"] == 3
    assert known["agree"] and known["letters_typed"] < monday.SHORTEST


def test_a_small_export_of_each_form_loses_nothing(tmp_path: Path) -> None:
    """What is streamed at 5 GB in the endurance runs, at a few megabytes."""
    for make in (exports.one_file, exports.two_files, exports.packed):
        path, mapping, records = make(tmp_path, 10)
        exports.read(path, mapping, records)
        exports.remove(path)
