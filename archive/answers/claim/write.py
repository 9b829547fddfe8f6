"""The claim file on disk: a BagIt bag with the documents, the record in the open forms, the originals, the proof."""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from archive import formats, limits
from archive.answers.claim.compose import compose
from archive.answers.claim.curves import Line
from archive.answers.claim.facts import ClaimFacts
from archive.answers.documents import Attachment, html, pdf
from archive.answers.wording import ENGLISH, Wording
from archive.errors import Trouble

_HOW = """How to check this claim file without any special program

1. Every file is as it was written:        sha256sum -c manifest-sha256.txt
   (run it in this folder; it is a BagIt bag, RFC 8493)
2. claim.html opens in any browser and asks nothing of the network; claim.pdf says the same.
3. data/record.xml is the record that stands, in the open link record form; its namespace and fields are described in
   data/schema/. data/record-csv.zip holds the same as CSV.
4. data/proof.json holds the record's canonical text, its path in the tree of its deposit, the ledger entry of that
   deposit, and that entry's path in the tree of the ledger (RFC 9162, section 2.1.3). The last root must be the head
   that somebody else holds: on a receipt, on another claim file, in a letter.
5. data/originals/ holds the exports as received, byte for byte.
6. Other tests of the link, as far as there are any, are in data/other-tests.xml.
"""


def line_of(limit_id: str | None) -> Line:
    """The limit line to draw for a limit id; none where the limit is not known or has no such line."""
    known = limits.get(limit_id) if limit_id and limit_id in limits.ids() else None

    def line(parameter: str, frequencies: NDArray[np.float64]) -> NDArray[np.float64] | None:
        if known is None or parameter not in known.lines:
            return None
        return np.asarray(known.lines[parameter].at(frequencies), dtype=float)

    return line


def write(
    facts: ClaimFacts,
    originals: Mapping[str, bytes],
    out: Path,
    words: Wording = ENGLISH,
    *,
    paper: str = "a4",
) -> list[str]:
    """Writes the claim file into the folder `out`, which must not be there or be empty; gives its files.

    Everything is written aside and renamed. The same facts give the same bytes. Errors: Trouble where `out` is taken.
    """
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise Trouble("the folder is not empty", where=str(out), remedy="name a folder that is not there yet")
    out.parent.mkdir(parents=True, exist_ok=True)
    aside = Path(tempfile.mkdtemp(prefix=f".{out.name}.", dir=out.parent))
    try:
        payload = _payload(facts, originals, words, paper, aside)
        for path, data in payload.items():
            target = aside / "data" / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(data)
        _manifests(facts, aside, payload)
        aside.chmod(0o755)
        if out.exists():
            out.rmdir()
        aside.rename(out)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    return sorted(payload)


def _payload(
    facts: ClaimFacts, originals: Mapping[str, bytes], words: Wording, paper: str, scratch: Path
) -> dict[str, bytes]:
    payload: dict[str, bytes] = dict(originals)
    attachments = []
    s = facts.standing
    limit_id = None
    if s is not None:
        formats.write([s.batch], scratch / "record.xml", "xml")
        formats.write([s.batch], scratch / "record-csv.zip", "csv")
        for name in ("record.xml", "record-csv.zip"):
            payload[name] = (scratch / name).read_bytes()
            (scratch / name).unlink()
        attachments.append(
            Attachment("record.xml", payload["record.xml"], "application/xml", words("the record in the open form"))
        )
        verdict = s.verdict()
        limit_id = verdict["limit_id"] if verdict else None
    others = [t.batch for t in facts.tests if not t.standing]
    if others:
        formats.write(others, scratch / "others.xml", "xml")
        payload["other-tests.xml"] = (scratch / "others.xml").read_bytes()
        (scratch / "others.xml").unlink()
    if facts.retest is not None:
        formats.write([facts.retest.batch], scratch / "fresh.xml", "xml")
        payload["fresh-test.xml"] = (scratch / "fresh.xml").read_bytes()
        (scratch / "fresh.xml").unlink()
    if facts.proof:
        payload["proof.json"] = (json.dumps(facts.proof, ensure_ascii=False, indent=1) + "\n").encode()
    for name, data in _schemas().items():
        payload[f"schema/{name}"] = data
    document = compose(facts, line_of(limit_id), words, paper=paper, attachments=attachments)
    payload["claim.pdf"] = pdf(document)
    payload["claim.html"] = html(document).encode()
    payload["READ-ME.txt"] = _HOW.encode()
    return payload


def _schemas() -> dict[str, bytes]:
    from archive import schemas

    names = ("link-record-1.xsd", "link-record-1-csv.json", "README.md")
    return {n: (schemas.root() / n).read_bytes() for n in names if (schemas.root() / n).is_file()}


def _manifests(facts: ClaimFacts, folder: Path, payload: Mapping[str, bytes]) -> None:
    octets = sum(len(d) for d in payload.values())
    info = (
        f"Bag-Software-Agent: muniment\nBagging-Date: {facts.state[:10]}\n"
        f"External-Description: claim file\nInternal-Sender-Identifier: {_one_line(facts.link)}\n"
        f"Payload-Oxum: {octets}.{len(payload)}\n"
    )
    manifest = "".join(
        f"{hashlib.sha256(data).hexdigest()}  data/{_encoded(path)}\n" for path, data in sorted(payload.items())
    )
    tags = {
        "bagit.txt": b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "bag-info.txt": info.encode(),
        "manifest-sha256.txt": manifest.encode(),
    }
    for name, data in tags.items():
        (folder / name).write_bytes(data)
    listed = "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in sorted(tags.items()))
    (folder / "tagmanifest-sha256.txt").write_bytes(listed.encode())


def _encoded(path: str) -> str:
    """A path as a manifest holds it: RFC 8493, section 2.1.3."""
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")


def _one_line(text: str) -> str:
    return " ".join(text.split())
