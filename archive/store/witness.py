"""A witness: on another machine it remembers heads of archives, checks that each continues the last, countersigns.

Its folder holds, per archive: `heads.txt` (store.heads) and `checkpoint.txt`, the newest checkpoint, countersigned
where the witness has a key. `key/` holds the key of the witness, `name.txt` the name of the key.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.store import heads, merkle
from archive.store.keys import KeyPair, load, make
from archive.store.note import check_name, checkpoint, cosigned, verifier_key


@dataclass(frozen=True)
class Witnessed:
    """What a witness saw: today's head, the head remembered before (None: none), heads that the ledger does not
    continue, the proof of consistency from the one before (RFC 9162, section 2.1.4; hashes in hexadecimal digits),
    the note, and the verifier key ("" where nothing was signed)."""

    size: int
    root: str
    before: heads.SeenHead | None
    broken: list[heads.SeenHead]
    proof: list[str]
    note: str
    key: str


def witness(folder: Path, root: Path, archive_id: str, name: str | None = None) -> Witnessed:
    """Looks at the ledger of an archive, reading all of it. Nothing is written into the archive.

    Where the ledger does not continue a head that was seen before, nothing is remembered or signed. name: of the key,
    needed at the first signature. Errors: Trouble where the ledger is damaged or a name is missing or another.
    """
    chain = heads.sound_chain(root, archive_id)
    place = folder / archive_id
    seen = heads.read_heads(place / "heads.txt", archive_id)
    last = max(seen, key=lambda head: head.size, default=None)
    size, today = len(chain.roots), chain.roots[-1]
    broken = heads.not_continued(chain, seen)
    if broken:
        return Witnessed(size, today, last, broken, [], "", "")
    proof = _proof(chain.leaves, last, today) if last is not None else []
    text = checkpoint(archive_id, size, today)
    signer = _signer(folder, name)
    note = text if signer is None else cosigned(text, signer[0], signer[1], int(time.time()))
    heads.keep_head(place / "heads.txt", archive_id, chain, seen)
    write_bytes(place / "checkpoint.txt", note.encode())
    return Witnessed(size, today, last, [], proof, note, "" if signer is None else verifier_key(*_public(signer)))


def _proof(leaves: list[bytes], before: heads.SeenHead, today: str) -> list[str]:
    """The proof that today's head continues one before, checked as whoever gets it checks it."""
    path = merkle.consistency(leaves, before.size)
    old, new = bytes.fromhex(before.root), bytes.fromhex(today)
    if not merkle.consistent(before.size, old, len(leaves), new, path):
        raise ValueError(f"no proof of consistency from {before.size} to {len(leaves)} entries")
    return [step.hex() for step in path]


def _public(signer: tuple[str, KeyPair]) -> tuple[str, str]:
    return signer[0], signer[1].public


def _signer(folder: Path, name: str | None) -> tuple[str, KeyPair] | None:
    """Name and key of the witness, made at the first time; None where the library to sign is not installed."""
    if find_spec("cryptography") is None:
        return None
    kept = folder / "name.txt"
    known = kept.read_text(encoding="utf-8").strip() if kept.is_file() else None
    if known is None and name is None:
        raise Trouble(
            "the witness has no name yet", code="witness.no-name", expected="--name NAME, such as witness.example"
        )
    if known is not None and name not in (None, known):
        raise Trouble(
            "the witness has another name",
            code="witness.other-name",
            where=str(kept),
            found=str(name),
            expected=known,
            remedy="leave --name out, or take another folder for another witness",
        )
    named = known or check_name(str(name))
    pems = sorted((folder / "key").glob("*.pem"))
    pair = load(pems[0]) if pems else make(folder / "key")
    if known is None:
        write_bytes(kept, f"{named}\n".encode())
    return named, pair
