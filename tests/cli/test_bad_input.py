"""Bad input at the command line: one clear line, exit code 2 or a record set aside, nothing lost, nothing half-written.

The list is that of the plan for the first version: truncated, foreign or newer documents, entity bombs, zips that climb
out or never end, numbers that are none, sweeps that do not fit their axis, analyser files that do not fit their ports.
"""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from tests.cli import bad
from tests.cli.conftest import World
from tests.cli.person import everything, typed

READERS = {
    "convert": ("convert", "{input}", "--to", "{new}"),
    "convert to csv": ("convert", "{input}", "--to", "{new}", "--form", "csv"),
    "check": ("check", "{input}"),
    "grade": ("grade", "{input}"),
    "copies": ("copies", "{input}"),
    "deposit": ("deposit", "{input}", "--into", "{archive}", "--job", "J", "--by", "R. Ostrander"),
}
UNREADABLE = """
empty.xml blank.csv cut-off.xml cut-in-a-tag.xml a-letter.xml a-page.xml other-namespace.xml no-namespace.xml newer.xml
bomb.xml external.xml not-utf-8.xml climbs.zip terabytes.zip cut-off.zip short-row.s4p no-numbers.s4p cut-off.parquet
cut-off.xlsx an-empty-workbook.xlsx deep.json cut-off.json bytes.bin utf-16.xml
""".split()  # noqa: SIM905
HALF_READABLE = """
not-a-number.xml endless.xml beyond-a-double.xml short-sweep.xml long-sweep.xml twice.xml unordered-axis.xml
""".split()  # noqa: SIM905


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("bad")
    return {**bad.unreadable(folder), **bad.half_readable(folder)}


@pytest.fixture(scope="module")
def empty_archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(tmp_path_factory.mktemp("cache")))
        assert typed("init", tmp_path_factory.mktemp("home") / "archive").code == 0
    return next(iter(tmp_path_factory.getbasetemp().glob("home*/archive")))


def test_the_list_is_whole(files: dict[str, bytes]) -> None:
    assert set(files) == {*UNREADABLE, *HALF_READABLE}
    good = files["cut-off.xml"]
    assert good not in (files[name] for name in HALF_READABLE)


@pytest.mark.parametrize("command", READERS.values(), ids=READERS)
@pytest.mark.parametrize("name", UNREADABLE)
def test_alone_it_is_one_line_and_nothing_is_done(
    name: str, command: tuple[str, ...], files: dict[str, bytes], empty_archive: Path, tmp_path: Path
) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / name).write_bytes(files[name])
    before = everything(tmp_path, empty_archive)
    words = {"input": tmp_path / "in" / name, "new": tmp_path / "new", "archive": empty_archive}
    said = typed(*(w.format(**words) for w in command))
    assert name in said.line
    assert bad.LEAK not in said.err
    assert everything(tmp_path, empty_archive) == before


@pytest.mark.parametrize("name", UNREADABLE)
def test_beside_a_good_file_it_is_set_aside_and_the_good_one_read(
    name: str, files: dict[str, bytes], tmp_path: Path
) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    bad.document(folder)
    (folder / name).write_bytes(files[name])
    said = typed("convert", folder, "--to", tmp_path / "out.xml", "--json")
    assert said.code == 1
    assert (said.document["records"], said.document["set_aside"]) == (2, 1)
    (row,) = said.document["set_aside_rows"]
    assert row["path"].startswith(name)
    assert row["reason"]
    text = (tmp_path / "out.xml").read_text(encoding="utf-8")
    assert bad.LEAK not in text
    assert row["path"] in text or "&#" in text, "what is set aside is told in the open form too"
    said = typed("survey", folder, "--json")
    assert said.code == 1
    assert {f["records"] for f in said.document["files"] if f["path"].startswith(name)} == {0}


@pytest.mark.parametrize("name", HALF_READABLE)
def test_a_bad_record_is_set_aside_and_the_good_one_read(
    name: str, files: dict[str, bytes], empty_archive: Path, tmp_path: Path
) -> None:
    path = tmp_path / name
    path.write_bytes(files[name])
    said = typed("convert", path, "--to", tmp_path / "out.xml", "--json")
    assert said.code == 1
    assert said.document["records"] == 1
    rows = said.document["set_aside_rows"]
    # An axis that is none is told once for itself, and once for the record that names it.
    assert len(rows) == said.document["set_aside"] == (2 if name == "unordered-axis.xml" else 1)
    for row in rows:
        assert row["path"] == name
        assert "line" in row["place"]
    assert row["remedy"]
    assert row["found"] or row["expected"]
    for command in ("check", "grade"):
        assert typed(command, path).code == 1
    assert typed("check", path, "--json").document["records"] == 1


def test_of_a_bad_record_nothing_is_lost_in_the_archive(files: dict[str, bytes], world: World, tmp_path: Path) -> None:
    path = tmp_path / "short-sweep.xml"
    path.write_bytes(files[path.name])
    words = ("deposit", path, "--into", world.archive, "--job", "LATER-1", "--by", "R. Ostrander")
    said = typed(*words, "--json")
    assert (said.code, said.document["new"], said.document["set_aside"]) == (1, 1, 1)
    (row,) = typed("setaside", world.archive, "--job", "LATER-1", "--json").document["set_aside"]
    assert row["path"] == path.name
    bag = world.archive / said.document["path"]
    kept = [p.read_bytes() for p in bag.rglob("*") if p.is_file() and p.suffix != ".zip"]
    for packed in bag.rglob("*.zip"):
        with zipfile.ZipFile(packed) as opened:
            kept += [opened.read(n) for n in opened.namelist()]
    assert files[path.name] in kept, "the original is archived, byte for byte"
    assert typed("fixity", world.archive, "--depth", "deep").code == 0


