"""seal-proof.json: the ledger entries that a sealed folder rests on, each with its path to one head of the ledger.

Nothing else can be in it: every part is either checked against the head, or is the head. The entries are the one by
which the folder was issued, where it was entered in the ledger; the one that registered the key it is signed with; and
those by which the documents in it were filed. Earlier heads, such as those on receipts, come with the path that shows
that the head continues them (RFC 9162, 2.1.4).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.store import catalogue, merkle
from archive.store.archive import Archive, LedgerHead
from archive.store.bags import Damage
from archive.store.ledger import LedgerEntry, judge

FORMAT = "muniment-seal-proof-1"
SEAL_PROOF = "seal-proof.json"


@dataclass(frozen=True)
class SealProof:
    """A proof that was read. Nothing of it is checked yet: `damage` says what does not hold."""

    data: bytes
    fields: dict[str, Any]

    @property
    def head(self) -> LedgerHead:
        """The head that everything in it leads to."""
        return LedgerHead(int(self.fields["head"]["size"]), str(self.fields["head"]["root"]))

    @property
    def heads(self) -> list[LedgerHead]:
        """That head, and the earlier ones that it continues."""
        earlier = [LedgerHead(int(h["size"]), str(h["root"])) for h in self.fields["earlier"]]
        return [self.head, *earlier]

    @property
    def entries(self) -> list[LedgerEntry]:
        """The ledger entries in it."""
        return [LedgerEntry(e["text"].encode()) for e in self.fields["entries"]]

    def damage(self, archive: str) -> Iterator[Damage]:
        """What of it does not hold. archive: id that all of it must be of."""
        try:
            if self.fields["format"] != FORMAT or self.fields["archive"] != archive:
                yield Damage(SEAL_PROOF, "is a proof of another archive or another kind")
            if _bytes(_normal(self.fields)) != self.data:
                yield Damage(SEAL_PROOF, "is not as it was written")
            yield from self._paths(archive)
        except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
            yield Damage(SEAL_PROOF, f"lacks a part, or a part is malformed: {type(error).__name__} {error}")

    def _paths(self, archive: str) -> Iterator[Damage]:
        head = self.head
        for told in self.fields["entries"]:
            data = told["text"].encode()
            if judge(data) != "valid" or LedgerEntry(data).get("archive") != archive:
                yield Damage(SEAL_PROOF, "a ledger entry in it is not as it was written")
                continue
            entry = LedgerEntry(data)
            path = [bytes.fromhex(h) for h in told["path"]]
            found = merkle.root_from_inclusion(entry.leaf, entry.number, head.size, path)
            if found is None or found.hex() != head.root:
                yield Damage(SEAL_PROOF, f"ledger entry {entry.number} is not under the head")
        for old in self.fields["earlier"]:
            path = [bytes.fromhex(h) for h in old["path"]]
            roots = bytes.fromhex(old["root"]), bytes.fromhex(head.root)
            if not merkle.consistent(int(old["size"]), roots[0], head.size, roots[1], path):
                yield Damage(SEAL_PROOF, f"the head does not continue that of {old['size']} entries")


def prove_seal(archive: Archive, numbers: Iterable[int], sizes: Iterable[int]) -> bytes:
    """The bytes of a proof under today's head. numbers: of entries; sizes: of earlier heads, in entries."""
    head = archive.head()
    leaves = catalogue.leaves(archive.db, head.size)
    entries = [e for n in sorted(set(numbers)) if (e := archive.ledger.read(n)) is not None]
    earlier = [s for s in sorted(set(sizes)) if 0 < s < head.size]
    return _bytes(
        {
            "format": FORMAT,
            "archive": archive.id,
            "head": {"size": head.size, "root": head.root},
            "entries": [{"text": e.data.decode(), "path": _hex(merkle.inclusion(leaves, e.number))} for e in entries],
            "earlier": [
                {"size": s, "root": archive.head(s).root, "path": _hex(merkle.consistency(leaves, s))} for s in earlier
            ],
        }
    )


def read_proof(path: Path) -> SealProof:
    """The proof in a file. Errors: Trouble where it is none."""
    try:
        data = path.read_bytes()
        fields = json.loads(data)
        proof = SealProof(data, fields)
        _ = proof.heads, [e.fields for e in proof.entries]
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise Trouble(
            "this is no proof of a seal", code="seal.not-a-proof", where=str(path), found=str(error)
        ) from None
    return proof


def _normal(fields: dict[str, Any]) -> dict[str, Any]:
    """The parts that are checked, and no others, in their one spelling."""
    return {
        "format": fields["format"],
        "archive": fields["archive"],
        "head": {"size": int(fields["head"]["size"]), "root": bytes.fromhex(fields["head"]["root"]).hex()},
        "entries": [
            {"text": e["text"], "path": [bytes.fromhex(h).hex() for h in e["path"]]} for e in fields["entries"]
        ],
        "earlier": [
            {
                "size": int(h["size"]),
                "root": bytes.fromhex(h["root"]).hex(),
                "path": [bytes.fromhex(x).hex() for x in h["path"]],
            }
            for h in fields["earlier"]
        ],
    }


def _bytes(fields: dict[str, Any]) -> bytes:
    return (json.dumps(fields, ensure_ascii=False, indent=1) + "\n").encode()


def _hex(path: Iterable[bytes]) -> list[str]:
    return [h.hex() for h in path]
