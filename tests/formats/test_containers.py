"""Folders and zips that could do harm are refused with one line; everything else in them is accounted for."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

import archive.formats
from archive.errors import Trouble
from archive.formats import containers, schedule
from archive.tables import Batch, concat
from tests.formats import conformance_kit as kit
from tests.formats import hostile

GOOD = kit.xml_of(kit.minimal()).encode()


def _zip(path: Path, *entries: tuple[str | zipfile.ZipInfo, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in entries:
            packed.writestr(name, content)
    return path


def _link(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.external_attr = 0o120777 << 16
    return info


def _refused(path: Path) -> str:
    with pytest.raises(Trouble) as caught:
        list(archive.formats.read(path))
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize(
    "name", ["../out.xml", "a/../../out.xml", "/etc/out.xml", "C:/out.xml", "..\\out.xml", "a\\..\\..\\out.xml", ".."]
)
def test_paths_that_leave_the_zip(tmp_path: Path, name: str) -> None:
    (tmp_path / "in").mkdir()
    path = _zip(tmp_path / "in" / "a.zip", ("good.xml", GOOD), (name, GOOD))
    assert "a path leaves the zip" in _refused(path)
    assert not list(tmp_path.rglob("out.xml"))


def test_a_link_in_a_zip(tmp_path: Path) -> None:
    assert "an entry is a link" in _refused(_zip(tmp_path / "a.zip", (_link("a.xml"), b"/etc/hostname")))


def test_an_encrypted_zip(tmp_path: Path) -> None:
    path = _zip(tmp_path / "a.zip", ("a.xml", GOOD))
    whole = bytearray(path.read_bytes())
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):  # general purpose flag, bit 0: APPNOTE 4.4.4
        whole[whole.index(mark) + at] |= 1
    path.write_bytes(whole)
    assert "is encrypted" in _refused(path)


def test_a_zip_that_declares_to_unpack_to_far_too_much(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(containers, "RATIO_FROM", 100_000)
    path = _zip(tmp_path / "a.zip", ("a.xml", GOOD), ("zeros.bin", bytes(1_000_000)))
    assert "unpacks to far more than it holds" in _refused(path)


def test_a_zip_that_lies_about_its_size(tmp_path: Path) -> None:
    path = _zip(tmp_path / "a.zip", ("zeros.bin", bytes(300_000)))
    whole = path.read_bytes()
    small = (1000).to_bytes(4, "little")
    path.write_bytes(whole.replace((300_000).to_bytes(4, "little"), small))
    line = _refused(path)
    assert "unpacks to far more" in line or "damaged" in line


def test_many_small_files_within_the_ceiling_of_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(containers, "MOST_BYTES", 10_000)
    path = _zip(tmp_path / "a.zip", *((f"{i}.bin", bytes(1000)) for i in range(11)))
    assert "unpacks to far more" in _refused(path)
    monkeypatch.setattr(containers, "MOST_FILES", 5)
    assert "holds 11 files" in _refused(path)


def test_two_entries_with_one_path(tmp_path: Path) -> None:
    with pytest.warns(UserWarning, match="Duplicate"):
        path = _zip(tmp_path / "a.zip", ("a.xml", GOOD), ("a.xml", GOOD))
    assert "the same path" in _refused(path)


def test_a_file_that_is_also_a_folder(tmp_path: Path) -> None:
    assert "cannot be unpacked" in _refused(_zip(tmp_path / "a.zip", ("a", GOOD), ("a/b.xml", GOOD)))


@pytest.mark.parametrize(
    "damage",
    [
        lambda whole: whole[: len(whole) // 2],
        lambda whole: whole[:60] + bytes([whole[60] ^ 0xFF]) + whole[61:],
        lambda whole: b"PK\x03\x04 no more",
    ],
)
def test_a_damaged_zip(tmp_path: Path, damage: Callable[[bytes], bytes]) -> None:
    path = _zip(tmp_path / "a.zip", ("a.xml", GOOD * 3))
    path.write_bytes(damage(path.read_bytes()))
    assert "damaged or not a zip" in _refused(path)


def test_a_zip_in_a_zip_is_opened_and_one_deeper_is_not(tmp_path: Path) -> None:
    inner = _zip(tmp_path / "inner.zip", ("a.xml", GOOD)).read_bytes()
    middle = _zip(tmp_path / "middle.zip", ("inner.zip", inner)).read_bytes()
    outer = _zip(tmp_path / "outer.zip", ("middle.zip", middle))
    assert len(concat(archive.formats.read(tmp_path / "middle.zip"))) == 1
    assert "no reader knows" in _refused(outer)


def test_what_is_refused_inside_a_folder_is_set_aside(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "good.xml").write_bytes(GOOD)
    _zip(folder / "bad.zip", ("../a.xml", GOOD))
    (folder / "empty.txt").write_bytes(b"")
    (folder / "notes.txt").write_text("call the site at eight", encoding="utf-8")
    (folder / "link.xml").symlink_to("/etc/hostname")
    (folder / "more").symlink_to(tmp_path)
    reading = archive.formats.read(folder)
    batch = concat(reading)
    assert len(batch) == 1
    reasons = {r["path"]: r["reason"] for r in batch["set_aside"].to_pylist()}
    assert set(reasons) == {"bad.zip", "empty.txt", "notes.txt", "link.xml", "more"}
    assert reasons["bad.zip"] == "a path leaves the zip"
    assert reasons["more"] == "is a link, and links are not followed"
    assert {f.path for f in reading.files} == {*reasons, "good.xml"}, "every file is accounted for"
    sources = {s["path"] for s in batch["sources"].to_pylist()}
    assert sources == {"bad.zip", "empty.txt", "notes.txt"}, "what a link points to is not read, not even to digest it"


def test_what_an_operating_system_left_behind_is_told_and_not_set_aside(tmp_path: Path) -> None:
    path = _zip(tmp_path / "a.zip", ("a.xml", GOOD), ("__MACOSX/._a.xml", b"\0\5"), ("Thumbs.db", b"\xd0\xcf"))
    reading = archive.formats.read(path)
    assert concat(reading)["set_aside"].num_rows == 0
    assert {f.path for f in reading.files if f.reason.startswith("left out")} == {
        "a.zip/__MACOSX/._a.xml",
        "a.zip/Thumbs.db",
    }


def test_paths_are_told_from_what_was_handed_in(tmp_path: Path) -> None:
    path = _zip(tmp_path / "job.zip", ("week2/good.xml", GOOD), ("week2/notes.txt", b"hello"))
    batch = concat(archive.formats.read(path))
    assert batch["set_aside"].column("path").to_pylist() == ["job.zip/week2/notes.txt"]


def test_a_file_handed_in_twice_is_read_once(tmp_path: Path) -> None:
    (tmp_path / "a.xml").write_bytes(GOOD)
    (tmp_path / "b.xml").write_bytes(GOOD)
    batch = concat(archive.formats.read(tmp_path))
    assert (len(batch), batch["set_aside"].num_rows) == (1, 0)
    told = [f["message"] for f in batch["findings"].to_pylist() if f["rule"] == "same-bytes-again"]
    assert told == ["b.xml holds the same bytes as a.xml, and was not read again."]


def test_where_nothing_can_be_read_the_first_reason_is_told(tmp_path: Path) -> None:
    (tmp_path / "a.xml").write_bytes(GOOD[:-30])
    (tmp_path / "b.txt").write_bytes(b"hello")
    line = _refused(tmp_path)
    assert "a.xml" in line
    assert "1 more file" in line


def test_nothing_and_no_such_path(tmp_path: Path) -> None:
    assert "there is nothing in it" in _refused(tmp_path)
    assert "no such file or folder" in _refused(tmp_path / "missing.xml")


def test_unpacked_files_are_gone_afterwards(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    (tmp_path / "temporary").mkdir()
    path = _zip(tmp_path / "a.zip", ("a.xml", GOOD))
    assert isinstance(concat(archive.formats.read(path)), Batch)
    assert list((tmp_path / "temporary").iterdir()) == []


def test_workbooks_are_not_opened_as_zips() -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as packed:
        packed.writestr("[Content_Types].xml", "<Types/>")
    assert containers.is_zip(buffer.getvalue())


def test_many_entries_each_within_the_ratio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(containers, "RATIO_FROM", 100_000)
    path = _zip(tmp_path / "a.zip", *((f"{i}.bin", bytes(99_000)) for i in range(10)))
    assert path.stat().st_size * containers.MOST_RATIO < 990_000
    assert "unpacks to far more than it holds" in _refused(path)


def test_zips_in_a_zip_share_its_ratio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(containers, "RATIO_FROM", 100_000)
    inner = [_zip(tmp_path / f"{i}.zip", ("zeros.bin", bytes(90_000))) for i in range(4)]
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("good.xml", GOOD)
        for one in inner:
            packed.write(one, one.name)
    reading = archive.formats.read(path)
    batch = concat(reading)
    assert len(batch) == 1, "what came out before stays"
    refused = [r["path"] for r in batch["set_aside"].to_pylist() if "unpacks to far more" in r["reason"]]
    first = len(GOOD) + sum(one.stat().st_size for one in inner)
    within = (containers.MOST_RATIO * path.stat().st_size - first) // 90_000
    assert 0 < within < 4
    assert len(refused) == 4 - within, "each of them is within the ratio of its own size, all together are not"


def test_entries_that_overlap(tmp_path: Path) -> None:
    """Each entry of the directory points to the data of the first."""
    path = _zip(tmp_path / "a.zip", ("a.xml", GOOD), ("b.xml", GOOD))
    whole = bytearray(path.read_bytes())
    second = whole.index(b"PK\x01\x02", whole.index(b"PK\x01\x02") + 1)
    whole[second + 42 : second + 46] = bytes(4)  # relative offset of local header: APPNOTE 4.3.12
    path.write_bytes(whole)
    assert "two entries stand at one place" in _refused(path)


def test_a_zip_for_which_the_disk_has_no_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = _zip(tmp_path / "a.zip", ("a.xml", GOOD))
    free = containers.shutil.disk_usage(tmp_path)
    monkeypatch.setattr(containers.shutil, "disk_usage", lambda _: free._replace(free=containers.SPARE + len(GOOD) - 1))
    line = _refused(path)
    assert "there is no room to unpack it" in line
    assert "TMPDIR" in line
    monkeypatch.setattr(containers.shutil, "disk_usage", lambda _: free._replace(free=containers.SPARE + len(GOOD)))
    assert len(concat(archive.formats.read(path))) == 1


@pytest.mark.parametrize("name", ["links.xlsx", "links.zip"])
def test_a_zip_of_a_version_that_nobody_reads_is_told(tmp_path: Path, name: str) -> None:
    """One byte of the central directory: Python says that it does not know such a version."""
    whole = bytearray((hostile.EXPORTS / "marlow-workbook" / "Results.xlsx").read_bytes())
    whole[whole.rindex(b"PK\x01\x02") + 6] = 224
    path = tmp_path / name
    path.write_bytes(whole)
    with pytest.raises(Trouble):
        list(archive.formats.read(path))
    if name == "links.xlsx":
        with pytest.raises(Trouble, match=r"links\.xlsx"):
            schedule.read(path)
