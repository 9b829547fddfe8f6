"""A claim file that somebody changed: every byte, every file, and forgeries with all manifests written anew."""

from __future__ import annotations

import hashlib
import json
import random
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from answers_making import BY, CONFLICT, FLIPPED, STANDS

from archive import store
from archive.answers.claim.claim_folder import write
from archive.answers.claim.gather import gather
from archive.answers.sealing import issue
from archive.answers.sealing.issue import Content, issuer
from archive.answers.verifying import content_checks, remake
from archive.answers.verifying.verify_folder import FolderReport, verify_folder
from archive.errors import Trouble
from archive.store.bags.manifest import manifest
from archive.store.copies import export
from archive.store.events import record
from archive.store.keys import KeyPair, make
from archive.store.ledger.entry import build
from archive.store.seals import SEAL, SEAL_PROOF


@dataclass
class Issued:
    """A claim file as it was issued, what signs it, and the head after."""

    folder: Path
    pair: KeyPair
    head: str
    root: Path


def issued(archive: store.Archive, label: str, out: Path, pair: KeyPair | None, enter: bool = True) -> store.Archive:
    """Issues a claim file."""
    sealing = issuer(
        archive.root, by=BY, reason="Letter of 3 May", sign=lambda a: pair.sign if pair else None, enter=enter
    )
    facts, originals = gather(archive, label, reason="Letter of 3 May")
    write(facts, originals, out, issuer=sealing)
    return archive


@contextmanager
def as_one_user(place: Path) -> Iterator[None]:
    """Fixtures of a module are made before each test has a user of its own: they share one that lies beside them."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("MUNIMENT_CACHE", "MUNIMENT_CONFIG", "XDG_DATA_HOME"):
            patch.setenv(name, str(place / name))
        yield


@pytest.fixture(scope="module")
def archive(troubles_place: Path, tmp_path_factory: pytest.TempPathFactory) -> store.Archive:
    """An archive of its own, which claims may be entered in."""
    place = tmp_path_factory.mktemp("sealing")
    shutil.copytree(troubles_place, place / "archive")
    with as_one_user(place):
        opened = store.open(place / "archive")
        opened.catch_up()
    return opened


@pytest.fixture(scope="module")
def claim(archive: store.Archive, tmp_path_factory: pytest.TempPathFactory) -> Issued:
    """A claim file that is signed and entered in the ledger."""
    place = tmp_path_factory.mktemp("claim")
    pair = make(place / "keys")
    facts = {"action": "add", "key": pair.id, "public": pair.public}
    with as_one_user(archive.root.parent):
        record(archive, "key", by=BY, texts=facts, facts=facts, sign=pair.sign)
        issued(archive, STANDS, place / "claim", pair)
        return Issued(place / "claim", pair, archive.head().root, archive.root)


@pytest.fixture
def copy(claim: Issued, tmp_path: Path) -> Issued:
    """The claim file in a place where it may be forged."""
    shutil.copytree(claim.folder, tmp_path / "claim")
    return Issued(tmp_path / "claim", claim.pair, claim.head, claim.root)


def files(folder: Path) -> list[str]:
    """Every file of a folder by its path in it."""
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def told(report: FolderReport) -> set[str]:
    """Paths that a report names as broken."""
    return {d.path for d in report.broken}


def by_digests_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Seal, manifests and their proof alone, which read every byte: what else is looked at is left out, for time."""
    monkeypatch.setattr(remake, "compare", lambda *given: [])
    monkeypatch.setattr(content_checks, "checks", lambda *given: [])


def test_what_was_issued_is_sound_and_says_against_what(claim: Issued, archive: store.Archive) -> None:
    report = verify_folder(claim.folder)
    assert report.sound and report.sealed and report.checked_against == "nothing but itself"
    assert report.signed_by == claim.pair.id and report.entry == archive.head().size - 1
    assert not any("not made again" in n for n in report.notes), report.notes
    for known in (claim.head, f"{archive.head().size}:{claim.head}", archive.head(2).root):
        held = verify_folder(claim.folder, expect=known)
        assert held.sound and known.split(":")[-1] in held.checked_against
    assert verify_folder(claim.folder, key=claim.pair.id).sound
    assert not verify_folder(claim.folder, key="ke-" + "0" * 32).sound
    other = verify_folder(claim.folder, expect="0" * 64)
    assert not other.sound and told(other) == {SEAL_PROOF}


