"""Gzip, tar, 7z and mails: their files are read as if they had been handed in, within bounds; nothing leaves them."""

from __future__ import annotations

import gzip
import io
import tarfile
from email.message import EmailMessage
from pathlib import Path

import py7zr
import pytest

import archive.formats
from archive.answers.originals import _parts
from archive.errors import Trouble
from archive.formats import containers, packs
from archive.formats.containers import entries
from archive.formats.folders import Refused
from tests.formats import conformance_kit

RECORD = next(p for p in sorted((conformance_kit.KIT / "good").glob("*.xml")) if "sweep" in p.name)


def _names(path: Path, tmp_path: Path) -> list[str]:
    room = tmp_path / "room"
    room.mkdir(exist_ok=True)
    return [u.name for u in entries(path, room)]


def _tar(path: Path, files: dict[str, bytes], mode: str = "w:gz") -> Path:
    with tarfile.open(path, mode) as packed:  # type: ignore[call-overload]
        for name, content in files.items():
            info = tarfile.TarInfo(name)
            info.size = len(content)
            packed.addfile(info, io.BytesIO(content))
    return path


def _mail(*attached: tuple[str, bytes]) -> bytes:
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Subject"] = "crew@quay.example", "records@quay.example", "Results, floor 2"
    mail["Message-ID"] = "<1@quay.example>"
    mail.set_content("Here they are.")
    for name, content in attached:
        mail.add_attachment(content, maintype="application", subtype="octet-stream", filename=name)
    return mail.as_bytes()


def _packed(kind: str, tmp_path: Path) -> tuple[Path, str]:
    """A packing that holds the record, and the name of the record in it."""
    content = RECORD.read_bytes()
    if kind == "gz":
        (tmp_path / "job.xml.gz").write_bytes(gzip.compress(content))
        return tmp_path / "job.xml.gz", "job.xml.gz/job.xml"
    if kind in ("tar", "tgz"):
        return _tar(tmp_path / f"job.{kind}", {"week/job.xml": content}, "w" if kind == "tar" else "w:gz"), (
            f"job.{kind}/week/job.xml"
        )
    if kind == "eml":
        (tmp_path / "results.eml").write_bytes(_mail(("job.xml", content)))
        return tmp_path / "results.eml", "results.eml/job.xml"
    with py7zr.SevenZipFile(tmp_path / "job.7z", "w") as packed:
        packed.writestr(content, "week/job.xml")
    return tmp_path / "job.7z", "job.7z/week/job.xml"


@pytest.mark.parametrize("kind", ["gz", "tar", "tgz", "7z", "eml"])
def test_what_is_in_a_packing_is_read(kind: str, tmp_path: Path) -> None:
    """As the file itself, under the path inside; the original of each record is found again in the packing."""
    alone = [r for b in archive.formats.read(RECORD) for r in b["records"]["record_id"].to_pylist()]
    path, name = _packed(kind, tmp_path)
    batches = list(archive.formats.read(path))
    assert alone
    assert [r for b in batches for r in b["records"]["record_id"].to_pylist()] == alone
    assert name in _names(path, tmp_path)
    assert RECORD.read_bytes() in list(_parts(path.read_bytes()))


def test_a_mail_is_kept_as_a_document_beside_its_attachments(tmp_path: Path) -> None:
    """Its subject is the title; a mail without attachments is a document too."""
    (tmp_path / "a.eml").write_bytes(_mail(("job.xml", RECORD.read_bytes()), ("job.xml", b"another of that name")))
    batches = list(archive.formats.read_all([tmp_path]))
    (document,) = [d for b in batches for d in b["documents"].to_pylist()]
    assert (document["title"], document["kind"]) == ("Results, floor 2", "letter")
    assert document["media_type"] == "message/rfc822"
    assert _names(tmp_path / "a.eml", tmp_path / "..") == ["a.eml", "a.eml/2-job.xml", "a.eml/job.xml"]


def test_a_report_with_names_and_values_is_no_mail() -> None:
    """Lines of names, colons and values are what exports have too."""
    assert packs.is_mail(_mail())
    assert not packs.is_mail(b"From: 2021-03-04\nTo: 2021-03-05\nDate: today\n\nLink: A-1\n")
    assert not packs.is_mail(b"Link: A-1\nLength: 33.5 m\n")


