"""Heads kept elsewhere: seen and continued, or refused; countersigned notes that a few independent lines verify."""

from __future__ import annotations

import base64
import hashlib
import shutil
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from store_making import batch, deposit, rows

from archive import store
from archive.store import layout
from archive.store.events import withdraw
from archive.store.ledger import LedgerEntry, build
from tests.cli.person import typed


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    """An archive of one deposit."""
    made = store.create(tmp_path / "archive")
    deposit(made, batch(rows("1A-A01")))
    return made.root


def one_more(root: Path, reason: str) -> None:
    opened = store.open(root)
    opened.catch_up()
    (address,) = opened.db.execute("SELECT deposit || '/' || position FROM records").fetchone()
    withdraw(opened, records=[address], by="A. Clerk", reason=reason)


def rewritten(root: Path, other: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The archive as if its last entry had been another one, on a machine that saw neither."""
    for place in (root, other):
        monkeypatch.setenv("MUNIMENT_CACHE", str(place.parent / f"cache of {place.name}"))
        one_more(place, f"for {place.name}")


def roots(path: Path) -> list[str]:
    """Root after each entry, RFC 9162 section 2.1.1, as its definition says it."""

    def tree(leaves: list[bytes]) -> bytes:
        if len(leaves) == 1:
            return hashlib.sha256(b"\0" + leaves[0]).digest()
        half = 1
        while half * 2 < len(leaves):
            half *= 2
        return hashlib.sha256(b"\1" + tree(leaves[:half]) + tree(leaves[half:])).digest()

    entries = [p.read_bytes() for p in sorted((path / layout.LEDGER).rglob("*.json"))]
    return [tree(entries[: n + 1]).hex() for n in range(len(entries))]


def test_heads_that_were_seen_stand_in_a_file_that_only_grows(archive: Path, tmp_path: Path) -> None:
    seen = tmp_path / "elsewhere" / "heads.txt"
    said = typed("head", archive, "--watch", seen)
    first = seen.read_bytes()
    assert said.code == 0
    assert "no head of this archive was in it before" in said.out
    assert typed("head", archive, "--watch", seen).code == 0
    assert seen.read_bytes() == first
    one_more(archive, "the wrong link")
    document = typed("head", archive, "--watch", seen, "--json").document
    assert (document["ledger_size"], document["compared"], document["kept"]) == (3, 1, True)
    assert document["ledger_head"] == roots(archive)[-1]
    lines = seen.read_text().splitlines()
    assert seen.read_bytes().startswith(first)
    assert [line.split()[1:] for line in lines] == [
        [document["archive"], "2", roots(archive)[1]],
        [document["archive"], "3", roots(archive)[2]],
    ]


@pytest.mark.parametrize("how", ["rewritten", "cut"])
def test_a_ledger_that_does_not_continue_a_head_is_refused(
    how: str, archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other, seen, folder = tmp_path / "other", tmp_path / "heads.txt", tmp_path / "witness"
    shutil.copytree(archive, other)
    rewritten(archive, other, monkeypatch)
    if how == "cut":
        shutil.rmtree(other)
        shutil.copytree(archive, other)
        layout.entry_path(other, 2).unlink()
    assert typed("head", archive, "--watch", seen).code == 0
    assert typed("witness", folder, archive, "--name", "witness.example").code == 0
    kept = {p: p.read_bytes() for p in [seen, *folder.rglob("*.txt")]}
    assert len(kept) == 4
    for words in (("head", other, "--watch", seen), ("witness", folder, other)):
        said = typed(*words)
        assert said.code == 1
        assert f"NOT CONTINUED: {roots(archive)[-1]} over 3 entries" in " ".join(said.out.split())
    assert {p: p.read_bytes() for p in kept} == kept


def test_a_damaged_ledger_has_no_head(archive: Path, tmp_path: Path) -> None:
    path = layout.entry_path(archive, 1)
    path.chmod(0o644)
    path.write_bytes(path.read_bytes().replace(b"deposit", b"Deposit", 1))
    for words in (("head", archive), ("witness", tmp_path / "witness", archive, "--name", "w")):
        assert "damaged" in typed(*words).line
    assert not (tmp_path / "witness").exists()


@pytest.mark.parametrize("name", ["../../outside", "/tmp/outside", "a/b", "", ".."])
def test_an_archive_of_a_stranger_names_no_folder_outside(
    name: str, archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its id names folders in the cache, among the keys and at a witness: in its settings and in its first entry."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "deep" / "er" / "cache"))
    settings = archive / layout.SETTINGS
    settings.chmod(0o644)
    settings.write_text(f'[archive]\nid = "{name}"\nformat = 1\n')
    first = layout.entry_path(archive, 0)
    fields = {**LedgerEntry(first.read_bytes()).fields, "archive": name}
    fields.pop("sha256")
    first.chmod(0o644)
    first.write_bytes(build(fields))
    before = sorted(tmp_path.rglob("*"))
    for words in (("find", archive), ("head", archive), ("witness", tmp_path / "w" / "w", archive, "--name", "w")):
        assert "settings of the archive are damaged" in typed(*words).line
    assert sorted(tmp_path.rglob("*")) == before


def test_a_line_that_is_none_is_not_passed_over(archive: Path, tmp_path: Path) -> None:
    seen = tmp_path / "heads.txt"
    assert typed("head", archive, "--watch", seen).code == 0
    seen.write_bytes(seen.read_bytes()[:-1])
    assert "line 1" in typed("head", archive, "--watch", seen).line


def test_a_note_verifies_by_the_published_forms_alone(archive: Path, tmp_path: Path) -> None:
    """C2SP signed-note, tlog-checkpoint and tlog-cosignature, read here anew."""
    folder = tmp_path / "witness"
    assert "--name" in typed("witness", folder, archive).line
    typed("witness", folder, archive, "--name", "witness.example")
    one_more(archive, "the wrong link")
    document = typed("witness", folder, archive, "--json").document
    (path,) = folder.rglob("checkpoint.txt")
    text, signatures = path.read_text().split("\n\n")
    assert document["note"] == path.read_text()
    assert text.split("\n") == [
        store.open(archive).id,
        "3",
        base64.b64encode(bytes.fromhex(roots(archive)[-1])).decode(),
    ]
    dash, name, data = signatures.removesuffix("\n").split(" ")
    key_name, key_hash, key = document["key"].split("+", 2)
    public = base64.b64decode(key)
    assert (dash, name, public[0]) == ("\u2014", key_name, 4)
    assert hashlib.sha256(f"{name}\n".encode() + public).digest()[:4].hex() == key_hash
    signed = base64.b64decode(data)
    assert signed[:4].hex() == key_hash
    seconds = int.from_bytes(signed[4:12], "big")
    assert seconds > 1_700_000_000
    Ed25519PublicKey.from_public_bytes(public[1:]).verify(
        signed[12:], f"cosignature/v1\ntime {seconds}\n{text}\n".encode()
    )
    # RFC 9162, section 2.1.4, from 2 to 3 entries: the one hash of the proof is the third leaf.
    (third,) = map(bytes.fromhex, document["consistency"])
    old = bytes.fromhex(document["before"]["root"])
    assert hashlib.sha256(b"\1" + old + third).hexdigest() == document["ledger_head"]


def test_a_witness_keeps_its_name_and_key_and_writes_nothing_into_the_archive(archive: Path, tmp_path: Path) -> None:
    before = sorted(archive.rglob("*"))
    folder = tmp_path / "witness"
    for bad in ("two words", "a+b", ""):
        assert "name" in typed("witness", folder, archive, "--name", bad).line
    assert not folder.exists()
    first = typed("witness", folder, archive, "--name", "witness.example", "--json").document
    again = typed("witness", folder, archive, "--json").document
    assert first["key"] == again["key"]
    assert "another name" in typed("witness", folder, archive, "--name", "b.example").line
    (pem,) = folder.rglob("*.pem")
    assert pem.stat().st_mode & 0o077 == 0
    assert sorted(archive.rglob("*")) == before


def test_without_the_library_a_head_is_remembered_and_that_is_said(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("archive.store.witness.find_spec", lambda name: None)
    said = typed("witness", tmp_path / "witness", archive)
    assert (said.code, "remembered, not signed" in said.out) == (0, True)
    (path,) = (tmp_path / "witness").rglob("checkpoint.txt")
    assert path.read_text().count("\n") == 3


def test_a_head_is_taken_as_it_is_typed(archive: Path) -> None:
    said = typed("head", archive).out
    line = said.partition("to type:")[2].strip()
    assert [len(group) for group in line.split(" ")] == [8] * 8
    assert typed("fixity", archive, "--expect", f" {line.upper()} ").code == 0
    assert typed("fixity", archive, "--expect", f"2:{line}").code == 0
    assert typed("fixity", archive, "--expect", f"1:{line}").code == 1
