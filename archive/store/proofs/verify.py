"""Verifying a proof with nothing but the proof: no archive, no network."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.store import merkle
from archive.store.head_digits import typed
from archive.store.keys import stamp
from archive.store.keys.pair import key_id
from archive.store.keys.pair import verify as verify_signature
from archive.store.ledger import LedgerEntry, judge
from archive.store.proofs.prove import FORMAT


@dataclass(frozen=True)
class ProofStep:
    """One thing that was looked at. holds: None where it cannot be decided here, and why stands in `said`."""

    what: str
    holds: bool | None
    said: str = ""


def load(path: Path) -> dict[str, Any]:
    """A proof from its file. Errors: Trouble where it is none."""
    try:
        read = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, UnicodeDecodeError) as error:
        raise Trouble(
            "this is no proof: not JSON",
            code="proof.not-a-proof",
            where=str(path),
            found=str(error),
            expected="a proof as `muniment prove --out` writes it, or the folder of a claim file or book",
        ) from None
    if not isinstance(read, dict) or read.get("format") != FORMAT:
        found = read.get("format") if isinstance(read, dict) else type(read).__name__
        raise Trouble(
            "this is no proof of this program",
            code="proof.not-a-proof",
            where=str(path),
            found=str(found),
            expected=FORMAT,
        )
    return read


def verify(proof: dict[str, Any], expect: str | None = None, roots: Iterable[bytes] = ()) -> list[ProofStep]:
    """Steps of the verification, in their order; the proof holds where none of them is False.

    expect: a ledger head held elsewhere (hexadecimal digits or SIZE:HEX). roots: certificates (PEM or DER) of
    time-stamping authorities that the reader trusts. Errors: Trouble where the document lacks a part.
    """
    try:
        return list(_steps(proof, expect, list(roots)))
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise Trouble(
            "the proof lacks a part or a part is malformed",
            code="proof.incomplete",
            found=f"{type(error).__name__} {error}",
        ) from None


def holds(steps: list[ProofStep]) -> bool:
    """Whether no step failed."""
    return all(s.holds is not False for s in steps)


def _steps(proof: dict[str, Any], expect: str | None, roots: list[bytes]) -> Iterator[ProofStep]:
    name, _, digits = proof["digest"].partition(":")
    if proof["canonical"] is None:
        yield ProofStep(
            f"the record's canonical text has the digest {digits[:16]}...", None, "a part of it was redacted"
        )
    else:
        canonical = proof["canonical"].encode()
        yield ProofStep(f"the record's canonical text has the digest {digits[:16]}...", _sha(canonical) == digits)
        named = f'record_id="{proof["record"]}"'.encode() in canonical
        yield ProofStep(f"the text is a record of {name} with this id", named)
    entry = LedgerEntry(proof["entry"]["text"].encode())
    yield ProofStep("the ledger entry has its own digest", judge(entry.data) == "valid")
    same = entry.number == proof["entry"]["number"] == proof["in_ledger"]["index"]
    yield ProofStep("the entry has the number it is said to have", same and entry["archive"] == proof["archive"])
    inside = _leads(merkle.leaf(proof["digest"].encode()), proof["in_deposit"])
    root_is = proof["in_deposit"]["root"] == entry["root"] and proof["in_deposit"]["size"] == entry["records"]
    yield ProofStep("the record is one of the deposit's, by its path to the root in the entry", inside and root_is)
    ledger = proof["in_ledger"]
    yield ProofStep("the entry is in the ledger, by its path to the head", _leads(entry.leaf, ledger))
    yield from _signature(entry, proof["keys"])
    if "continues" in proof:
        old = proof["continues"]
        yield ProofStep(
            f"the ledger continues the head of {old['size']} entries, {old['root']}", _consistent(old, ledger)
        )
    for token in proof.get("stamps", []):
        yield from _stamp(token, ledger, proof["archive"], roots)
    if expect is not None:
        yield ProofStep(f"the head is the one held elsewhere, {expect}", _expected(expect, proof))


def _expected(expect: str, proof: dict[str, Any]) -> bool:
    known = [proof["in_ledger"], *([proof["continues"]] if "continues" in proof else [])]
    size, root = typed(expect)
    return any(k["root"] == root and size in (None, k["size"]) for k in known)


def _signature(entry: LedgerEntry, keys: dict[str, str]) -> Iterator[ProofStep]:
    if entry.signed is None:
        yield ProofStep("the entry is not signed", None, "nothing to verify; the head is what counts")
        return
    signature, data = entry.signed
    public = keys.get(signature["key"], "")
    what = f"the entry is signed with key {signature['key']}"
    if not public or key_id(public) != signature["key"]:
        yield ProofStep(what, False, "the proof does not hold that key")
        return
    good = verify_signature(public, signature, data)
    yield ProofStep(what, good, "" if good is not None else "the library cryptography is not installed")


def _stamp(token: dict[str, Any], ledger: dict[str, Any], archive: str, roots: list[bytes]) -> Iterator[ProofStep]:
    held = _consistent(token, ledger)
    yield ProofStep(f"the ledger continues the stamped head of {token['size']} entries", held)
    message = stamp.message(archive, int(token["size"]), token["root"])
    kept = token.get("rests_on", {})
    lists = [base64.b64decode(data) for name, data in kept.items() if name.endswith(".crl")]
    judged = stamp.judge(base64.b64decode(token["token"]), message, roots, lists)
    yield ProofStep(f"the head of {token['size']} entries was stamped{judged.when}", judged.holds, judged.said)


def _leads(leaf: bytes, told: dict[str, Any]) -> bool:
    path = [bytes.fromhex(h) for h in told["path"]]
    found = merkle.root_from_inclusion(leaf, int(told["index"]), int(told["size"]), path)
    return found is not None and found.hex() == told["root"]


def _consistent(old: dict[str, Any], new: dict[str, Any]) -> bool:
    path = [bytes.fromhex(h) for h in old["path"]]
    first, second = bytes.fromhex(old["root"]), bytes.fromhex(new["root"])
    return merkle.consistent(int(old["size"]), first, int(new["size"]), second, path)


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
