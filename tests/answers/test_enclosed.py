"""What a claim file encloses: originals whole or in stretches of bytes, documents; and what it must not enclose."""

from __future__ import annotations

import hashlib
import json
import shutil
import zlib
from pathlib import Path

import pytest
from answers_making import BY, FLIPPED, JOB, STANDS

from archive import store
from archive.answers.claim.claim_folder import write
from archive.answers.claim.compose import compose
from archive.answers.claim.enclosed import enclosed
from archive.answers.claim.gather import gather, link_facts
from archive.answers.claim.original_parts import spans
from archive.answers.documents import Notice
from archive.answers.filed import safe_name
from archive.answers.sealing.issue import issuer
from archive.answers.verifying.verify_folder import verify_folder
from archive.store.documents import DocumentFacts, attach
from archive.store.events.redact import of_name, redact
from archive.store.seals import SEAL, SEAL_PROOF


@pytest.fixture
def opened(troubles_place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> store.Archive:
    """An archive of its own, which may be changed."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    shutil.copytree(troubles_place, tmp_path / "archive")
    return store.open(tmp_path / "archive")


def picture(width: int = 40, height: int = 30) -> bytes:
    """A grey PNG (ISO/IEC 15948), made by hand."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return len(data).to_bytes(4, "big") + kind + data + zlib.crc32(kind + data).to_bytes(4, "big")

    head = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([8, 0, 0, 0, 0])
    lines = b"".join(b"\0" + bytes((x * 5 + y * 3) % 256 for x in range(width)) for y in range(height))
    made = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(lines)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + made


def test_documents_travel_with_their_entries_and_photographs_are_shown(opened: store.Archive, tmp_path: Path) -> None:
    (tmp_path / "panel: left.png").write_bytes(picture())
    (tmp_path / "CON.txt").write_text("An invented letter.")
    photograph = DocumentFacts(JOB, "photograph", link=STANDS, title="Panel at the left")
    attach(opened, [tmp_path / "panel: left.png"], photograph, by=BY)
    attach(opened, [tmp_path / "CON.txt"], DocumentFacts(JOB, "letter"), by=BY)
    facts, files = gather(opened, STANDS)
    folder = tmp_path / "claim"
    write(facts, files, folder, issuer=issuer(opened.root, by=BY, reason=None))
    inside = {p.name: p.read_bytes() for p in (folder / "data" / "documents").iterdir()}
    assert set(inside) == {"certificate.txt", "panel_ left.png", "_CON.txt"}, "names that Windows takes"
    true = json.loads((folder / "data" / "originals" / "names.json").read_bytes())
    assert set(true.values()) == {"panel: left.png", "CON.txt"}
    assert inside["panel_ left.png"] == picture()
    page = (folder / "data" / "claim.html").read_text()
    assert "data:image/png;base64," in page and "Panel at the left" in page
    assert hashlib.sha256(picture()).hexdigest() in page
    report = verify_folder(folder)
    assert report.sound and not any("not made again" in n for n in report.notes), (report.broken, report.notes)
    other = (folder / "data" / "documents" / "certificate.txt").read_bytes()
    (folder / "data" / "documents" / "certificate.txt").write_bytes(other + b" forged")
    for name in (SEAL, "manifest-sha256.txt", "manifest-sha512.txt"):
        assert (folder / name).is_file()
    told = [d.what for d in verify_folder(folder).broken if d.path == "data/documents/certificate.txt"]
    assert any("no ledger entry in the proof" in what for what in told), told
    (folder / SEAL_PROOF).unlink()
    assert not verify_folder(folder).sound


def test_one_certificate_is_filed_for_several_units_at_once(opened: store.Archive, tmp_path: Path) -> None:
    (tmp_path / "both.txt").write_text("An invented certificate of two units.")
    said = DocumentFacts(JOB, "certificate", serial=("40-00317", "40-00318"))
    made = attach(opened, [tmp_path / "both.txt"], said, by=BY)
    assert [r["serial"] for r in made.rows] == ["40-00317", "40-00318"] and made.entry is not None
    assert len([p for p in made.entry.files if p.endswith(".txt")]) == 1, "the bytes are kept once"
    later = attach(opened, [tmp_path / "both.txt"], DocumentFacts(JOB, "certificate", serial="40-00319"), by=BY)
    assert [r["serial"] for r in later.rows] == ["40-00319"], "for another unit it is filed again"
    again = attach(opened, [tmp_path / "both.txt"], said, by=BY)
    assert again.entry is None and again.repeated
    facts, files = gather(opened, STANDS)
    both = [d for d in facts.documents if d["file_name"] == "both.txt"]
    assert {d["serial"] for d in both} == {"40-00317", "40-00318", "40-00319"}
    assert {d["inside"] for d in both} == {"documents/both.txt"} and "documents/both.txt" in files


def test_a_claim_can_enclose_the_whole_original_or_none(opened: store.Archive, troubles_place: Path) -> None:
    facts = link_facts(opened, FLIPPED)
    whole = (troubles_place.parent / "exports" / "first.xml").read_bytes()
    assert [f for p, f in enclosed(opened, facts, "whole")[1].items() if p.endswith("first.xml")] == [whole]
    told, files = enclosed(opened, facts, "none")
    assert not any(p.startswith("originals/") for p in files)
    assert told.tests[0].original.sha256 == hashlib.sha256(whole).hexdigest()
    assert "were not asked for" in repr(compose(told))


def test_after_a_redacted_name_the_original_stays_in_the_archive(opened: store.Archive) -> None:
    facts, files = gather(opened, STANDS)
    assert any(p.startswith("originals/") for p in files)
    name = next(t.operator for t in facts.tests if t.operator)
    redact(opened, of_name(opened, name), by=BY, reason="asked for")
    for mode in ("auto", "whole"):
        after, kept = enclosed(opened, link_facts(opened, STANDS), mode)  # type: ignore[arg-type]
        gone = [t.deposit for t in after.tests if t.original.why == "redacted"]
        assert gone and not any(p.split("/")[1] in gone for p in kept if p.startswith("originals/"))
        assert not any(name.encode() in data for data in kept.values())
    assert "a name was taken out" in repr(compose(after))


def test_a_damaged_original_is_told_with_file_damage_and_remedy(opened: store.Archive, tmp_path: Path) -> None:
    damaged = sorted(opened.root.glob("deposits/*/*/data/originals.zip"))
    assert damaged
    for path in damaged:
        data = bytearray(path.read_bytes())
        data[len(data) // 2] ^= 1
        path.chmod(0o600)
        path.write_bytes(data)
    facts, files = gather(store.open(opened.root), STANDS)
    assert not any(p.startswith("originals/") for p in files)
    first = next(b for b in compose(facts).sections[0].blocks if isinstance(b, Notice) and "rely" in b.title)
    said = next(i for i in first.items if "original export is damaged" in i)
    assert "originals.zip" in said and "muniment repair" in said
    write(facts, files, tmp_path / "claim")
    assert (tmp_path / "claim" / "data" / "proof.json").is_file()


# Stretches of bytes.


def cut(data: bytes, label: str, others: set[str]) -> list[bytes]:
    return [data[s.start : s.end] for s in spans(data, label, others)]


def test_lines_of_a_table_come_with_its_headings_and_nothing_of_others() -> None:
    table = b"Link;Pair;NEXT\r\nA1;1-2;40.1\r\nA1;3-6;41.0\r\nA11;1-2;39.0\r\nA2;1-2;38.5\r\n"
    assert cut(table, "A1", {"A11", "A2"}) == [b"Link;Pair;NEXT\r\nA1;1-2;40.1\r\nA1;3-6;41.0\r\n"]
    assert cut(table, "A11", {"A1", "A2"}) == [b"Link;Pair;NEXT\r\n", b"A11;1-2;39.0\r\n"]
    assert cut(table, "A2", {"A1", "A11"})[-1] == b"A2;1-2;38.5\r\n"


def test_blocks_run_until_another_link_is_named() -> None:
    blocks = "Prüfung\nLink: A1\n1;2\n3;4\nLink: A2\n5;6\n".encode("cp1252")
    assert cut(blocks, "A1", {"A2"}) == [blocks[: blocks.index(b"Link: A2")]]
    assert cut(blocks, "A2", {"A1"}) == [blocks[: blocks.index(b"Link: A1")], b"Link: A2\n5;6\n"]


def test_the_largest_element_that_names_no_other_link_is_taken() -> None:
    xml = b'<?xml version="1.0"?><job><t n="x>y"><id>A1</id><v/></t><t><id>A11</id></t><t k=\'A2\'/></job>'
    assert cut(xml, "A1", {"A11", "A2"}) == [b'<t n="x>y"><id>A1</id><v/></t>']
    assert cut(xml, "A2", {"A11", "A1"}) == [b"<t k='A2'/>"]
    assert cut(xml, "A1", set()) == [xml[xml.index(b"<job>") :]]


@pytest.mark.parametrize(
    "data", [b"A1;A2;1\nB;C;2\n", b"PK\x03\x04\0A1\0A2", b"<a><b>A1</b>", b'{"links":["A1","A2"]}']
)
def test_where_no_stretch_can_be_told_none_is_given(data: bytes) -> None:
    assert cut(data, "A1", {"A2"}) == []


@pytest.mark.parametrize(
    ("name", "safe"),
    [("floor 1.xml", "floor 1.xml"), ("a:b?.csv", "a_b_.csv"), ("nul.txt", "_nul.txt"), ("end. ", "end"), ("..", "_")],
)
def test_names_that_windows_refuses_get_others(name: str, safe: str) -> None:
    assert safe_name(name) == safe