def test_the_ledger_entry_names_the_seal_and_who_issued_it(claim: Issued, archive: store.Archive) -> None:
    entry = archive.ledger.read(archive.head().size - 1)
    assert entry is not None and entry["event"] == "claim issued" and entry.signed
    assert entry["seal"] == hashlib.sha256((claim.folder / SEAL).read_bytes()).hexdigest()
    assert archive.texts(entry)["issued"]["link"] == STANDS
    assert BY in archive.names(entry).values()
    seal = json.loads((claim.folder / SEAL).read_bytes())
    assert (seal["by"], seal["reason"], seal["role"]) == (BY, "Letter of 3 May", "accepted")
    assert set(seal["files"]) == set(files(claim.folder)) - {SEAL, SEAL_PROOF}


def test_one_changed_byte_of_any_file_is_told(copy: Issued, monkeypatch: pytest.MonkeyPatch) -> None:
    """At the start, at the end, and at drawn places: all of them by seal and manifests, which read every byte."""
    by_digests_alone(monkeypatch)
    draw, tried = random.Random(19), 0
    for name in files(copy.folder):
        path = copy.folder / name
        whole = path.read_bytes()
        places = {0, len(whole) - 1, *(draw.randrange(len(whole)) for _ in range(20 if len(whole) < 30_000 else 3))}
        for place in sorted(places):
            path.write_bytes(whole[:place] + bytes([whole[place] ^ (1 << draw.randrange(8))]) + whole[place + 1 :])
            report = verify_folder(copy.folder)
            assert not report.sound and name in told(report), (name, place)
            tried += 1
        path.write_bytes(whole)
    assert tried > 200 and verify_folder(copy.folder).sound


def test_a_file_that_is_removed_added_renamed_or_emptied_is_told(copy: Issued, monkeypatch: pytest.MonkeyPatch) -> None:
    by_digests_alone(monkeypatch)
    for name in files(copy.folder):
        path = copy.folder / name
        whole = path.read_bytes()
        path.write_bytes(b"")
        assert name in told(verify_folder(copy.folder)), f"emptied {name}"
        path.unlink()
        assert name in told(verify_folder(copy.folder)), f"removed {name}"
        beside = path.with_name(f"x-{path.name}")
        beside.write_bytes(whole)
        renamed = told(verify_folder(copy.folder))
        assert {name, beside.relative_to(copy.folder).as_posix()} <= renamed, f"renamed {name}"
        path.write_bytes(whole)
        assert beside.relative_to(copy.folder).as_posix() in told(verify_folder(copy.folder)), f"added beside {name}"
        beside.unlink()
    (copy.folder / "data" / "empty").mkdir()
    assert "data/empty" in told(verify_folder(copy.folder))
    (copy.folder / "data" / "empty").rmdir()
    page = copy.folder / "data" / "claim.html"
    page.rename(copy.folder.parent / "page.html")
    page.symlink_to(copy.folder.parent / "page.html")
    assert "data/claim.html" in told(verify_folder(copy.folder))


# Forgeries. Whoever forges can write manifests anew; some can write the seal anew, and some a whole ledger.


def manifests_anew(folder: Path) -> None:
    """Both manifests and both tag manifests, as they would be of the files that are there."""
    for algorithm in ("sha256", "sha512"):
        payload = {n: _digest(folder / n, algorithm) for n in files(folder) if n.startswith("data/")}
        (folder / f"manifest-{algorithm}.txt").write_bytes(manifest(payload))
    for algorithm in ("sha256", "sha512"):
        skipped = (SEAL, SEAL_PROOF, "tagmanifest-sha256.txt", "tagmanifest-sha512.txt")
        tags = {n: _digest(folder / n, algorithm) for n in files(folder) if "/" not in n and n not in skipped}
        (folder / f"tagmanifest-{algorithm}.txt").write_bytes(manifest(tags))


def seal_anew(folder: Path, pair: KeyPair | None = None, **said: object) -> None:
    """A seal as it would be of the files that are there."""
    old = json.loads((folder / SEAL).read_bytes())
    kept = {k: v for k, v in old.items() if k not in ("files", "sha256", "signature")} | said
    listed = {
        n: {"sha256": _digest(folder / n, "sha256"), "sha512": _digest(folder / n, "sha512")}
        | {"bytes": (folder / n).stat().st_size}
        for n in files(folder)
        if n not in (SEAL, SEAL_PROOF)
    }
    (folder / SEAL).write_bytes(build({**kept, "files": listed}, pair.sign if pair else None))


