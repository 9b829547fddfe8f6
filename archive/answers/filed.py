"""Files that leave the archive with a claim file or a book, under names that every system takes; filed documents."""

from __future__ import annotations

import hashlib
import json
import re
import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.answers.photographs import Photograph, photograph
from archive.answers.wording import Wording, plain
from archive.errors import Caveat, Trouble
from archive.store import Archive


@dataclass
class EnclosedFiles:
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


def documents_of(
    archive: Archive, rows: Iterable[Mapping[str, Any]], folder: str
) -> tuple[list[dict[str, Any]], list[Photograph], dict[str, bytes]]:
    """Rows of filed documents with their path in a folder that is issued, the photographs among them, and the files."""
    into = EnclosedFiles()
    filed = [enclose_document(archive, d, folder, into) for d in rows]
    shown = [photograph(d, into.files[d["inside"]]) for d in filed if d["inside"]]
    files = dict(into.files)
    if into.true:
        files[f"{folder}/names.json"] = json_bytes(into.true)
    return filed, [p for p in shown if p is not None], files


def enclose_document(archive: Archive, row: Mapping[str, Any], folder: str, into: EnclosedFiles) -> dict[str, Any]:
    """The row with the path that the document has in the bag, and why it has none."""
    if not row.get("path"):
        return {**row, "inside": "", "why_not": "not kept by the archive"}
    try:
        there = archive.checked.current(str(row["path"]), str(row["document_id"]))
        if there is None or there[0] != row["path"]:
            return {**row, "inside": "", "why_not": "redacted"}
        data = archive.checked.read(*there)
    except (Trouble, OSError) as trouble:
        warnings.warn(f"the document {row['file_name']} is damaged, and not enclosed", Caveat, stacklevel=2)
        return {**row, "inside": "", "why_not": f"damaged: {trouble}"}
    return {**row, "inside": into.add(folder, str(row["file_name"]), data), "why_not": ""}


def document_name(d: Mapping[str, Any], words: Wording, before: str = "") -> str:
    """The title of a document, and where it lies in this file or why it does not. before: the path of its folder."""
    name = plain(d.get("title") or d.get("file_name"))
    if d.get("inside"):
        return words("{name}, as {path}", name=name, path=f"{before}{d['inside']}")
    return words("{name}, not enclosed: {why}", name=name, why=d["why_not"]) if d.get("why_not") else name


def json_bytes(value: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> bytes:
    """JSON as a list in such a folder."""
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode()
