"""Trays and uploads of the desk: what comes in, under which names, within which limits."""

from __future__ import annotations

import io
import json
import os
import socket
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from archive.errors import Trouble
from archive.room.desk import incoming, tray
from archive.room.desk.incoming import FormReader, into
from archive.room.desk.tray import begin, open_tray, safe_parts
from tests.room.clerk import Clerk, query, text_of
from tests.room.serving import HOSTILE, Room

NAMES = (
    *HOSTILE,
    "..",
    "/etc/passwd",
    "C:\\windows\\win.ini",
    "a/../../b.csv",
    "nul\0.csv",
    "line\nbreak.csv",
    "x" * 500 + ".csv",
    "con/aux.csv",
    "....",
    "\ud800.csv",
)
"""Names that no browser of an honest person sends."""


@pytest.fixture
def trays(tmp_path: Path) -> Path:
    return tmp_path / "trays"


@pytest.mark.parametrize("name", NAMES)
def test_a_name_never_leads_out_of_its_tray(trays: Path, name: str) -> None:
    made = begin(trays, "", "", "2026-12-01T10:00:00Z")
    one = into(made, name)
    one.write(b"bytes")
    one.end()
    (kept,) = made.files()
    assert kept.path.parent == made.folder and kept.path.name == kept.id and kept.bytes == 5
    assert os.name != "posix" or kept.path.stat().st_mode & 0o777 == 0o600
    with made.laid_out() as out:
        found = [p for p in out.folder.rglob("*") if p.is_file()]
        assert [p.read_bytes() for p in found] == [b"bytes"] and found == list(out.paths.values())
        assert out.folder.resolve() in found[0].resolve().parents
    assert not out.folder.exists()


def test_names_that_are_equal_or_clash_stand_beside_each_other(trays: Path) -> None:
    made = begin(trays, "", "", "")
    for name in ("a/b.csv", "a/b.csv", "a/b.csv/c.csv", "a"):
        one = into(made, name)
        one.write(name.encode())
        one.end()
    with made.laid_out() as out:
        assert sorted(p.read_bytes() for p in out.folder.rglob("*") if p.is_file()) == sorted(
            f.name.encode() for f in made.files()
        )


def test_what_is_ordinary_keeps_its_name() -> None:
    assert safe_parts("week 1/Süd, 2. OG/export (3).csv") == ["week 1", "Süd, 2. OG", "export (3).csv"]


