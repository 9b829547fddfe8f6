"""A record's proof holds by itself, and any change to it shows."""

from __future__ import annotations

import copy
import hashlib
import json
import random
from pathlib import Path
from typing import Any

import pytest
from store_making import batch, deposit, rows

from archive.errors import Trouble
from archive.store import Archive
from archive.store.events.redact import of_file, of_name, redact
from archive.store.proofs import holds, load, prove, verify


@pytest.fixture
def proven(archive: Archive) -> tuple[Archive, dict[str, Any]]:
    many = [rows(f"L{i}", source=f"{i:064d}", time=f"2019-03-04T{i:02d}:15", shift=i) for i in range(7)]
    made = deposit(archive, batch(*many))
    deposit(archive, batch(rows("other", source="b" * 64, shift=9)))
    assert made.entry is not None
    return archive, prove(archive, f"{made.entry['deposit']}/4", since=made.head.root)


def test_a_proof_holds_without_the_archive(proven: tuple[Archive, dict[str, Any]], tmp_path: Path) -> None:
    archive, proof = proven
    (tmp_path / "proof.json").write_text(json.dumps(proof))
    read = load(tmp_path / "proof.json")
    assert holds(verify(read, archive.head().root))
    assert holds(verify(read, archive.head(2).root)), "the head of the receipt, which today's ledger continues"
    assert not holds(verify(read, "0" * 64))


def test_a_proof_by_hand_with_nothing_but_sha256(proven: tuple[Archive, dict[str, Any]]) -> None:
    """RFC 9162 section 2.1.3.2 written out once more, on the proof's own hexadecimal digits."""
    _, proof = proven

    def climb(hashed: bytes, told: dict[str, Any]) -> str:
        fn, sn = told["index"], told["size"] - 1
        for step in map(bytes.fromhex, told["path"]):
            if fn % 2 or fn == sn:
                hashed = hashlib.sha256(b"\x01" + step + hashed).digest()
                while fn % 2 == 0 and fn:
                    fn, sn = fn >> 1, sn >> 1
            else:
                hashed = hashlib.sha256(b"\x01" + hashed + step).digest()
            fn, sn = fn >> 1, sn >> 1
        assert sn == 0
        return hashed.hex()

    digest = "link-record-1:" + hashlib.sha256(proof["canonical"].encode()).hexdigest()
    root = climb(hashlib.sha256(b"\x00" + digest.encode()).digest(), proof["in_deposit"])
    entry = proof["entry"]["text"]
    assert json.loads(entry)["root"] == root
    body, _, last = entry.rpartition('"sha256": ')
    assert last == f'"{hashlib.sha256(body.encode()).hexdigest()}"}}\n'
    assert climb(hashlib.sha256(b"\x00" + entry.encode()).digest(), proof["in_ledger"]) == proven[0].head().root


def mutations(proof: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    draw = random.Random(3)
    made = []
    for key in ("record", "digest", "canonical", "archive"):
        bad = copy.deepcopy(proof)
        text = bad[key]
        at = draw.randrange(len(text) // 2, len(text))
        bad[key] = text[:at] + ("0" if text[at] != "0" else "1") + text[at + 1 :]
        made.append((key, bad))
    for part in ("in_deposit", "in_ledger"):
        for field in ("index", "size"):
            bad = copy.deepcopy(proof)
            bad[part][field] += 1
            made.append((f"{part}.{field}", bad))
        for i in range(len(proof[part]["path"])):
            bad = copy.deepcopy(proof)
            bad[part]["path"][i] = "0" * 64
            made.append((f"{part}.path[{i}]", bad))
        bad = copy.deepcopy(proof)
        bad[part]["root"] = "0" * 64
        made.append((f"{part}.root", bad))
    bad = copy.deepcopy(proof)
    bad["entry"]["text"] = bad["entry"]["text"].replace('"records": 7', '"records": 8')
    made.append(("entry.text", bad))
    bad = copy.deepcopy(proof)
    bad["continues"]["root"] = "0" * 64
    made.append(("continues.root", bad))
    return made


def test_any_changed_part_shows(proven: tuple[Archive, dict[str, Any]]) -> None:
    archive, proof = proven
    head = f"{archive.head().size}:{archive.head().root}"
    assert holds(verify(proof, head))
    for what, bad in mutations(proof):
        assert not holds(verify(bad, head)), what


def test_a_document_that_is_no_proof(tmp_path: Path) -> None:
    path = tmp_path / "x.json"
    for text in ("", "[]", '{"format": "something"}', "\x00\x01", '{"format": "muniment-proof-2"}'):
        path.write_text(text)
        with pytest.raises(Trouble, match="no proof"):
            load(path)
    path.write_text('{"format": "muniment-proof-1"}')
    with pytest.raises(Trouble, match="lacks a part"):
        verify(load(path))


def test_every_other_proof_holds_after_a_redaction(archive: Archive, tmp_path: Path) -> None:
    original = tmp_path / "links.csv"
    original.write_text("R. Ostrander tested this\n")
    made = deposit(archive, batch(rows(), rows("B", source="b" * 64, shift=1)), originals=[(original, "links.csv")])
    other = deposit(archive, batch(rows("C", source="c" * 64, shift=2)))
    assert made.entry is not None
    assert other.entry is not None
    before = [prove(archive, f"{made.entry['deposit']}/{i}") for i in (0, 1)]
    head = archive.head().root
    redact(archive, of_name(archive, "R. Ostrander"), by="A. Clerk", reason="asked for")
    redact(archive, of_file(archive, f"{made.entry['path']}/data/originals.zip"), by="A. Clerk", reason="asked for")
    for proof in before:
        assert holds(verify(proof, head))
    for address in (f"{made.entry['deposit']}/0", f"{made.entry['deposit']}/1", f"{other.entry['deposit']}/0"):
        assert holds(verify(prove(archive, address, since=head), head))
