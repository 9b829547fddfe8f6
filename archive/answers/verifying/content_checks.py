"""The parts of a claim file against each other: what each of them proves on its own, with or without a seal."""

from __future__ import annotations

import hashlib
import io
import json
import re
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from archive import formats
from archive.answers.sealing.start_here import START_HERE, start_here
from archive.errors import Trouble
from archive.store.bags import Damage
from archive.store.proofs import load, verify
from archive.store.seals import Seal, SealProof
from archive.tables import Batch
from archive.tables.canonical import record_digests
from archive.tables.ids import person_key, with_id
from archive.version import PROGRAM

PROOF, RECORD, CSV, PDF = "data/proof.json", "data/record.xml", "data/record-csv.zip", "data/claim.pdf"
OTHERS = "data/other-tests.xml"
RANGES = "data/originals/ranges.json"
_MOST_UNPACKED = 1 << 30
"""Bytes of a zip from a stranger that are unpacked to look for a source."""


def checks(
    folder: Path, seal: Seal | None, proof: SealProof | None, roots: list[bytes], notes: list[str]
) -> Iterator[Damage]:
    """What does not fit together. roots: certificates of time-stamping authorities; notes: gets what to know too."""
    digest = None
    if (folder / PROOF).is_file():
        digest, found = _proof(folder / PROOF, PROOF, proof, roots)
        yield from found
        if seal is not None and seal.get("record_digest") != digest:
            yield Damage(PROOF, "proves another record than the seal names")
    yield from _disputed(folder, proof, roots)
    for name in (RECORD, CSV):
        if (folder / name).is_file():
            yield from _record(folder / name, name, digest)
    if (folder / PDF).is_file() and (folder / RECORD).is_file():
        yield from _attachment(folder)
    if (folder / RECORD).is_file():
        yield from _originals(folder, seal, notes)
    yield from _documents(folder, proof)
    yield from _start_here(folder, seal)


def _proof(path: Path, name: str, sealed: SealProof | None, roots: list[bytes]) -> tuple[str | None, list[Damage]]:
    """Digest that the record's proof proves, and what of it does not hold."""
    try:
        proof = load(path)
        steps = verify(proof, None, roots)
    except Trouble as trouble:
        return None, [Damage(name, f"{trouble.message}: {trouble.found}")]
    found = [Damage(name, f"does not hold: {s.what}") for s in steps if s.holds is False]
    if sealed is not None and not found:
        head = proof["in_ledger"]
        try:
            if not any(h.root == head["root"] and h.size == head["size"] for h in sealed.heads):
                found.append(Damage(name, "leads to a head of another ledger than the seal"))
        except (KeyError, TypeError, ValueError):
            pass  # said of the proof of the seal
    return str(proof["digest"]), found


def _disputed(folder: Path, sealed: SealProof | None, roots: list[bytes]) -> Iterator[Damage]:
    """The proofs of records in conflict, each against the records beside it."""
    listed = sorted((folder / "data").glob("proof-*.json"))
    if not listed:
        return
    others = {d for b in _read(folder / OTHERS) for d in record_digests(b)}
    for path in listed:
        name = path.relative_to(folder).as_posix()
        digest, found = _proof(path, name, sealed, roots)
        yield from found
        if digest is not None and digest not in others:
            yield Damage(name, f"proves a record that is not in {OTHERS}")


def _record(path: Path, name: str, digest: str | None) -> Iterator[Damage]:
    """An open form of the record against its proof, and the ids in it that follow from content."""
    try:
        batches = list(formats.read(path))
    except Trouble as trouble:
        yield Damage(name, f"cannot be read: {trouble.message}")
        return
    found = [d for b in batches for d in record_digests(b)]
    if digest is not None and found != [digest]:
        yield Damage(name, "is not the record whose digest proof.json proves")
    for batch in batches:
        yield from (Damage(name, what) for what in _ids(batch))


def _ids(batch: Batch) -> Iterator[str]:
    for table, key, what in (("instruments", "instrument_id", "instrument"), ("places", "place_id", "place")):
        for row in batch[table].to_pylist():
            if row[key].startswith(("in-", "pl-")) and with_id(table, row)[key] != row[key]:
                yield f"the facts of {what} {row[key]} are not those that its id was made from"
    for row in batch["people"].to_pylist():
        if row["name"] and row["salt"] and person_key(row["salt"], row["name"]) != row["person_key"]:
            yield f"the name of person {row['person_key']} is not the one that the key was made from"


_EMBEDDED = re.compile(rb"<<(?:[^<>]|<<[^<>]*>>)*?/Type\s*/EmbeddedFile\b(?:[^<>]|<<[^<>]*>>)*?>>\s*stream\r?\n")


