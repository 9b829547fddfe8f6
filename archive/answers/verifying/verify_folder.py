"""Verifying a folder that was issued: every file against the seal, the seal against its signature and the ledger, and
the parts of the content against each other. Nothing but the folder is asked, and a head where somebody holds one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from archive.answers.verifying import content_checks, remake
from archive.answers.verifying.manifest_checks import manifest_checks
from archive.errors import Trouble
from archive.store.bags import Damage
from archive.store.head_digits import typed
from archive.store.keys.pair import key_id
from archive.store.keys.pair import verify as verify_signature
from archive.store.seals import SEAL, SEAL_PROOF, Seal, SealProof, compare, digests, read_proof, read_seal, unfit

NOT_SEALED = "not sealed: only the record's text is proven"
ITSELF = "nothing but itself"


@dataclass
class FolderReport:
    """What a verification found. against: what it was compared with besides itself; notes: what was not looked at, and
    why."""

    broken: list[Damage] = field(default_factory=list)
    sealed: bool = False
    signed_by: str = ""
    entry: int | None = None
    head: str = ""
    against: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    said: dict[str, Any] = field(default_factory=dict)

    @property
    def sound(self) -> bool:
        """Whether it is sealed, and nothing in it is another than what was sealed."""
        return self.sealed and not self.broken

    @property
    def checked_against(self) -> str:
        """What it was compared with, in words."""
        return "; ".join(self.against) or ITSELF

    def plain(self) -> dict[str, Any]:
        """As one JSON document."""
        return {
            "sound": self.sound,
            "sealed": self.sealed,
            "checked_against": self.checked_against,
            "broken": [{"path": d.path, "what": d.what} for d in self.broken],
            "signed_by": self.signed_by or None,
            "ledger_entry": self.entry,
            "ledger_head": self.head or None,
            "notes": self.notes,
            "seal": self.said,
        }


def verify_folder(
    folder: Path, expect: str | None = None, key: str | None = None, roots: Iterable[bytes] = ()
) -> FolderReport:
    """Verifies a claim file or a book.

    expect: a ledger head held elsewhere (hexadecimal digits or SIZE:HEX); key: id of the key that the reader knows for
    the issuer's; roots: certificates of time-stamping authorities that the reader trusts. Errors: Trouble where the
    folder is none that was issued.
    """
    report = FolderReport()
    _require_issued(folder)
    report.broken += unfit(folder)
    seal, proof = _seal(folder, report), _proof(folder, report)
    there = digests(folder)
    report.broken += manifest_checks(folder, there)
    if seal is not None:
        report.broken += compare(there, seal.files)
        try:
            _authority(seal, proof, report)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            report.sealed = False
            report.broken.append(Damage(SEAL_PROOF, f"is malformed: {type(error).__name__} {error}"))
        report.said = {n: seal.get(n) for n in ("what", "link", "job", "role", "record", "by", "made", "reason")}
    _expected(expect, proof, report)
    _key(key, report)
    report.broken += content_checks.checks(folder, seal, proof, list(roots), report.notes)
    report.broken += remake.compare(folder, {d.path for d in report.broken}, report.notes)
    report.broken = list(dict.fromkeys(report.broken))
    if expect is None and report.sound:
        report.notes.insert(0, "sound against itself: compare the head with one held elsewhere (--expect)")
    return report


def _require_issued(folder: Path) -> None:
    if not any((folder / name).is_file() for name in (SEAL, "manifest-sha256.txt", "bagit.txt")):
        raise Trouble(
            "this is no claim file and no book",
            code="verify.not-issued",
            where=str(folder),
            expected="a folder with manifest-sha256.txt and seal.json in it",
            remedy="name the folder that holds these files",
        )


def _seal(folder: Path, report: FolderReport) -> Seal | None:
    if not (folder / SEAL).exists():
        report.broken.append(Damage(SEAL, NOT_SEALED))
        return None
    try:
        return read_seal(folder / SEAL)
    except Trouble as trouble:
        report.broken.append(Damage(SEAL, f"{trouble.message}: {trouble.found}"))
        return None


def _proof(folder: Path, report: FolderReport) -> SealProof | None:
    if not (folder / SEAL_PROOF).exists():
        return None
    try:
        return read_proof(folder / SEAL_PROOF)
    except Trouble as trouble:
        report.broken.append(Damage(SEAL_PROOF, f"{trouble.message}: {trouble.found}"))
        return None


def _authority(seal: Seal, proof: SealProof | None, report: FolderReport) -> None:
    """Who vouches for the seal: a ledger entry, a signature, or both."""
    if proof is None:
        report.broken.append(Damage(SEAL_PROOF, "missing or not to be read: nothing vouches for the seal"))
        return
    found = list(proof.damage(str(seal.get("archive"))))
    report.broken += found
    if found:
        return
    report.head = proof.head.root
    issued = [e for e in proof.entries if e.get("seal") == seal.sha256 and str(e.get("event")).endswith(" issued")]
    if issued:
        report.entry = issued[0].number
    elif seal.get("entered") is not False:
        report.broken.append(Damage(SEAL_PROOF, "no ledger entry in it names this seal"))
    signed = seal.signed
    good = False
    if signed is not None:
        signature, data = signed
        good = _signature(signature, data, proof, report)
    report.sealed = bool(issued) or good
    if not report.sealed:
        report.broken.append(Damage(SEAL, f"neither a signature nor a ledger entry vouches for it; {NOT_SEALED}"))


def _signature(signature: dict[str, str], data: bytes, proof: SealProof, report: FolderReport) -> bool:
    key = str(signature.get("key"))
    added = [e for e in proof.entries if e.get("event") == "key" and e.get("action") == "add" and e.get("key") == key]
    public = str(added[0]["public"]) if added else ""
    if not public or key_id(public) != key:
        report.broken.append(Damage(SEAL, f"is signed with key {key}, which no ledger entry in the proof registers"))
        return False
    good = verify_signature(public, signature, data)
    if good is None:
        report.notes.append("the signature was not checked: the library cryptography is not installed")
    elif not good:
        report.broken.append(Damage(SEAL, f"the signature with key {key} is not good"))
    else:
        report.signed_by = key
    return bool(good)


def _expected(expect: str | None, proof: SealProof | None, report: FolderReport) -> None:
    if expect is None:
        return
    size, root = typed(expect)
    report.against.append(f"the head given, {root}")
    heads = proof.heads if proof is not None else []
    if not any(h.root == root and size in (None, h.size) for h in heads):
        report.broken.append(
            Damage(
                SEAL_PROOF,
                f"the head {root} is not one that this file continues: it is of another ledger, or of a state that the "
                "file does not name; whoever holds the archive can tell with `muniment prove --since`",
            )
        )


def _key(key: str | None, report: FolderReport) -> None:
    if key is None:
        return
    report.against.append(f"the key given, {key}")
    if report.signed_by != key:
        report.broken.append(Damage(SEAL, f"is not signed with key {key}"))