def _digest(path: Path, algorithm: str) -> str:
    return hashlib.new(algorithm, path.read_bytes()).hexdigest()


def put(name: str, old: str, new: str) -> Callable[[Path], None]:
    """Replaces words in a file."""

    def forge(folder: Path) -> None:
        path = folder / "data" / name
        data = path.read_bytes()
        assert old.encode() in data, f"{old!r} is not in {name}"
        path.write_bytes(data.replace(old.encode(), new.encode()))

    return forge


def swapped(name: str, other: str) -> Callable[[Path], None]:
    """Takes a file from the claim file of another link."""

    def forge(folder: Path) -> None:
        shutil.copyfile(folder.parent / "other" / other, folder / "data" / name)

    return forge


PAGES = {
    "the verdict in words": put("claim.html", "pass", "fail"),
    "a margin": put("claim.html", " dB", "0 dB"),
    "the day of the test": put("claim.html", "12 June 2024", "12 June 2023"),
    "who deposited": put("claim.html", BY, "N. Nobody"),
    "the client": put("claim.html", "Lantern Quay Trust", "Another Trust"),
    "the end of the warranty": put("claim.html", "2049", "2054"),
    "a picture": put("claim.html", "<path ", "<path opacity='0' "),
    "the picture's limit": put("claim.html", "stroke-width", "stroke-widtb"),
    "a serial number": put("claim.html", "40-00317", "40-00319"),
    "the head of the ledger": put("claim.html", "head of the ledger", "head of no ledger"),
    "the line about the seal": put("claim.html", "Sealed:", "Sealed by a judge:"),
    "the PDF": put("claim.pdf", "/Title", "/Tidle"),
    "the instructions": put("READ-ME.txt", "sha256sum -c", "cat"),
    "the schema": put("schema/link-record-1.xsd", "xs:schema", "xs:scheme"),
}
DATA = {
    "the reported verdict in record.xml": put("record.xml", 'reported_verdict="pass"', 'reported_verdict="fail"'),
    "our verdict in record.xml": put("record.xml", 'verdict="pass"', 'verdict="fail"'),
    "the test's day in record.xml": put("record.xml", "2024-06-12T", "2024-06-11T"),
    "a verdict in the other tests": put("other-tests.xml", 'verdict="pass"', 'verdict="fail"'),
    "the facts": put("facts.json", "Lantern Quay Trust", "Another Trust"),
    "the proof's digest": put("proof.json", "link-record-1:", "link-record-1:0"),
    "a record of another link": swapped("record.xml", "data/record.xml"),
    "a proof of another link": swapped("proof.json", "data/proof.json"),
    "the pages of another link": swapped("claim.html", "data/claim.html"),
    "the PDF of another link": swapped("claim.pdf", "data/claim.pdf"),
    "the forms of another link": swapped("record-csv.zip", "data/record-csv.zip"),
}
FORGERIES = PAGES | DATA


