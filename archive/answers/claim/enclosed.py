"""What a claim file encloses of the archive besides records: files as received, and filed documents."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection, Iterator
from dataclasses import replace
from typing import Literal

from archive.answers.claim.claim_facts import ClaimFacts, Original, Row, TestedRecord
from archive.answers.claim.original_parts import spans
from archive.answers.claim.saved_claim import DOCUMENTS
from archive.answers.filed import EnclosedFiles, enclose_document, json_bytes
from archive.answers.originals import beside, members, of_record, of_source
from archive.answers.photographs import photograph
from archive.errors import Trouble
from archive.store import Archive
from archive.store.received import Received

Mode = Literal["auto", "whole", "none"]
RANGES, NAMES = "originals/ranges.json", "originals/names.json"
_RECORD = re.compile(rb"re-[0-9a-f]{32}")


def enclosed(archive: Archive, facts: ClaimFacts, mode: Mode = "auto") -> tuple[ClaimFacts, dict[str, bytes]]:
    """The facts with what is enclosed of each test's original and of each document, and the files by their path.

    mode: auto (the whole original where it holds this link alone, else the ranges of bytes that do), whole, none.
    An original that is damaged, or that may hold a name that was redacted, stays where it is, and the facts say why.
    """
    into = EnclosedFiles()
    mine = {t.address for t in facts.tests}
    tests = [replace(t, original=_original(archive, t, mine, mode, into)) for t in facts.tests]
    documents = [enclose_document(archive, d, DOCUMENTS, into) for d in facts.documents]
    files = dict(into.files)
    ranges = [r for t in tests for r in t.original.ranges]
    if ranges:
        files[RANGES] = json_bytes(ranges)
    if into.true:
        files[NAMES] = json_bytes(into.true)
    standing = next((t for t in tests if t.standing), None)
    shown = [photograph(d, files[d["inside"]]) for d in documents if d["inside"]]
    photographs = [p for p in shown if p is not None]
    return replace(facts, tests=tests, standing=standing, documents=documents, photographs=photographs), files


def _original(archive: Archive, t: TestedRecord, mine: Collection[str], mode: Mode, into: EnclosedFiles) -> Original:
    try:
        found = _found(archive, t)
    except Trouble as trouble:
        return Original(why="damaged", said=f"{trouble.where}: {trouble.message}; {trouble.remedy}")
    if found is None:
        return Original(why="gone")
    files, name, data = found
    told = Original(name, "", len(data), hashlib.sha256(data).hexdigest())
    if mode == "none":
        return replace(told, why="left out")
    if _name_gone(archive, t.deposit):
        return replace(told, why="redacted")
    folder = f"originals/{t.deposit}"
    others = _others(archive, t, data, mine)
    if mode == "whole" or not others:
        more = [into.add(folder, other, content) for other, content in beside(files, name).items()]
        return replace(told, path=into.add(folder, name, data), beside=sorted(p.rpartition("/")[2] for p in more))
    ranges = list(_ranges(t, name, data, others, into))
    return replace(told, ranges=ranges, why="ranges" if ranges else "others")


def _found(archive: Archive, t: TestedRecord) -> tuple[Received, str, bytes] | None:
    """The originals that it is among, name and bytes of the file as received. Errors: Trouble where it is damaged."""
    source = next(iter(t.rows("sources")), None)
    for files in archive.originals_of(t.deposit):
        found = of_source(files, source["source_id"], source["path"]) if source else None
        found = found or of_record(files, t.record["record_id"])
        if found is not None:
            return files, *found
    return None


def _name_gone(archive: Archive, deposit: str) -> bool:
    """Whether a name was taken out of a deposit: its originals may still hold it."""
    path = f"{archive.bag(deposit).relative_to(archive.root).as_posix()}/data/tables/people.parquet"
    return archive.db.execute("SELECT 1 FROM gone WHERE path = ?", (path,)).fetchone() is not None


def _others(archive: Archive, t: TestedRecord, data: bytes, mine: Collection[str]) -> set[str]:
    """Labels of other links that a file as received speaks of; "" for records without one."""
    inside = [part for _, part in members(data)]
    digests = {hashlib.sha256(part).hexdigest() for part in inside}
    ids = {i.decode() for part in inside for i in _RECORD.findall(part)}
    rows = archive.db.execute(
        "SELECT deposit || '/' || position AS address, link_label, source_id, record_id FROM records WHERE deposit = ?",
        (t.deposit,),
    )
    tables = archive.tables(t.deposit)
    aside = {str(x["link_label"] or "") for x in tables.table("set_aside").to_pylist()}
    named = {
        str(r["link_label"] or "")
        for r in rows
        if r["address"] not in mine and (r["source_id"] in digests or r["record_id"] in ids)
    }
    return (named | aside) - {str(t.record["link_label"] or "")}


def _ranges(t: TestedRecord, name: str, data: bytes, others: Collection[str], into: EnclosedFiles) -> Iterator[Row]:
    """The ranges of a file that hold the link, added to the bag; each says of what it is a part."""
    label = t.record["link_label"]
    source = next(iter(t.rows("sources")), {}).get("source_id")
    listed = list(members(data))
    chosen = next(((m, p) for m, p in listed if hashlib.sha256(p).hexdigest() == source), listed[0])
    member, part = chosen
    if not label:
        return
    for span in spans(part, label, [o for o in others if o]):
        cut = part[span.start : span.end]
        path = into.add(f"originals/{t.deposit}", f"{member or name}.bytes-{span.start}-{span.end}", cut)
        yield {
            "file": path,
            "offset": span.start,
            "bytes": len(cut),
            "sha256": hashlib.sha256(cut).hexdigest(),
            "of": name,
            "of_sha256": hashlib.sha256(data).hexdigest(),
            "of_bytes": len(data),
            "member": member or None,
            "source_sha256": hashlib.sha256(part).hexdigest(),
        }