def test_no_records_are_no_fault_and_nothing_to_look_at(empty_archive: Path, tmp_path: Path) -> None:
    path = tmp_path / "none.xml"
    path.write_text('<?xml version="1.0"?>\n<link-records xmlns="urn:muniment:link-record:1"></link-records>\n')
    assert typed("survey", path).code == 0
    assert typed("convert", path, "--to", tmp_path / "out.xml").code == 0
    for command in ("check", "grade", "copies"):
        assert "no record" in typed(command, path).line
    before = everything(empty_archive)
    assert typed("deposit", path, "--into", empty_archive, "--job", "J", "--by", "N").code == 0
    assert everything(empty_archive) == before


# --- paths that are not what they seem ----------------------------------------------------------------------------


@pytest.mark.parametrize("command", READERS.values(), ids=READERS)
def test_a_path_that_is_nothing_to_read(command: tuple[str, ...], empty_archive: Path, tmp_path: Path) -> None:
    import os

    (tmp_path / "broken.xml").symlink_to(tmp_path / "nowhere")
    (tmp_path / "loop.xml").symlink_to(tmp_path / "loop.xml")
    os.mkfifo(tmp_path / "pipe.xml")
    (tmp_path / "folder.xml").mkdir()
    before = everything(empty_archive)
    for name in ("broken.xml", "loop.xml", "pipe.xml", "folder.xml", "absent.xml", "folder.xml/below"):
        words = {"input": tmp_path / name, "new": tmp_path / "new", "archive": empty_archive}
        line = typed(*(w.format(**words) for w in command)).line
        assert name in line
        assert not (tmp_path / "new").exists()
    assert everything(empty_archive) == before


def test_links_pipes_and_loops_in_a_folder_are_told_and_passed(tmp_path: Path) -> None:
    import os

    folder = tmp_path / "in"
    folder.mkdir()
    bad.document(folder)
    (folder / "broken.xml").symlink_to(tmp_path / "nowhere")
    (folder / "up").symlink_to(tmp_path)
    os.mkfifo(folder / "pipe.xml")
    said = typed("convert", folder, "--to", tmp_path / "out", "--json")
    assert (said.code, said.document["records"]) == (1, 2)
    assert {r["path"] for r in said.document["set_aside_rows"]} == {"broken.xml", "up", "pipe.xml"}


def test_outputs_where_something_stands(built: World, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "letter.txt").write_text("mine")
    before = everything(tmp_path)
    for out in ("file", "full", "file/below", "full/letter.txt"):
        for form in ("xml", "csv", "parquet"):
            assert out in typed("convert", built.good, "--to", tmp_path / out, "--form", form).line
    for words in (
        ("convert", built.good, "--to", tmp_path / "full", "--form", "csv", "--replace"),
        ("claim", built.archive, "01-1A-A01", "--no-record", "--out", tmp_path / "full"),
        ("book", built.archive, "--no-record", "--job", built.receipt["job"], "--out", tmp_path / "full"),
        ("init", tmp_path / "full"),
        ("init", tmp_path / "file"),
        ("demo", tmp_path / "full"),
        ("demo", tmp_path / "file"),
        ("export", built.archive, "--to", tmp_path / "full"),
        ("mapping", "draft", built.schedule, "-o", tmp_path / "file"),
    ):
        assert str(tmp_path) in typed(*words).line
        assert everything(tmp_path) == before


def test_schema_files_take_no_place_of_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "README.md").write_text("mine")
    monkeypatch.chdir(tmp_path)
    assert "README.md" in typed("schema").line
    assert [p.name for p in tmp_path.iterdir()] == ["README.md"]
    assert (tmp_path / "README.md").read_text() == "mine"


ARCHIVE_COMMANDS = (
    """
find|history A1|progress --job J|job J|setaside|receipt D|claim A1 --out {new}|book --job J --out {new}|rates --by year
recall --serial 1|fixity|reindex|regrade --against tia-568.2-d/cat6/channel|amend --record R --set site=x
withdraw --record R|hold --job J|redact --name N|repair --from {other}|export --to {new}|merge {other}|prove R
stamp --request {new}|reread --deposit D|attach {other} --job J --kind letter|keys make|keys list
health|calibrations|dispose|dispose --job J --propose --by N
""".replace("\n", "|")
    .strip("|")
    .split("|")
)


@pytest.mark.parametrize("line", ARCHIVE_COMMANDS)
def test_a_folder_that_is_no_archive(line: str, tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "other").write_text("x")
    (tmp_path / "file").write_text("not an archive")
    before = everything(tmp_path)
    for place in ("folder", "file", "absent"):
        words = [w.format(new=tmp_path / "new", other=tmp_path / "folder" / "other") for w in line.split()]
        many = 2 if words[0] == "keys" else 1
        said = typed(*words[:many], tmp_path / place, *words[many:])
        assert "archive" in said.line
        assert everything(tmp_path) == before