@pytest.fixture(scope="module")
def another(archive: store.Archive, claim: Issued, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The claim file of another link of the same archive."""
    place = tmp_path_factory.mktemp("another") / "claim"
    with as_one_user(archive.root.parent):
        issued(archive, FLIPPED, place, claim.pair)
    return place


def test_there_are_as_many_forgeries_as_are_promised() -> None:
    assert len(FORGERIES) >= 25


@pytest.mark.parametrize("forgery", FORGERIES)
def test_a_forgery_with_all_manifests_written_anew_is_told(
    copy: Issued, another: Path, forgery: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(remake, "compare", lambda *given: [])  # by digests, proofs and ids alone
    (copy.folder.parent / "other").symlink_to(another)
    FORGERIES[forgery](copy.folder)
    manifests_anew(copy.folder)
    plain = verify_folder(copy.folder)
    assert plain.broken and not plain.sound, "the seal was left as it was"
    seal_anew(copy.folder)
    assert not verify_folder(copy.folder).sound, "the seal was written anew, and neither key nor ledger vouch for it"
    shutil.copyfile(another / SEAL_PROOF, copy.folder / SEAL_PROOF)
    assert not verify_folder(copy.folder).sound, "with the proof of another seal"
    (copy.folder / SEAL_PROOF).unlink()
    assert not verify_folder(copy.folder).sound, "without a proof"
    (copy.folder / SEAL).unlink()
    bare = verify_folder(copy.folder)
    assert not bare.sound and not bare.sealed, "without a seal"
    assert SEAL in told(bare)


@pytest.mark.parametrize("forgery", ["the verdict in words", "a picture", "the PDF", "the facts"])
def test_pages_are_made_again_and_compared_even_without_a_seal(copy: Issued, forgery: str) -> None:
    """Who forges words alone is found by the data beside them; a seal is needed against one who forges both."""
    FORGERIES[forgery](copy.folder)
    manifests_anew(copy.folder)
    for name in (SEAL, SEAL_PROOF):
        (copy.folder / name).unlink()
    report = verify_folder(copy.folder)
    pages = {"data/claim.html", "data/claim.pdf"}
    assert told(report) & pages, report.notes
    if forgery == "the verdict in words":
        assert any("'fail" in d.what and "the data say 'pass" in d.what for d in report.broken)


def test_a_forger_with_a_ledger_of_his_own_is_told_by_a_head_or_a_key(copy: Issued, tmp_path: Path) -> None:
    """He makes an archive and a key, and issues what he forged from there: only what the reader knows decides."""
    forger = store.create(tmp_path / "forged")
    pair = make(tmp_path / "keys")
    facts = {"action": "add", "key": pair.id, "public": pair.public}
    record(forger, "key", by="N. Nobody", texts=facts, facts=facts, sign=pair.sign)
    PAGES["the verdict in words"](copy.folder)
    manifests_anew(copy.folder)
    for name in (SEAL, SEAL_PROOF):
        (copy.folder / name).unlink()
    said = {"link": STANDS, "record_digest": json.loads((copy.folder / "data/proof.json").read_bytes())["digest"]}
    issuer(forger.root, by=BY, reason=None, sign=lambda a: pair.sign).seal(copy.folder, Content("claim file", said))
    report = verify_folder(copy.folder)
    assert report.sealed and "data/proof.json" in told(report), "the record's proof leads to another ledger"
    assert SEAL_PROOF in told(verify_folder(copy.folder, expect=copy.head))
    assert SEAL in told(verify_folder(copy.folder, key=copy.pair.id))


# Who may not write, or does not want to, gets a claim file all the same.


def test_without_key_and_entry_a_claim_file_is_not_sealed_and_says_so(archive: store.Archive, tmp_path: Path) -> None:
    before = archive.head()
    issued(archive, STANDS, tmp_path / "claim", None, enter=False)
    assert archive.head() == before, "--no-record leaves nothing in the ledger"
    report = verify_folder(tmp_path / "claim")
    assert (report.sealed, report.sound, told(report)) == (False, False, {SEAL})
    assert report.broken[0].what == "not sealed: only the record's text is proven"
    assert "Not sealed: an entry in the ledger was not wanted" in (tmp_path / "claim/data/claim.html").read_text()


def test_a_key_alone_seals_and_the_page_says_that_no_ledger_holds_it(claim: Issued, tmp_path: Path) -> None:
    opened = store.open(claim.root)
    before = opened.head()
    issued(opened, STANDS, tmp_path / "claim", claim.pair, enter=False)
    assert opened.head() == before
    report = verify_folder(tmp_path / "claim", expect=before.root)
    assert report.sound and report.entry is None and report.signed_by == claim.pair.id
    assert "It stands in no ledger" in (tmp_path / "claim/data/claim.html").read_text()


def test_an_entry_alone_seals(archive: store.Archive, claim: Issued, tmp_path: Path) -> None:
    issued(archive, STANDS, tmp_path / "claim", None)
    report = verify_folder(tmp_path / "claim")
    assert report.sound and not report.signed_by and report.checked_against == "nothing but itself"
    assert any("sound against itself" in n for n in report.notes)
    assert verify_folder(tmp_path / "claim", expect=archive.head().root).sound


def test_a_second_copy_gives_a_claim_file_that_is_not_sealed(
    archive: store.Archive, claim: Issued, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    export(store.open(archive.root), tmp_path / "copy")
    before = sorted(files(tmp_path / "copy"))
    issued(store.open(tmp_path / "copy"), STANDS, tmp_path / "claim", None)
    assert sorted(files(tmp_path / "copy")) == before
    assert not verify_folder(tmp_path / "claim").sealed
    assert "from a second copy" in (tmp_path / "claim/data/claim.html").read_text()


def test_a_ledger_that_refuses_after_all_gives_pages_that_do_not_promise_it(
    archive: store.Archive, claim: Issued, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*given: object, **more: object) -> None:
        raise Trouble("the disk is full", code="file.disk-full")

    monkeypatch.setattr(issue, "record", refused)
    issued(archive, STANDS, tmp_path / "claim", None)
    assert not (tmp_path / "claim" / SEAL).exists() and not verify_folder(tmp_path / "claim").sealed
    assert "could not be written" in (tmp_path / "claim/data/claim.html").read_text()


def test_whoever_may_not_write_gets_a_claim_file_that_says_so(
    archive: store.Archive, claim: Issued, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = archive.head()
    monkeypatch.setattr(issue.os, "access", lambda *given: False)
    issued(archive, STANDS, tmp_path / "claim", None)
    assert archive.head() == before and not verify_folder(tmp_path / "claim").sealed
    assert "may not write in the archive" in (tmp_path / "claim/data/claim.html").read_text()


@pytest.mark.parametrize(
    "fields",
    [
        {"files": []},
        {"files": {"data/claim.html": 3}},
        {"entered": "yes"},
        {"parts_of_originals": [{"file": "../../etc/passwd"}]},
        {"signature": {"key": 7}},
    ],
)
def test_a_seal_that_makes_no_sense_is_told_and_breaks_nothing(
    copy: Issued, fields: dict[str, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(remake, "compare", lambda *given: [])
    old = json.loads((copy.folder / SEAL).read_bytes())
    kept = {k: v for k, v in old.items() if k not in ("sha256", "signature")}
    (copy.folder / SEAL).write_bytes(build({**kept, **fields}))
    assert not verify_folder(copy.folder).sound


@pytest.mark.parametrize("text", ["null", "[]", "{}", '{"entries": [{"text": "{}", "path": [1]}]}', "{" * 5000])
def test_a_proof_that_makes_no_sense_is_told_and_breaks_nothing(
    copy: Issued, text: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(remake, "compare", lambda *given: [])
    (copy.folder / SEAL_PROOF).write_text(text)
    assert SEAL_PROOF in told(verify_folder(copy.folder))
    (copy.folder / "data" / "proof.json").write_text(text)
    assert "data/proof.json" in told(verify_folder(copy.folder))


def test_a_folder_that_nobody_issued_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="no claim file"):
        verify_folder(tmp_path)


def test_records_in_conflict_are_each_proven_and_verify(archive: store.Archive, tmp_path: Path) -> None:
    with as_one_user(archive.root.parent):
        issued(archive, CONFLICT, tmp_path / "claim", None)
    folder = tmp_path / "claim"
    report = verify_folder(folder)
    assert report.sound and not report.broken, report.broken
    held = [json.loads((folder / f"data/proof-{name}.json").read_bytes()) for name in "AB"]
    ids = [p["record"] for p in held]
    assert len(set(ids)) == 2 and not (folder / "data/proof.json").exists()
    # By hashlib alone: the digests are those of their canonical texts.
    for proof in held:
        assert hashlib.sha256(proof["canonical"].encode()).hexdigest() == proof["digest"].split(":")[1]
    page = (folder / "data/claim.html").read_text(encoding="utf-8").replace("<wbr>", "")
    assert all(p["digest"] in page for p in held) and "muniment verify data/proof-B.json" in page


def test_a_proof_of_another_record_than_those_in_conflict_is_told(archive: store.Archive, tmp_path: Path) -> None:
    with as_one_user(archive.root.parent):
        issued(archive, CONFLICT, tmp_path / "claim", None)
        issued(archive, STANDS, tmp_path / "other", None)
    shutil.copy(tmp_path / "other/data/proof.json", tmp_path / "claim/data/proof-B.json")
    found = [d.what for d in verify_folder(tmp_path / "claim").broken if d.path == "data/proof-B.json"]
    assert "proves a record that is not in data/other-tests.xml" in found
