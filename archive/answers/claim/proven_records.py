"""The proof of one record for a claim file, and since when the ledger holds it."""

from __future__ import annotations

from typing import Any

from archive.answers.claim.claim_facts import Proven, ProvenRecord
from archive.errors import Trouble
from archive.store import Archive
from archive.store.proofs import holds, prove, verify


def proven_record(archive: Archive, address: str, state: str) -> ProvenRecord:
    """The proof of a record, verified. state: ISO 8601 time of the newest ledger entry.

    Errors: Trouble where it does not hold.
    """
    # The proof speaks of the archive's state, not of the hour at which it is printed: same inputs, same bytes.
    proof = {**prove(archive, address), "made": state}
    return ProvenRecord(address, proof, _steps(proof), _since(archive, address))


def _steps(proof: dict[str, Any]) -> list[tuple[str, bool | None, str]]:
    steps = verify(proof)
    if not holds(steps):
        wrong = next(s for s in steps if s.holds is False)
        raise Trouble(
            "the record's proof does not hold",
            code="archive.proof-broken",
            where=proof["address"],
            found=wrong.what,
            remedy="run `muniment fixity` on the archive",
        )
    return [(s.what, s.holds, s.said) for s in steps]


def _since(archive: Archive, address: str) -> Proven:
    entry = archive.deposit_entry(address.rpartition("/")[0])
    stamps = [e for e in archive.entries() if e.get("event") == "stamp" and int(e["size"]) > entry.number]
    signed = (entry.get("signature") or {}).get("key", "")
    return Proven(str(entry.get("at")), entry.number, str(signed), [str(e.get("at"))[:10] for e in stamps])