def attachments(pdf: bytes, most: int) -> Iterator[bytes]:
    """The first bytes, `most` at the most, of files that a PDF of this program carries inside (ISO 32000-2, 7.11.4)."""
    for found in _EMBEDDED.finditer(pdf):
        rest = pdf[found.end() :]
        if b"FlateDecode" in found[0]:
            yield zlib.decompressobj().decompress(rest, most)
        else:
            yield rest[: rest.index(b"endstream")].rstrip(b"\r\n")


def _attachment(folder: Path) -> Iterator[Damage]:
    record = (folder / RECORD).read_bytes()
    try:
        inside = list(attachments((folder / PDF).read_bytes(), len(record) + 1))
    except (zlib.error, ValueError) as error:
        yield Damage(PDF, f"what it carries inside cannot be read: {error}")
        return
    if record not in inside:
        yield Damage(PDF, "carries another record.xml inside than the one beside it, or none")


def _originals(folder: Path, seal: Seal | None, notes: list[str]) -> Iterator[Damage]:
    """Files as received, and stretches of their bytes, against the source that the record names."""
    batch = next((b for b in _read(folder / RECORD) if len(b)), None)
    kept = sorted(p for p in (folder / "data" / "originals").rglob("*") if p.is_file())
    listed = _ranges(folder)
    if seal is not None and listed != (seal.get("parts_of_originals") or []):
        yield Damage(RANGES, "is not the list of stretches in the seal")
    for said in listed:
        yield from _stretch(folder, said)
        notes.append(f"{said.get('of')}: the whole is not enclosed, only bytes from {said.get('offset')} on")
    if batch is None or not kept:
        return
    record = batch["records"]["record_id"][0].as_py().encode()
    wanted = next((s["source_id"] for s in batch["sources"].to_pylist() if s["source_id"]), None)
    if any(wanted == r.get("source_sha256") for r in listed):
        return
    for path in kept:
        for part in _parts(path.read_bytes()):
            if hashlib.sha256(part).hexdigest() == wanted or record in part:
                return
    notes.append("no file in data/originals is the source that the record names")


def _read(path: Path) -> list[Batch]:
    try:
        return list(formats.read(path))
    except Trouble:
        return []  # said of the record


def _stretch(folder: Path, said: dict[str, Any]) -> Iterator[Damage]:
    path = folder / "data" / str(said.get("file"))
    try:
        data = path.read_bytes()
    except OSError:
        yield Damage(f"data/{said.get('file')}", f"missing: {RANGES} lists it")
        return
    if len(data) != said.get("bytes") or hashlib.sha256(data).hexdigest() != said.get("sha256"):
        yield Damage(f"data/{said.get('file')}", f"is not the stretch that {RANGES} lists")


def _ranges(folder: Path) -> list[dict[str, Any]]:
    try:
        found = json.loads((folder / RANGES).read_bytes())
    except (OSError, ValueError):
        return []
    return [r for r in found if isinstance(r, dict)] if isinstance(found, list) else []


def _documents(folder: Path, proof: SealProof | None) -> Iterator[Damage]:
    """Filed documents against the ledger entries that filed them."""
    places = (folder / "data" / "documents", folder / "documents")  # of a claim file, of a book
    there = sorted(p for place in places for p in place.rglob("*") if p.is_file() and p.name != "names.json")
    if not there or proof is None:
        return
    try:
        filed = {str(f["sha256"]) for e in proof.entries if e.get("event") == "attach" for f in e.files.values()}
    except (KeyError, TypeError, ValueError, AttributeError):
        return  # said of the proof of the seal
    for path in there:
        if hashlib.sha256(path.read_bytes()).hexdigest() not in filed:
            yield Damage(
                path.relative_to(folder).as_posix(), "no ledger entry in the proof files a document of this digest"
            )


def _parts(data: bytes) -> Iterator[bytes]:
    yield data
    if data[:4] == b"PK\x03\x04":
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as packed:
                listed = [i for i in packed.infolist() if not i.is_dir()]
                if sum(i.file_size for i in listed) <= _MOST_UNPACKED:
                    yield from (packed.read(i) for i in listed)
        except (zipfile.BadZipFile, RuntimeError, NotImplementedError, zlib.error):
            return


def _start_here(folder: Path, seal: Seal | None) -> Iterator[Damage]:
    """The page that verifies without this program, against the one that this version writes."""
    path = folder / START_HERE
    theirs = seal.get("program") if seal is not None else PROGRAM
    if theirs == PROGRAM and path.is_file() and path.read_bytes() != start_here():
        yield Damage(START_HERE, f"is not the page that {PROGRAM} writes")
