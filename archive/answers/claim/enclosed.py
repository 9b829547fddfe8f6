"""What a claim file encloses of the archive besides records: files as received, and filed documents."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from archive.answers.claim.claim_facts import ClaimFacts, Original, Row, TestedRecord
from archive.answers.claim.original_parts import spans
from archive.answers.claim.saved_claim import DOCUMENTS
from archive.answers.originals import beside, members, of_record, of_source
from archive.answers.photographs import photograph
from archive.errors import Trouble
from archive.store import Archive

Mode = Literal["auto", "whole", "none"]
RANGES, NAMES = "originals/ranges.json", "originals/names.json"
_RECORD = re.compile(rb"re-[0-9a-f]{32}")


@dataclass
class _Enclosed:
    """Files by their path in the bag. true: the name of a file where its path has another one."""

    files: dict[str, bytes] = field(default_factory=dict)
    true: dict[str, str] = field(default_factory=dict)

    def add(self, folder: str, name: str, data: bytes) -> str:
        """Adds a file under a name that every system takes; gives its path. The same file is added once."""
        pieces = [p for p in name.replace("\\", "/").split("/") if p not in ("", ".")] or ["file"]
        path = "/".join([folder, *(safe_name(p) for p in pieces)])
        taken = {p.casefold(): p for p in self.files}
        base, number = path, 2
        while (there := taken.get(path.casefold())) is not None and self.files[there] != data:
            path, number = f"{base}-{number}", number + 1
        path = taken.get(path.casefold(), path)
        self.files[path] = data
        if path != f"{folder}/{name}":
            self.true[path] = name
        return path


def safe_name(name: str) -> str:
    """A single name as every system takes it, Windows too; most names stay as they are."""
    kept = re.sub(r'[\x00-\x1f<>:"/\\|?*]', "_", name).rstrip(". ")
    device = re.fullmatch(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?", kept)
    kept = f"_{kept}" if device or not kept else kept
    return kept if len(kept.encode()) <= 200 else kept[:40] + "_" + hashlib.sha256(name.encode()).hexdigest()[:16]


def enclosed(archive: Archive, facts: ClaimFacts, mode: Mode = "auto") -> tuple[ClaimFacts, dict[str, bytes]]:
    """The facts with what is enclosed of each test's original and of each document, and the files by their path.

    mode: auto (the whole original where it holds this link alone, else the ranges of bytes that do), whole, none.
    An original that is damaged, or that may hold a name that was redacted, stays where it is, and the facts say why.
    """
    into = _Enclosed()
    mine = {t.address for t in facts.tests}
    tests = [replace(t, original=_original(archive, t, mine, mode, into)) for t in facts.tests]
    documents = [_document(archive, d, into) for d in facts.documents]
    files = dict(into.files)
    ranges = [r for t in tests for r in t.original.ranges]
    if ranges:
        files[RANGES] = _json(ranges)
    if into.true:
        files[NAMES] = _json(into.true)
    standing = next((t for t in tests if t.standing), None)
    shown = [photograph(d, files[f"{d['inside']}"]) for d in documents if d["inside"]]
    photographs = [p for p in shown if p is not None]
    return replace(facts, tests=tests, standing=standing, documents=documents, photographs=photographs), files


def _original(archive: Archive, t: TestedRecord, mine: Collection[str], mode: Mode, into: _Enclosed) -> Original:
    try:
        found = _found(archive, t)
    except Trouble as trouble:
        return Original(why="damaged", said=f"{trouble.where}: {trouble.message}; {trouble.remedy}")
    if found is None:
        return Original(why="gone")
    bag, name, data = found
    told = Original(name, "", len(data), hashlib.sha256(data).hexdigest())
    if mode == "none":
        return replace(told, why="left out")
    if _name_gone(archive, t.deposit):
        return replace(told, why="redacted")
    folder = f"originals/{t.deposit}"
    others = _others(archive, t, data, mine)
    if mode == "whole" or not others:
        more = [into.add(folder, other, content) for other, content in beside(bag, name).items()]
        return replace(told, path=into.add(folder, name, data), beside=sorted(p.rpartition("/")[2] for p in more))
    ranges = list(_ranges(t, name, data, others, into))
    return replace(told, ranges=ranges, why="ranges" if ranges else "others")


def _found(archive: Archive, t: TestedRecord) -> tuple[Path, str, bytes] | None:
    """Bag, name and bytes of the file as received. Errors: Trouble where it is damaged."""
    source = next(iter(t.rows("sources")), None)
    for bag in archive.bags_of_originals(t.deposit):
        found = of_source(bag, source["source_id"], source["path"]) if source else None
        found = found or of_record(bag, t.record["record_id"])
        if found is not None:
            return bag, *found
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


def _ranges(t: TestedRecord, name: str, data: bytes, others: Collection[str], into: _Enclosed) -> Iterator[Row]:
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


def _document(archive: Archive, row: Row, into: _Enclosed) -> dict[str, Any]:
    """The row with the path that the document has in the bag, and why it has none."""
    if not row.get("path"):
        return {**row, "inside": "", "why_not": "not kept by the archive"}
    try:
        there = archive.checked.current(str(row["path"]), str(row["document_id"]))
        if there is None or there[0] != row["path"]:
            return {**row, "inside": "", "why_not": "redacted"}
        data = archive.checked.read(*there)
    except (Trouble, OSError) as trouble:
        return {**row, "inside": "", "why_not": f"damaged: {trouble}"}
    return {**row, "inside": into.add(DOCUMENTS, str(row["file_name"]), data), "why_not": ""}


def _json(value: Mapping[str, Any] | list[Row]) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode()
