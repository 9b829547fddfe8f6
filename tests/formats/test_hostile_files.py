"""One bad file costs itself alone: the good file beside it is read, and one line says what is wrong with the other."""

from __future__ import annotations

import time
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

import archive.formats
from archive.confined import MEMORY, SECONDS
from archive.errors import Trouble
from archive.formats import readers
from archive.formats.survey import survey
from archive.tables import Batch, concat
from tests.formats import conformance_kit as kit
from tests.formats import hostile

REASON = {
    "far-cell.xlsx": "reading it takes more memory than one file may",
    "panic.xls": "the library that reads such files failed on it",
    "many-attributes.xml": "an element with more attributes than any export has",
    "many-attributes-of-a-record.xml": "the schema refuses it: an element with more attributes than there are",
    "one-letter.csv": "no reader knows this layout",
    "long-reference.s4p": "the reference impedances do not match the ports",
    "bomb.zip": "unpacks to far more than it holds; it is refused",
    "overlapping.zip": "two entries stand at one place; it is refused",
    "records.parquet": "its columns are not those of this table",
}


@pytest.fixture(autouse=True)
def bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is read apart has little memory, so that the tests cannot take that of the machine."""
    monkeypatch.setenv(MEMORY, "1500")
    monkeypatch.setenv(SECONDS, "600")


def folder_with(tmp_path: Path, name: str) -> Path:
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "good.xml").write_text(kit.xml_of(kit.minimal()), encoding="utf-8")
    hostile.write(folder, name)
    return folder


@pytest.mark.parametrize("name", hostile.FILES)
def test_beside_a_good_file(tmp_path: Path, name: str) -> None:
    folder = folder_with(tmp_path, name)
    begun = time.process_time()
    reading = archive.formats.read(folder)
    batch: Batch = concat(reading)
    assert time.process_time() - begun < 60
    assert len(batch) == 1, "the good record"
    (row,) = batch["set_aside"].to_pylist()
    assert (row["path"], row["reason"]) == (name, REASON[name])
    assert row["remedy"] or row["expected"]


QUICK = [name for name in hostile.FILES if name != "one-letter.csv"]


@pytest.mark.parametrize("name", QUICK)
def test_surveyed_beside_a_good_file(tmp_path: Path, name: str) -> None:
    described = {d.path: d for d in survey([folder_with(tmp_path, name)])}
    assert described[name].unread
    assert described["good.xml"].records == 1


@pytest.mark.parametrize("name", QUICK)
def test_alone(tmp_path: Path, name: str) -> None:
    with pytest.raises(Trouble) as raised:
        list(archive.formats.read(hostile.write(tmp_path, name)))
    assert raised.value.message == REASON[name]
    if raised.value.code == "confined.memory":
        assert (raised.value.found, MEMORY in raised.value.remedy) == ("more than 1,500 MB", True)


@pytest.mark.parametrize("name", hostile.IN_PART)
def test_one_record_of_a_file(tmp_path: Path, name: str) -> None:
    whole = concat(archive.formats.read(hostile.write(tmp_path, name)))
    assert len(whole) > 2
    reasons = whole["set_aside"]["reason"].to_pylist()
    assert reasons == {"lone-surrogate.json": ["a text with half of a character"], "long-row.tsv": []}[name]


def test_a_text_of_mixed_encodings_ends(tmp_path: Path) -> None:
    path = tmp_path / "mixed.csv"
    path.write_bytes(hostile.mixed_encodings())
    with pytest.raises(Trouble, match=r"text does not fit its encoding|it reads no record"):
        list(archive.formats.read(path))


def test_a_survey_says_how_a_bound_is_raised(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SECONDS, "1")
    path = tmp_path / "slow.csv"
    path.write_text("a\n")
    monkeypatch.setattr("archive.formats.reading.recognised", _never_ends)
    (told,) = survey([path])
    assert told.unread
    assert "takes more time than one file may; found more than 1 seconds" in told.reason
    assert f"set {SECONDS} to a larger number" in told.reason


def _never_ends(*_: object) -> None:
    while True:
        pass


HANGS = '''
"""Claims a file and then never ends, in one hook or the other."""
from archive.formats.recognition import Recognition


def recognise(entry):
    while entry.head.startswith(b"HANG RECOGNISING"):
        pass
    return Recognition(0.9, "it begins with HANG", "hang") if entry.head.startswith(b"HANG") else None


def read(entry, *, mapping=None, draft=True):
    while True:
        pass
    yield
'''


@pytest.mark.parametrize("begin", ["HANG RECOGNISING", "HANG READING"])
def test_a_reader_that_never_ends(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, begin: str) -> None:
    monkeypatch.setenv(SECONDS, "2")
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "hanging_reader.py").write_text(HANGS)
    monkeypatch.syspath_prepend(tmp_path / "site")
    monkeypatch.setattr(readers, "entry_points", lambda group: [EntryPoint("hang", "hanging_reader", group)])
    for cached in (readers.names, readers.reader):
        cached.cache_clear()
    folder = folder_with(tmp_path, "overlapping.zip")
    (folder / "a.hang").write_text(begin)
    reading = archive.formats.read(folder)
    batch = concat(reading)
    for cached in (readers.names, readers.reader):
        cached.cache_clear()
    assert len(batch) == 1, "the good record"
    rows = {r["path"]: r for r in batch["set_aside"].to_pylist()}
    assert rows["a.hang"]["reason"] == "reading it takes more time than one file may"
    assert rows["a.hang"]["found"] == "more than 2 seconds"
    assert SECONDS in rows["a.hang"]["remedy"]
