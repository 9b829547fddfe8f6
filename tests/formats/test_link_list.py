"""A list of links is no test, wherever it lies; a schedule is read strictly."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest

from archive import formats
from archive.errors import Trouble
from archive.formats import link_list, schedule
from archive.formats.recognition import Entry

PLAIN = "Run;Floor;Room;Required limit;Due date\n" + "".join(
    f"2-TR2-{i:03d};2;2.{i:02d};category 6A permanent link to 568.2-D;2026-11-30\n" for i in range(1, 9)
)


def entry(folder: Path, name: str, text: str) -> Entry:
    (folder / name).write_text(text, encoding="utf-8")
    return Entry(folder / name, name)


def test_a_list_of_links_is_recognised_and_holds_no_record(tmp_path: Path) -> None:
    found = link_list.recognise(entry(tmp_path, "link list rev C.csv", PLAIN))
    assert found is not None and found.layout == "link list"
    (batch,) = formats.read(tmp_path / "link list rev C.csv")
    assert len(batch) == 0
    assert batch["schedule"].num_rows == 8


def test_a_workbook_too(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in PLAIN.splitlines():
        book.active.append(row.split(";"))
    book.save(tmp_path / "links.xlsx")
    assert link_list.recognise(Entry(tmp_path / "links.xlsx", "links.xlsx")) is not None


@pytest.mark.parametrize(
    "text",
    [
        "Run;Floor;Result\n2-A;1;PASS\n2-B;1;PASS\n",
        "Run;Floor;Outcome of it\n2-A;1;PASS\n2-B;1;FAIL\n",
        "Run;Floor;Length (m)\n2-A;1;42.1\n2-B;1;40.2\n",
        "Run;Floor;Tested\n2-A;1;2026-03-04\n2-B;1;2026-03-04\n",
        "Run;Floor;Serial number\n2-A;1;40-00317\n2-B;1;40-00317\n",
        "Run;What\nA;x\nA;y\nA;z\n",
        "a text of two lines\nand no table\n",
    ],
)
def test_a_table_that_speaks_of_a_test_or_of_nothing_is_none(tmp_path: Path, text: str) -> None:
    assert link_list.recognise(entry(tmp_path, "t.csv", text)) is None


def test_a_quote_that_is_not_closed_is_refused_with_its_row(tmp_path: Path) -> None:
    text = PLAIN.replace("2-TR2-003;2;", '2-TR2-003;"2;')
    with pytest.raises(Trouble) as raised:
        schedule.read(entry(tmp_path, "l.csv", text).path)
    assert "line 4" in str(raised.value) and raised.value.code == "schedule.not-a-table"


def test_row_numbers_are_no_labels(tmp_path: Path) -> None:
    text = "Link no;Whatever\n" + "".join(f"{i};x{i}\n" for i in range(1, 9))
    with pytest.raises(Trouble, match="numbers of its rows"):
        schedule.read(entry(tmp_path, "l.csv", text).path)


def test_floors_tell_two_links_of_one_label_apart(tmp_path: Path) -> None:
    made = schedule.read(entry(tmp_path, "l.csv", "Run;Floor\nA-101;1\nA-101;2\nA-101;2\n").path)
    assert made["schedule"].num_rows == 2
    assert made["findings"].num_rows == 1