@pytest.mark.parametrize("name", ["../out.csv", "/out.csv", "a/../../out.csv", "C:/out.csv"])
def test_a_path_that_leaves_a_tar_is_refused(name: str, tmp_path: Path) -> None:
    path = _tar(tmp_path / "job.tgz", {"in.csv": b"a", name: b"b"})
    with pytest.raises(Trouble, match="a path leaves it"):
        _names(path, tmp_path)
    assert not list(tmp_path.rglob("out.csv"))


def test_a_link_in_a_tar_is_refused(tmp_path: Path) -> None:
    with tarfile.open(tmp_path / "job.tar", "w") as packed:
        info = tarfile.TarInfo("link")
        info.type, info.linkname = tarfile.SYMTYPE, "/etc/passwd"
        packed.addfile(info)
    with pytest.raises(Trouble, match="a link or a device"):
        _names(tmp_path / "job.tar", tmp_path)


def test_the_name_of_an_attachment_says_nothing_of_its_folder() -> None:
    found = [name for name, _ in packs.attachments(_mail(("../../evil.csv", b"1"), ("..", b"2"), ("a\\b.csv", b"3")))]
    assert found == ["evil.csv", "attachment", "b.csv"]


@pytest.mark.parametrize("kind", ["gz", "tgz", "7z"])
def test_a_packing_that_unpacks_to_far_too_much_is_refused(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(containers, "RATIO_FROM", 1 << 20)
    zeros = bytes(8 << 20)
    path = tmp_path / f"bomb.{kind}"
    if kind == "gz":
        path.write_bytes(gzip.compress(zeros))
    elif kind == "tgz":
        _tar(path, {"zeros.csv": zeros})
    else:
        with py7zr.SevenZipFile(path, "w") as packed:
            packed.writestr(zeros, "zeros.csv")
    with pytest.raises(Trouble, match="far more than it holds"):
        _names(path, tmp_path)


@pytest.mark.parametrize("kind", ["gz", "tgz", "7z"])
def test_a_damaged_packing_costs_itself_alone(kind: str, tmp_path: Path) -> None:
    """Cut short: it is refused with its name, and its neighbour is read."""
    path, _ = _packed(kind, tmp_path)
    path.write_bytes(path.read_bytes()[:-40])
    (tmp_path / "z.xml").write_bytes(RECORD.read_bytes())
    room = tmp_path.parent / f"{tmp_path.name}-room"
    room.mkdir()
    refused = [u for u in entries(tmp_path, room) if isinstance(u, Refused)]
    assert [u.name for u in refused] == [path.name]
    assert refused[0].trouble.code in ("zip.damaged", "confined.failed")
    assert any(len(b) for b in archive.formats.read_all([tmp_path]))


def test_an_encrypted_7z_says_so(tmp_path: Path) -> None:
    with py7zr.SevenZipFile(tmp_path / "job.7z", "w", password="secret") as packed:
        packed.writestr(b"a,b\n", "job.csv")
    with pytest.raises(Trouble, match="encrypted"):
        _names(tmp_path / "job.7z", tmp_path)


@pytest.mark.parametrize(
    "kind", [tarfile.XHDTYPE, tarfile.GNUTYPE_LONGNAME, tarfile.REGTYPE], ids=["pax", "long", "file"]
)
@pytest.mark.parametrize(
    "size", [b"\x80" + b"\xff" * 11, b"\x80" + bytes(5) + b"\x7f" + b"\xff" * 5], ids=["2^88", "2^47"]
)
def test_a_size_that_no_disk_has_is_told(kind: bytes, size: bytes, tmp_path: Path) -> None:
    """Found by fuzzing (gzip, case 1744): a head claims more than a number of the machine holds, or its memory."""
    info = tarfile.TarInfo("in.csv")
    info.type = kind
    head = bytearray(info.tobuf(tarfile.GNU_FORMAT))
    head[124:136], head[148:156] = size, b" " * 8
    head[148:156] = b"%06o\0 " % sum(head)
    (tmp_path / "job.tgz").write_bytes(gzip.compress(bytes(head) + bytes(1024)))
    with pytest.raises(Trouble) as raised:
        _names(tmp_path / "job.tgz", tmp_path)
    assert raised.value.where.endswith(("job.tgz", "in.csv"))
