"""A record's proof: everything that is needed to see that it stood in the archive, and nothing of the archive.

The canonical text gives the digest; the digest and its path give the root of its deposit; the deposit's entry holds
that root; the entry and its path give the head of the ledger. The head is worth what somebody else holds of it: a
receipt, another copy, a time stamp.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator
from typing import Any

from archive.errors import Trouble
from archive.store import catalogue, clock, merkle
from archive.store.archive import Archive
from archive.store.head_digits import typed
from archive.store.keys import known_keys
from archive.store.parquet import options
from archive.store.records import split_address
from archive.tables.canonical import digest, record_bytes
from archive.version import PROGRAM

FORMAT = "muniment-proof-1"
_STAMPED = (".tsr", ".pem", ".crl")
"""A stamp, certificates that it rests on, and lists of revoked ones."""


def prove(archive: Archive, record: str, since: str | None = None) -> dict[str, Any]:
    """Proof of a record, as one JSON document.

    record: record_id or address "deposit/position". since: an earlier head (hexadecimal digits or SIZE:HEX) of which
    the proof is also to show that today's ledger continues it. Where a part of the record was redacted, the canonical
    text is null and the rest still holds. Errors: Trouble where there is no such record or head, or it is damaged.
    """
    address = archive.address(record)
    deposit, position = split_address(address)
    entry = archive.deposit_entry(deposit)
    head = archive.head()
    leaves = catalogue.leaves(archive.db, head.size)
    digests = _digests(archive, deposit)
    hashes = [merkle.leaf(d.encode()) for d in digests]
    batch = archive.record(address)
    canonical: bytes | None = record_bytes(batch)[0]
    if canonical is not None and digest(canonical) != digests[position]:
        if not archive.redacted_tables(deposit):
            raise Trouble(
                "the record is not the one whose digest was archived",
                code="proof.record-altered",
                where=address,
                remedy=f"run `muniment fixity {archive.root}`, then `muniment repair`",
            )
        canonical = None
    return {
        "format": FORMAT,
        "made": clock.text(clock.now()),
        "program": PROGRAM,
        "archive": archive.id,
        "record": batch["records"]["record_id"][0].as_py(),
        "address": address,
        "link_label": batch["records"]["link_label"][0].as_py(),
        "digest": digests[position],
        "canonical": None if canonical is None else canonical.decode(),
        "in_deposit": _path(hashes, position),
        "entry": {"number": entry.number, "text": entry.data.decode()},
        "in_ledger": _path(leaves, entry.number),
        **({"continues": _continues(archive, leaves, since)} if since else {}),
        "keys": {k: v["public"] for k, v in known_keys(archive.entries()).items()},
        "stamps": list(_stamps(archive, leaves)),
    }


def _path(hashes: list[bytes], index: int) -> dict[str, Any]:
    return {
        "index": index,
        "size": len(hashes),
        "root": merkle.root(hashes).hex(),
        "path": [h.hex() for h in merkle.inclusion(hashes, index)],
    }


def _continues(archive: Archive, leaves: list[bytes], since: str) -> dict[str, Any]:
    size, root = typed(since)
    number = archive.size_of(root) if size is None else size
    if number is None or catalogue.root(archive.db, number) != root:
        raise Trouble(
            "the ledger never had this head", code="ledger.unknown-head", where=str(archive.root), found=since
        )
    path = [h.hex() for h in merkle.consistency(leaves, number)]
    return {"size": number, "root": root, "path": path}


def _stamps(archive: Archive, leaves: list[bytes]) -> Iterator[dict[str, Any]]:
    """Time stamps of heads, each with the proof that today's ledger continues the head that was stamped."""
    for entry in archive.entries():
        if entry.get("event") == "stamp":
            try:
                kept = {
                    path.rpartition("/")[2]: archive.checked.read(path, told["sha256"])
                    for path, told in entry.files.items()
                    if path.endswith(_STAMPED)
                }
                authority = archive.texts(entry).get("authority")
            except (Trouble, OSError):
                continue  # damage elsewhere takes nothing from the record's proof; `fixity` names it
            size = int(entry["size"])
            token = kept.pop("head.tsr")
            yield {
                "size": size,
                "root": entry["root"],
                "token": base64.b64encode(token).decode(),
                "authority": authority,
                "path": [h.hex() for h in merkle.consistency(leaves, size)],
                "rests_on": {name: base64.b64encode(data).decode() for name, data in sorted(kept.items())},
            }


def _digests(archive: Archive, deposit: str) -> list[str]:
    tables = archive.tables(deposit)
    found = options.read(tables.index, ["digest"], file=tables.opened(tables.index))
    digests: list[str] = found["digest"].to_pylist()
    return digests
