"""The claim file on disk: a BagIt bag with the documents, the record in the open forms, the originals, the proof."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from archive import formats, schemas
from archive.answers.claim.bag import tags
from archive.answers.claim.claim_facts import ClaimFacts
from archive.answers.claim.custody import proof_files
from archive.answers.claim.saved_claim import FACTS, WORDS, facts_json, pages
from archive.answers.sealing.issue import Content, Issuer, NotEntered
from archive.answers.sealing.seal_note import SealNote
from archive.answers.sealing.start_here import START_HERE, WINDOWS, start_here
from archive.answers.wording import ENGLISH, Wording
from archive.atomic import atomic_write, require_empty
from archive.tables import Batch

_HOW = """How to check this claim file without any special program

The folder that holds manifest-sha256.txt is a BagIt bag (RFC 8493). In that folder:

1. Every file is as it was written:        sha256sum -c manifest-sha256.txt
   On Windows, in PowerShell (it prints what is missing or changed):
     {windows}
   manifest-sha512.txt lists the same files by SHA-512.
2. seal.json, where it is there, holds the digests of all these files, manifests and all; its last line is the SHA-256
   of the bytes before. The ledger entry that names it is in seal-proof.json, with its path to a head of the ledger.
   START-HERE.html checks all that in a browser, without a network. With the program at hand, from a source of your own:
                                           muniment verify FOLDER --expect HEAD
   Without seal.json nothing but the text of the record is proven.
3. data/claim.html opens in any browser and asks nothing of the network; data/claim.pdf says the same. data/facts.json
   is what both were made from, besides the records.
4. data/record.xml is the record that stands, in the open link record form; its namespace and fields are described in
   data/schema/. data/record-csv.zip holds the same as CSV.
5. data/proof.json holds the record's canonical text, its path in the tree of its deposit, the ledger entry of that
   deposit, and that entry's path in the tree of the ledger (RFC 9162, section 2.1.3). The last root must be the head
   that somebody else holds: on a receipt, on another claim file, in a letter. With the program at hand:
                                           muniment verify data/proof.json
6. data/originals/ holds the export as received where it speaks of this link alone. Else it holds unaltered stretches
   of its bytes; data/originals/ranges.json says which bytes of what, with the digest of the whole, which whoever
   keeps the archive can show. data/originals/names.json has the true names of files whose name Windows refuses.
   data/documents/ holds what was filed: certificates, photographs, drawings, letters.
7. Other tests of the link, as far as there are any, are in data/other-tests.xml, and the fresh test that came with a
   complaint in data/fresh-test.xml, its file as received in data/fresh/.

Where no record of the link stands, parts 4 and 5 are not there. Where that is so because records contradict each other,
they are in data/other-tests.xml, and data/proof-A.json, data/proof-B.json and so on prove each of them as part 5 says.
"""


def write(
    facts: ClaimFacts,
    originals: Mapping[str, bytes],
    out: Path,
    words: Wording = ENGLISH,
    *,
    paper: str = "a4",
    fresh: Mapping[str, bytes] | None = None,
    issuer: Issuer | None = None,
) -> list[str]:
    """Writes the claim file into the folder `out`, which must not be there or be empty; gives its files.

    originals: files as received by their path in the bag; fresh: the file of the fresh test, by name. issuer: who
    seals it; without one, and where neither a key nor the ledger can vouch for it, it is not sealed and says so.
    Everything is written aside and renamed. The same facts give the same payload. Errors: Trouble where `out` is taken.
    """
    require_empty(out)
    more = {**originals, **{f"fresh/{name}": data for name, data in (fresh or {}).items()}}
    with atomic_write(out) as folder:
        payload = _written(facts, more, folder, words, paper, issuer)
        if issuer is not None:
            try:
                issuer.seal(folder, _content(facts))
            except NotEntered:
                shutil.rmtree(folder)
                payload = _written(facts, more, folder, words, paper, issuer)
                issuer.seal(folder, _content(facts))
    return payload


def _written(
    facts: ClaimFacts, more: Mapping[str, bytes], folder: Path, words: Wording, paper: str, issuer: Issuer | None
) -> list[str]:
    """Writes the bag without its seal; gives the files of its payload."""
    facts = replace(facts, seal=issuer.note if issuer is not None else SealNote())
    payload = {**more, **_payload(facts, words, paper)}
    for path, data in payload.items():
        target = folder / "data" / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    for name, data in tags(payload, {START_HERE: start_here()}, link=facts.link, day=facts.on).items():
        (folder / name).write_bytes(data)
    return sorted(payload)


def _content(facts: ClaimFacts) -> Content:
    s = facts.standing
    said = {
        "link": facts.link,
        "job": facts.job.get("job_id"),
        "role": facts.role if s is not None else None,
        "record": s.record["record_id"] if s is not None else None,
        "record_digest": s.digest if s is not None else None,
        "head": {"size": facts.entries, "root": facts.head},
        "parts_of_originals": [dict(r) for t in facts.tests for r in t.original.ranges],
    }
    return Content(
        "claim file",
        said,
        records=[t.address for t in facts.tests],
        rests_on=[d["entry"] for d in facts.documents if d.get("inside")],
        sizes=[facts.entries, *(t.entry + 1 for t in facts.tests)],
    )


def _payload(facts: ClaimFacts, words: Wording, paper: str) -> dict[str, bytes]:
    payload: dict[str, bytes] = {}
    s = facts.standing
    if s is not None:
        payload["record.xml"] = _form([s.batch], "record.xml", "xml")
        payload["record-csv.zip"] = _form([s.batch], "record-csv.zip", "csv")
    others = [t.batch for t in facts.tests if not t.standing]
    if others:
        payload["other-tests.xml"] = _form(others, "other-tests.xml", "xml")
    if facts.retest is not None:
        payload["fresh-test.xml"] = _form([facts.retest.batch], "fresh-test.xml", "xml")
    for name, proof in proof_files(facts).items():
        payload[name] = (json.dumps(proof, ensure_ascii=False, indent=1) + "\n").encode()
    for name in ("link-record-1.xsd", "link-record-1-csv.json", "README.md"):
        path = schemas.root() / name
        if path.is_file():
            payload[f"schema/{name}"] = path.read_bytes()
    payload[FACTS] = facts_json(facts, words, paper)
    if words.catalogue is not None:
        payload[WORDS] = words.catalogue.read_bytes()
    made = pages(facts, words, paper, payload.get("record.xml"))
    payload |= {name: page() for name, page in made.items()}
    payload["READ-ME.txt"] = _HOW.replace("{windows}", WINDOWS).encode()
    return payload


def _form(batches: Sequence[Batch], name: str, form: str) -> bytes:
    """Records in an open form, as bytes."""
    with tempfile.TemporaryDirectory(prefix="muniment-") as folder:
        path = Path(folder) / name
        formats.write(batches, path, form)
        return path.read_bytes()