def test_limits_are_counted_by_ourselves(trays: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(incoming, "MOST_BYTES", 10)
    made = begin(trays, "", "", "")
    one = into(made, "a")
    one.write(b"123456")
    with pytest.raises(Trouble, match="the tray is full"):
        one.write(b"789012")
    one.give_up()
    assert not made.files() and not list(made.folder.glob("*.part"))
    monkeypatch.setattr(incoming, "MOST_FILES", 1)
    two = into(made, "b")
    two.end()
    with pytest.raises(Trouble, match="the tray is full"):
        into(made, "c")
    monkeypatch.setattr(incoming, "MOST_FILES", 9)
    monkeypatch.setattr(incoming, "KEPT_FREE", 1 << 60)
    with pytest.raises(Trouble, match="disk of this machine"):
        into(made, "d").write(b"x")


def test_a_form_brings_in_nothing_before_its_token(trays: Path) -> None:
    """The files of a form without a token are refused at the first, whatever comes after."""
    made = begin(trays, "", "", "")

    def refuse(texts: dict[str, str]) -> tray.Tray:
        assert texts == {}
        raise Trouble("no token", code="desk.form-token")

    reader = FormReader("multipart/form-data; boundary=edge", refuse)
    body = b'--edge\r\ncontent-disposition: form-data; name="files"; filename="a.csv"\r\n\r\nx\r\n--edge--\r\n'
    with pytest.raises(Trouble, match="no token"):
        reader.write(body)
    assert not made.files()
    for kind in ("text/plain", "multipart/form-data", "multipart/form-data; boundary=" + "b" * 300):
        with pytest.raises(Trouble, match="no form"):
            FormReader(kind, refuse)


def test_a_tray_is_its_owners(trays: Path) -> None:
    made = begin(trays, "brume", "", "")
    assert open_tray(trays, made.id, "brume").id == made.id
    for number in (made.id, "../" + made.id, None, "", "0" * 20):
        with pytest.raises(Trouble, match="no such tray"):
            open_tray(trays, number, "ostrander")


@pytest.fixture(scope="module")
def desk(shelf: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    """A room with a desk on the archive of the other tests; nothing is deposited here."""
    offered = tmp_path_factory.mktemp("offered")
    (offered / "late.xml").write_bytes((shelf.parent / "export.xml").read_bytes())
    (offered / "link").symlink_to("/etc/passwd")
    found = Room(shelf, shelf.parent, "--desk", "--tray", str(offered))
    yield found
    found.close()


@pytest.fixture(scope="module")
def clerk(desk: Room) -> Clerk:
    return Clerk.at(desk)


def zipped(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            packed.writestr(name, data)
    return out.getvalue()


def test_hostile_uploads_are_shown_as_data_and_surveyed(clerk: Clerk, shelf: Path) -> None:
    export = (shelf.parent / "export.xml").read_bytes()
    svg = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
    bomb = zipped({"bomb.csv": bytes(40 << 20)})
    files = {"good/export.xml": export, "empty.csv": b"", "evil.svg": svg, "bomb.zip": bomb, "../../up.csv": b"x"}
    files |= {"<script>alert(2)</script>.csv": b"a;b\n1;2\n", "turned\u202evsc.exe": b"MZ", "new\nline.csv": b"x"}
    page = clerk.upload(files)
    number = query(page, "tray")
    assert page.status == 200 and "<script>alert" not in page.body and "\u202e" not in page.body
    assert "&lt;script&gt;alert(2)" in page.body and "8 files" in text_of(page)
    survey = clerk.surveyed(number)
    told = text_of(survey)
    assert "done, with something to look at" in told and "<script>alert" not in survey.body
    assert "link-record-xml" in told and "10 records" in told and "bomb" in told and "\u202e" not in survey.body
    log = clerk.room.log.read_text()
    assert "fault" not in log
    gone = clerk.send("/hand-in/remove", {"tray": number})
    assert gone.headers["at"] == "/hand-in" and clerk.see(f"/hand-in/tray?tray={number}").status == 404


def test_a_file_as_the_script_sends_it(clerk: Clerk) -> None:
    first = clerk.send_file("week 1/a b,ä.csv", b"12")
    assert first.status == 200
    number = first.body.partition('"tray":"')[2][:20]
    assert clerk.send_file("week 1/c.csv", b"", number).status == 200
    assert clerk.send_file("d.csv", b"x", "0" * 20).status == 404
    assert clerk.send_file("d.csv", b"x", number, x_form_token="made-up").status == 403
    assert clerk.send_file("d.csv", b"12", number, content_length=str(90 << 30)).status == 413
    page = clerk.see(f"/hand-in/tray?tray={number}")
    assert "week 1/a b,ä.csv" in page.body and "2 files" in text_of(page) and "d.csv" not in page.body
    assert "refused upload: desk.form-token" in clerk.room.log.read_text()


def test_one_upload_at_a_time_and_nothing_of_half_a_file(clerk: Clerk) -> None:
    tray = json.loads(clerk.send_file("whole.csv", b"1").body)["tray"]
    head = f"POST {clerk.base}/hand-in/file HTTP/1.1\r\nhost: {clerk.room.host}\r\ncookie: {clerk.cookie}\r\n"
    head += f"sec-fetch-site: same-origin\r\nx-form-token: {clerk.token}\r\nx-tray: {tray}\r\nx-name: half.csv\r\n"
    with socket.create_connection(("127.0.0.1", clerk.room.port)) as slow:
        slow.sendall(head.encode() + b"content-length: 9\r\n\r\nhalf")
        until = time.monotonic() + 30
        while (second := clerk.send_file("other.csv", b"2", tray)).status != 409:
            assert time.monotonic() < until
        assert "another upload of this sign-in" in second.body
    until = time.monotonic() + 30
    while (again := clerk.send_file("after.csv", b"3", tray)).status != 200:
        assert time.monotonic() < until, again.body
    assert "half.csv" not in clerk.see(f"/hand-in/tray?tray={tray}").body


def test_the_offered_folder_is_chosen_by_number(clerk: Clerk) -> None:
    page = clerk.see("/hand-in")
    assert "late.xml" in page.body and "passwd" not in page.body and 'value="2"' not in page.body
    state = page.body.partition('name="listing" value="')[2].partition('"')[0]
    for wanted in ("2", "../late.xml", "/etc/passwd", "-1", ""):
        clerk.send("/hand-in/choose", {"listing": state, "number": wanted, "tray": ""}, status=422)
    clerk.send("/hand-in/choose", {"listing": "0" * 16, "number": "1", "tray": ""}, status=422)
    made = clerk.send("/hand-in/choose", {"listing": state, "number": "1", "tray": ""})
    assert "late.xml" in text_of(made)
    assert "link-record-xml" in text_of(clerk.surveyed(query(made, "tray")))
