"""Readers are registered by entry point: ours, and those of other packages."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from archive import formats, schemas
from archive.errors import Trouble
from archive.formats import readers
from archive.formats.survey import survey

READER = '''
"""Reads files that begin with WREN: one link a line."""
from archive.formats.recognition import Recognition
from archive.tables import Batch, row_id


def recognise(entry):
    return Recognition(0.9, "it begins with WREN", "wren") if entry.head.startswith(b"WREN") else None


def read(entry, *, mapping=None, draft=True):
    labels = entry.path.read_text().split()[1:]
    rows = [
        {"record_id": row_id("re", entry.sha256, label), "medium": "copper", "link_label": label,
         "evidence": "verdict-only", "source_id": entry.sha256}
        for label in labels
    ]
    yield Batch.from_rows({"sources": [entry.source(layout="wren", reader="wren 1")], "records": rows})
'''


@pytest.fixture(autouse=True)
def fresh() -> Iterator[None]:
    """Each test looks for the registered readers anew."""
    for cached in (readers.names, readers.reader):
        cached.cache_clear()
    yield
    for cached in (readers.names, readers.reader):
        cached.cache_clear()


def install(folder: Path, monkeypatch: pytest.MonkeyPatch, line: str, source: str = READER) -> None:
    """A distribution as pip leaves it: a module, and metadata with an entry point."""
    metadata = folder / "wren_reader-1.0.dist-info"
    metadata.mkdir(parents=True)
    (folder / "wren_reader.py").write_text(source)
    (metadata / "METADATA").write_text("Metadata-Version: 2.1\nName: wren-reader\nVersion: 1.0\n")
    (metadata / "entry_points.txt").write_text(f"[{readers.GROUP}]\n{line}\n")
    monkeypatch.syspath_prepend(folder)
    monkeypatch.delitem(__import__("sys").modules, "wren_reader", raising=False)


def test_ours_are_registered_as_any_other() -> None:
    project = tomllib.loads((schemas.root().parent / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["entry-points"][readers.GROUP] == readers.OURS


def test_a_checkout_without_metadata_reads_with_ours(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(readers, "entry_points", lambda group: ())
    assert readers.names() == tuple(readers.OURS)
    for name in readers.names():
        assert callable(readers.reader(name).recognise)
        assert callable(readers.reader(name).read)
    (tmp_path / "a.csv").write_text("Wren;Quail\n1;2\n")
    with pytest.raises(Trouble, match="no reader knows this layout"):
        next(formats.read(tmp_path / "a.csv"))


def test_a_reader_of_another_package_reads_and_is_described(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    install(tmp_path / "site", monkeypatch, "wren = wren_reader")
    exports = tmp_path / "exports"
    exports.mkdir()
    (exports / "one.wren").write_text("WREN\n1A-A01\n1A-A02\n")
    assert readers.names() == (*readers.OURS, "wren")
    reading = formats.read(exports)
    labels = [label for batch in reading for label in batch["records"]["link_label"].to_pylist()]
    assert labels == ["1A-A01", "1A-A02"]
    assert [(f.layout, f.records) for f in reading.files] == [("wren", 2)]
    (described,) = survey([exports])
    assert (described.layout, described.records, described.evidence) == ("wren", 2, "verdict-only")


@pytest.mark.parametrize(
    ("line", "source", "found"),
    [
        ("wren = no_such_module", READER, "No module named 'no_such_module'"),
        ("wren = wren_reader", "def recognise(entry): return None", "no read in it"),
    ],
)
def test_a_reader_that_cannot_be_used_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, line: str, source: str, found: str
) -> None:
    install(tmp_path / "site", monkeypatch, line, source)
    with pytest.raises(Trouble) as told:
        readers.reader("wren")
    assert told.value.code == "reader.unusable"
    assert found in told.value.found
    assert "uninstall" in told.value.remedy


def test_a_name_of_ours_stays_ours(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    install(tmp_path / "site", monkeypatch, "touchstone = wren_reader")
    assert readers.names() == tuple(readers.OURS)
    assert readers.reader("touchstone").__name__ == "archive.formats.touchstone"  # type: ignore[attr-defined]
