"""`muniment convert` and `muniment schema` as a person meets them: words, exit codes, one document, all or nothing."""

from __future__ import annotations

import errno
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

import archive.formats
from archive.cli import cli
from archive.errors import Trouble
from archive.tables import Batch, concat
from tests.formats import conformance_kit as kit


def _run(*words: str | Path) -> Result:
    return CliRunner().invoke(cli, [str(w) for w in words], standalone_mode=False)


@pytest.fixture
def good(tmp_path: Path) -> Path:
    """An open XML document of the kit."""
    path = tmp_path / "good.xml"
    path.write_bytes((kit.KIT / "good" / "every-table.xml").read_bytes())
    return path


@pytest.mark.parametrize(
    ("out", "form", "first"),
    [
        ("job.xml", None, "job.xml"),
        ("job", None, "job/link-records.xml"),
        ("job.zip", None, "job.zip"),
        ("job", "csv", "job/records.csv"),
        ("job", "parquet", "job/records.parquet"),
    ],
)
def test_the_form_and_the_place(tmp_path: Path, out: str, form: str | None, first: str) -> None:
    source = kit.KIT / "good" / "one-sweep.xml"
    result = _run("convert", source, "--to", tmp_path / out, *(("--form", form) if form else ()))
    assert result.return_value == 0, result.output
    assert (tmp_path / first).is_file()
    assert concat(archive.formats.read(tmp_path / out)).equals(Batch.from_rows(kit.one_sweep()))


def test_json_accounts_for_every_cell(tmp_path: Path, good: Path) -> None:
    result = _run("convert", good, "--to", tmp_path / "out.zip", "--json")
    document = json.loads(result.stdout)
    assert document["records"] == 2
    assert document["set_aside"] == 1, "what an earlier reading set aside is told again"
    assert result.return_value == 1
    cells = document["cells"]
    assert cells["read"] == cells["mapped"] + cells["extras"] + cells["ignored"] == 4
    assert [f["path"] for f in document["files"]] == ["good.xml"]
    assert document["files"][0]["layout"] == "link-record-xml"


def test_a_record_set_aside_is_told_and_ends_with_1(tmp_path: Path) -> None:
    source = kit.KIT / "aside" / "sweep-shorter-than-its-axis.xml"
    result = _run("convert", source, "--to", tmp_path / "out.xml")
    assert result.return_value == 1
    assert "1 record from 1 file" in result.stdout
    assert "sweep-shorter-than-its-axis.xml, line 4, /link-records/record[1], A1: " in result.stdout
    assert "has 4 values for 5 points" in result.stdout


@pytest.mark.parametrize("name", ["truncated-in-a-sweep.xml", "entity-bomb.xml", "csv-newer-version.zip", "empty.xml"])
def test_what_cannot_be_read_leaves_nothing(tmp_path: Path, name: str) -> None:
    result = _run("convert", kit.KIT / "refused" / name, "--to", tmp_path / "new" / "out.xml")
    assert isinstance(result.exception, Trouble), "the entry point prints it as one line and ends with 2"
    assert not list(tmp_path.rglob("*.*"))


def test_an_input_that_turns_bad_late_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken() -> Any:
        yield Batch.from_rows(kit.one_sweep())
        raise Trouble("the stick was pulled out", where="a.xml")

    for out, form in (("out.xml", "xml"), ("out", "csv"), ("out.zip", "csv"), ("out", "parquet")):
        with pytest.raises(Trouble):
            archive.formats.write(broken(), tmp_path / out, form)
        assert not list(tmp_path.iterdir())


def test_a_full_disk_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(Trouble, match="the disk is full"):
        archive.formats.write([Batch.from_rows(kit.minimal())], tmp_path / "out.xml")
    assert not list(tmp_path.iterdir())


def test_what_stands_there_is_not_replaced_unasked(tmp_path: Path, good: Path) -> None:
    out = tmp_path / "out.xml"
    out.write_text("mine", encoding="utf-8")
    result = _run("convert", good, "--to", out)
    assert isinstance(result.exception, Trouble)
    assert out.read_text(encoding="utf-8") == "mine"
    assert _run("convert", good, "--to", out, "--replace").return_value == 1
    assert out.read_text(encoding="utf-8").startswith("<?xml")
    (tmp_path / "folder").mkdir()
    assert _run("convert", good, "--to", tmp_path / "folder", "--form", "csv").return_value == 1
    assert isinstance(_run("convert", good, "--to", tmp_path / "folder", "--form", "csv").exception, Trouble)


def test_a_file_is_not_converted_onto_itself(good: Path) -> None:
    """What is read is an original, and may hold more than what could be read of it."""
    before = good.read_bytes()
    assert isinstance(_run("convert", good, "--to", good, "--replace").exception, Trouble)
    assert good.read_bytes() == before


def test_several_inputs_are_one_output(tmp_path: Path) -> None:
    sources = [kit.KIT / "good" / name for name in ("minimal.zip", "every-table.xml")]
    result = _run("convert", *sources, "--to", tmp_path / "out.xml", "--json")
    assert json.loads(result.stdout)["records"] == 3


def test_nothing_of_a_foreign_text_reaches_the_terminal_as_a_command(tmp_path: Path) -> None:
    """A cell that holds an escape sequence is printed as text."""
    bad = kit.ASIDE["sweep-shorter-than-its-axis"][0].replace('link_label="A1"', 'link_label="A1&#x85;&#x9B;31m"')
    path = tmp_path / "a.xml"
    path.write_text(bad, encoding="utf-8")
    result = _run("convert", path, "--to", tmp_path / "out.xml")
    assert result.return_value == 1
    assert "\x9b" not in result.stdout
    assert "\x85" not in result.stdout
    assert "A1" in result.stdout


@pytest.mark.parametrize("form", ["xml", "csv", None])
def test_schema_writes_the_files_out(tmp_path: Path, form: str | None) -> None:
    result = _run("schema", *((form,) if form else ()), "-o", tmp_path / "out", "--json")
    files = [Path(f) for f in json.loads(result.stdout)["files"]]
    assert files
    assert all(f.is_file() for f in files)


def test_the_python_door(tmp_path: Path, good: Path) -> None:
    import muniment as package

    batch = next(package.read(good))
    batch.write(tmp_path / "again.xml")
    assert next(package.read(tmp_path / "again.xml")).equals(batch)
    with pytest.raises(AttributeError):
        package.nothing_of_that_name  # noqa: B018
