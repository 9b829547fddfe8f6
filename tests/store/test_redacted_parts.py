"""One file of a zip among the originals is redacted by its name; names are looked for in every packing.

The layout of packings and mails is that of their own standards, made here with the general libraries of Python
(zipfile, tarfile, gzip, email); fixity and digests are compared with hashlib.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import shutil
import tarfile
import zipfile
from email.message import EmailMessage
from pathlib import Path

import pytest
from store_crash import machine, steps
from store_making import batch, deposit, rows

from archive import store
from archive.answers.named_places import NOT_LOOKED_INTO, named_places
from archive.answers.originals import of_source
from archive.errors import Trouble
from archive.store import Archive, aside
from archive.store.copies import export, merge, repair
from archive.store.events import hold
from archive.store.events.redact import of_file, of_name, redact
from archive.store.fixity import fixity
from archive.store.received import received

NAME, EXPORT, CREW = "K. Löwenstern", b"invented,cells\n1,2\n", "crew: K. Löwenstern\n".encode()
SOURCE = hashlib.sha256(EXPORT).hexdigest()
JOB = "HARBOUR-2019-04"


@pytest.fixture(autouse=True)
def the_stopped_program_is_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(aside, "_runs", lambda _pid, _started: False)


def zipped(**files: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, data in files.items():
            packed.writestr(name.replace("__", "/").replace("_", "."), data)
    return out.getvalue()


def deposited(archive: Archive, folder: Path, **files: bytes) -> str:
    """A deposit with these files as received; gives the path of its bag."""
    folder.mkdir(exist_ok=True)
    listed = []
    for name, data in files.items():
        shown = name.replace("__", "/").replace("_", ".")
        path = folder / Path(shown).name
        path.write_bytes(data)
        listed.append((path, shown))
    made = deposit(archive, batch(rows(source=SOURCE)), originals=listed)
    assert made.entry is not None
    return str(made.entry["path"])


def two(archive: Archive, tmp_path: Path) -> str:
    return deposited(archive, tmp_path / "in", week2__links_csv=EXPORT, week2__crew_txt=CREW)


def test_one_file_goes_and_the_others_stay_as_received(archive: Archive, tmp_path: Path) -> None:
    bag = two(archive, tmp_path)
    before = (archive.root / bag / "data/originals.zip").read_bytes()
    plan = of_file(archive, f"{bag}/data/originals.zip: week2/crew.txt")
    entry = redact(archive, plan, by="A. Clerk", reason="asked for")
    (gone,) = entry["gone"]
    assert gone["sha256"] == hashlib.sha256(before).hexdigest()
    assert gone["members"] == [{"sha256": hashlib.sha256(CREW).hexdigest(), "bytes": len(CREW)}]
    after = archive.root / "events" / entry["id"] / gone["replacement"]
    assert (
        entry.files[after.relative_to(archive.root).as_posix()]["sha256"]
        == hashlib.sha256(after.read_bytes()).hexdigest()
    )
    with zipfile.ZipFile(after) as packed:
        assert {n: packed.read(n) for n in packed.namelist()} == {"week2/links.csv": EXPORT}
    assert not (archive.root / bag / "data/originals.zip").exists()
    assert "crew" not in entry.data.decode(), "a name of a file may name a person"
    for depth in ("count", "digest", "deep"):
        assert fixity(store.open(archive.root), depth).sound
    files = received(archive, Path(bag).name)
    assert of_source(files, SOURCE, "week2/links.csv") == ("week2/links.csv", EXPORT)
    assert of_source(files, hashlib.sha256(CREW).hexdigest(), "week2/crew.txt") is None


def test_what_stays_is_not_stored_again_and_what_went_is(archive: Archive, tmp_path: Path) -> None:
    bag = two(archive, tmp_path)
    redact(archive, of_file(archive, f"{bag}/data/originals.zip: week2/crew.txt"), by=None, reason=None)
    assert archive.holding(SOURCE) == Path(bag).name
    assert archive.holding(hashlib.sha256(CREW).hexdigest()) is None
    redact(archive, of_file(archive, f"{bag}/data/originals.zip: week2/links.csv"), by=None, reason=None)
    assert archive.holding(SOURCE) is None
    assert fixity(store.open(archive.root), "deep").sound
    assert not received(archive, Path(bag).name)


def test_twice_is_once(archive: Archive, tmp_path: Path) -> None:
    bag = two(archive, tmp_path)
    place = f"{bag}/data/originals.zip: week2/crew.txt"
    first = redact(archive, of_file(archive, place), by=None, reason=None)
    again = of_file(archive, place)
    assert again.done_by == first.number
    assert redact(archive, again, by=None, reason=None).number == first.number
    with pytest.raises(Trouble, match="no such file in it"):
        of_file(archive, f"{bag}/data/originals.zip: week2/never.txt")


def test_a_file_in_a_zip_that_was_handed_in(archive: Archive, tmp_path: Path) -> None:
    """Stored as received, byte for byte: what is left of it is no more that zip, and is never handed out as it."""
    upload = zipped(links_csv=EXPORT, crew_txt=CREW, photo_txt=b"x")
    bag = deposited(archive, tmp_path / "in", upload_zip=upload)
    place = f"{bag}/data/originals/upload.zip"
    assert of_source(received(archive, Path(bag).name), SOURCE, "x") == ("upload.zip", upload)
    redact(archive, of_file(archive, f"{place}: crew.txt"), by=None, reason=None)
    assert of_source(received(archive, Path(bag).name), SOURCE, "x") == ("upload.zip/links.csv", EXPORT)
    assert archive.holding(hashlib.sha256(upload).hexdigest()) is None
    assert fixity(store.open(archive.root), "deep").sound


def test_a_file_in_a_zip_in_the_originals(archive: Archive, tmp_path: Path) -> None:
    upload = zipped(day1__links_csv=EXPORT, day1__crew_txt=CREW)
    bag = deposited(archive, tmp_path / "in", upload_zip=upload, notes_txt=b"notes")
    entry = redact(
        archive, of_file(archive, f"{bag}/data/originals.zip: upload.zip/day1/crew.txt"), by=None, reason=None
    )
    digests = [m["sha256"] for m in entry["gone"][0]["members"]]
    assert digests == [hashlib.sha256(d).hexdigest() for d in (CREW, upload)], "the zip around it as it was, too"
    files = received(archive, Path(bag).name)
    assert of_source(files, SOURCE, "") == ("upload.zip/day1/links.csv", EXPORT)
    assert of_source(files, hashlib.sha256(b"notes").hexdigest(), "") == ("notes.txt", b"notes")
    assert list(named_places(archive, NAME)) == []


@pytest.mark.parametrize(
    ("inside", "found"),
    [
        ("links.csv/crew.txt", "no zip"),
        ("book.xlsx/xl/strings.xml", "as a whole"),
        ("broken.zip/crew.txt", "no zip|cannot be made anew"),
    ],
)
def test_what_nothing_can_be_taken_out_of(archive: Archive, tmp_path: Path, inside: str, found: str) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("[Content_Types].xml", "x")
        packed.writestr("xl/strings.xml", "x")
    broken = zipped(crew_txt=CREW)[:-8]
    bag = deposited(archive, tmp_path / "in", links_csv=EXPORT, book_xlsx=out.getvalue(), broken_zip=broken)
    count = len(list(archive.entries()))
    with pytest.raises(Trouble, match=found):
        of_file(archive, f"{bag}/data/originals.zip: {inside}")
    with pytest.raises(Trouble, match="not replaced"):
        of_file(archive, f"{bag}/data/originals.zip: links.csv", tmp_path / "in" / "links.csv")
    assert len(list(archive.entries())) == count


def test_a_hold_keeps_every_file_of_the_job(archive: Archive, tmp_path: Path) -> None:
    """What replaced a file of a bag is of the job as well."""
    bag = two(archive, tmp_path)
    redact(archive, of_file(archive, f"{bag}/data/originals.zip: week2/crew.txt"), by=None, reason=None)
    hold(archive, JOB, release=False, by="Counsel", reason="claim 17")
    with pytest.raises(Trouble, match="hold"):
        redact(archive, of_file(archive, f"{bag}/data/originals.zip: week2/links.csv"), by=None, reason=None)


@pytest.mark.parametrize("power", [False, True], ids=["kill", "power-cut"])
def test_stopped_anywhere_it_is_before_or_after(tmp_path: Path, power: bool, own_cache: Path) -> None:
    template = store.create(tmp_path / "template")
    bag = two(template, tmp_path)

    def work(archive: Archive) -> None:
        redact(archive, of_file(archive, f"{bag}/data/originals.zip: week2/crew.txt"), by="A. Clerk", reason="x")

    def fresh(at: object) -> Archive:
        shutil.copytree(template.root, tmp_path / str(at))
        shutil.rmtree(own_cache / "cache", ignore_errors=True)
        return store.open(tmp_path / str(at))

    whole = fresh("whole")
    total = steps(lambda: work(whole)).count
    assert total > 10
    for stop in range(total):
        stopped = fresh(stop)
        with machine(stop, power=power) as made:
            work(stopped)
        assert made.dead
        shutil.rmtree(own_cache / "cache", ignore_errors=True)
        again = store.open(stopped.root)
        again.catch_up()
        there, entries = (again.root / bag / "data/originals.zip").exists(), len(list(again.entries()))
        assert there == (entries == len(list(template.entries())))
        work(again)
        assert not (again.root / bag / "data/originals.zip").exists()
        assert len(list(again.entries())) == len(list(template.entries())) + 1
        assert list(named_places(again, NAME)) == []
        assert fixity(store.open(again.root), "deep").sound
        shutil.rmtree(again.root)


def test_copies_and_joined_archives_follow(archive: Archive, tmp_path: Path) -> None:
    bag = two(archive, tmp_path)
    export(archive, tmp_path / "copy")
    redact(archive, of_file(archive, f"{bag}/data/originals.zip: week2/crew.txt"), by=None, reason=None)
    assert repair(archive, tmp_path / "copy").repaired == [], "an older copy brings nothing back"
    export(archive, tmp_path / "copy")
    assert list(named_places(store.open(tmp_path / "copy"), NAME)) == []
    other = store.create(tmp_path / "other")
    merge(other, archive, by=None, reason=None)
    assert of_source(received(other, Path(bag).name), SOURCE, "") == ("week2/links.csv", EXPORT)
    assert other.holding(hashlib.sha256(CREW).hexdigest()) is None
    assert fixity(store.open(other.root), "deep").sound


def mail(code: str = "utf-8", transfer: str | None = None, **attached: bytes) -> bytes:
    """A mail whose text names the person, with files attached."""
    made = EmailMessage()
    made["From"], made["To"], made["Message-ID"], made["Subject"] = "a@example.org", "b@example.org", "<1@x>", "week 2"
    made.set_content(f"tested by {NAME}", charset=code, cte=transfer)
    for name, data in attached.items():
        made.add_attachment(data, maintype="application", subtype="octet-stream", filename=name.replace("_", "."))
    return made.as_bytes()


def tarred(**files: bytes) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w:gz") as packed:
        for name, data in files.items():
            info = tarfile.TarInfo(name.replace("_", "."))
            info.size = len(data)
            packed.addfile(info, io.BytesIO(data))
    return out.getvalue()


FILES: dict[str, tuple[bytes, str]] = {
    "plain": (CREW, "in.bin"),
    "utf-16": (CREW.decode().encode("utf-16"), "in.bin"),
    "decomposed": ("K. Lo\u0308wenstern".encode(), "in.bin"),
    "cp1252": (CREW.decode().encode("cp1252"), "in.bin"),
    "XML": (b"<by>K. L&#246;wenstern</by>", "in.bin"),
    "XML between tags": ("<w><t>K. Löw</t><t>enstern</t></w>".encode(), "in.bin"),
    "JSON": (b'{"by": "K. L\\u00f6wenstern"}', "in.bin"),
    "gzip": (gzip.compress(CREW), "in.bin/in.bin"),
    "tar": (tarred(crew_txt=CREW), "in.bin/crew.txt"),
    "tar in a zip": (zipped(a_tgz=tarred(crew_txt=CREW)), "in.bin/a.tgz/crew.txt"),
    "mail, quoted-printable": (mail(transfer="quoted-printable"), "in.bin"),
    "mail, base64": (mail(transfer="base64"), "in.bin"),
    "mail, base64, Latin": (mail("iso-8859-15", "base64"), "in.bin"),
    "attachment": (mail(crew_txt=CREW), "in.bin/crew.txt"),
    "attachment, packed": (mail(crew_zip=zipped(crew_txt=CREW)), "in.bin/crew.zip/crew.txt"),
    "subject": (mail().replace(b"Subject: week 2", b"Subject: =?utf-8?q?K=2E_L=C3=B6wenstern?="), "in.bin"),
}
CLOSED = {
    "PDF": b"%PDF-1.7 x",
    "photograph": b"\xff\xd8\xff\xe0x",
    "Parquet": b"PAR1xPAR1",
    "damaged gzip": gzip.compress(CREW * 99)[:-9],
    "encrypted zip": zipped(crew_txt=CREW)
    .replace(b"PK\x03\x04\x14\x00\x00", b"PK\x03\x04\x14\x00\x01")
    .replace(b"PK\x01\x02\x14\x03\x14\x00\x00", b"PK\x01\x02\x14\x03\x14\x00\x01"),
    "xz": b"\xfd7zXZ\x00x",
}


@pytest.mark.parametrize("kind", FILES)
def test_a_name_is_found_in_every_packing_and_encoding(archive: Archive, tmp_path: Path, kind: str) -> None:
    data, inside = FILES[kind]
    bag = deposited(archive, tmp_path / "in", in_bin=data, other_csv=EXPORT)
    assert f"{bag}/data/originals.zip: {inside}" in set(named_places(archive, NAME))
    assert list(named_places(archive, "N. Obody")) == []


@pytest.mark.parametrize("kind", CLOSED)
def test_what_could_not_be_looked_into_is_named(archive: Archive, tmp_path: Path, kind: str) -> None:
    bag = deposited(archive, tmp_path / "in", in_bin=CLOSED[kind], other_csv=EXPORT)
    (place,) = set(named_places(archive, NAME))
    assert place.startswith(f"{bag}/data/originals.zip: in.bin")
    assert place.endswith(NOT_LOOKED_INTO)


def test_a_name_that_stands_in_a_zip_alone_is_offered_there(archive: Archive, tmp_path: Path) -> None:
    bag = two(archive, tmp_path)
    with pytest.raises(Trouble) as raised:
        of_name(archive, NAME, lambda: named_places(archive, NAME))
    assert f"--file '{bag}/data/originals.zip: week2/crew.txt'" in str(raised.value)
