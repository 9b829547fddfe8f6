"""What was set aside as a list of things to do: each once, by cause, and settled in one of three ways."""

from __future__ import annotations

import sys
from email.message import EmailMessage
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "store"))

from store_making import batch, rows

from archive import formats, store
from archive.answers.intake import ingest
from archive.answers.setaside import ATTACHED, KEPT, by_cause, keep, set_aside
from archive.errors import Trouble
from archive.formats.survey import survey
from archive.store import Archive
from archive.store.copies import merge
from archive.store.deposits import DepositFacts, Receipt
from archive.store.documents import DocumentFacts, attach

FACTS = DepositFacts(job="J", by="R. Ostrander")


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    return store.create(tmp_path / "archive")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A record, a certificate, a photograph, a torn file, and what programs leave behind."""
    made = tmp_path / "in"
    (made / "photos").mkdir(parents=True)
    (made / "__MACOSX").mkdir()
    formats.write([batch(rows("A1"))], made / "one.xml")
    (made / "calibration.pdf").write_bytes(b"%PDF-1.4\n\x00\x01\x02")
    (made / "photos" / "rack.jpg").write_bytes(b"\xff\xd8\xff\x00\x01")
    (made / "torn.xml").write_text("<link-records", "utf-8")
    for name in (".DS_Store", "~$links.xlsx", "__MACOSX/._one.xml", "Thumbs.db"):
        (made / name).write_bytes(b"\x00\x01left behind")
    return made


def opened(archive: Archive) -> list[str]:
    return sorted(r["path"] for r in set_aside(archive, "J") if not r["settled"])


def test_documents_are_offered_as_documents_and_droppings_are_counted(archive: Archive, folder: Path) -> None:
    made = ingest(archive, [folder], FACTS)
    remedies = {r["path"]: r["remedy"] for r in set_aside(archive, "J")}
    assert sorted(remedies) == ["calibration.pdf", "photos/rack.jpg", "torn.xml"]
    assert "attach ARCHIVE FILE --job JOB --kind certificate" in remedies["calibration.pdf"]
    assert "--kind photograph" in remedies["photos/rack.jpg"]
    assert sorted(made.plain()["passed_over"]) == [".DS_Store", "Thumbs.db", "__MACOSX/._one.xml", "~$links.xlsx"]


def test_a_mail_is_kept_and_its_attachments_read_and_only_what_is_no_mail_is_offered_to_attach(
    archive: Archive, tmp_path: Path
) -> None:
    """Survey, deposit and the list of what was set aside say the same of files that end in .eml."""
    formats.write([batch(rows("A1"))], tmp_path / "one.xml")
    mail = EmailMessage()
    mail["From"], mail["Subject"], mail["Message-ID"] = "crew@quay.example", "Results", "<1@quay.example>"
    mail.set_content("Here they are.")
    for name, content in (("one.xml", (tmp_path / "one.xml").read_bytes()), ("calibration.pdf", b"%PDF-1.4\n\x00")):
        mail.add_attachment(content, maintype="application", subtype="octet-stream", filename=name)
    given = tmp_path / "given"
    given.mkdir()
    (given / "results.eml").write_bytes(mail.as_bytes())
    (given / "torn.eml").write_bytes(b"\x00\x01 no mail")
    unread = ["results.eml/calibration.pdf", "torn.eml"]
    surveyed = {f.path: f for f in survey([given])}
    assert {p for p, f in surveyed.items() if f.unread} == set(unread)
    assert {p: f.records for p, f in surveyed.items() if not f.unread} == {"results.eml": 0, "results.eml/one.xml": 1}
    made = ingest(archive, [given], FACTS)
    assert made.counts["new"] == 1 and opened(archive) == unread
    assert [tuple(r) for r in archive.db.execute("SELECT kind, title FROM documents")] == [("letter", "Results")]
    remedies = {r["path"]: r["remedy"] for r in set_aside(archive, "J")}
    assert "attach ARCHIVE FILE --job JOB --kind letter" in remedies["torn.eml"]
    attach(archive, [given / "torn.eml"], DocumentFacts("J", "letter"), by="R. Ostrander")
    assert opened(archive) == unread[:1]


def test_each_thing_stands_once_however_often_it_is_handed_in(archive: Archive, folder: Path) -> None:
    def again(label: str, shift: float) -> Receipt:
        formats.write([batch(rows(label, place=label, shift=shift))], folder / f"{label}.xml")
        return ingest(archive, [folder], FACTS)

    ingest(archive, [folder], FACTS)
    assert again("A2", 0.4).entry is not None
    listed = set_aside(archive, "J")
    assert [len(r["deposits"]) for r in listed] == [2, 2, 2]
    assert [len(members) for _, members in by_cause(listed)] == [1, 1, 1]


def test_a_thing_is_settled_as_a_document_or_as_no_test(archive: Archive, folder: Path, tmp_path: Path) -> None:
    ingest(archive, [folder], FACTS)
    attach(archive, [folder / "calibration.pdf"], DocumentFacts("J", "certificate"), by=None)
    assert opened(archive) == ["photos/rack.jpg", "torn.xml"]
    keep(archive, ["photos/*"], "J", by="A. Vance", reason="the rack")
    assert opened(archive) == ["torn.xml"]
    assert {r["path"]: r["how"] for r in set_aside(archive, "J")} == {
        "calibration.pdf": ATTACHED,
        "photos/rack.jpg": KEPT,
        "torn.xml": "",
    }
    into = store.create(tmp_path / "into")
    merge(into, archive, by=None, reason=None)
    assert opened(into) == ["torn.xml"]
    with pytest.raises(Trouble, match="nothing that is set aside and open"):
        keep(archive, ["photos/*"], "J", by=None, reason=None)
