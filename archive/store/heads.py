"""Heads of a ledger outside the archive: in a file of heads that were seen.

A file of heads has one line per head, `TIME ARCHIVE SIZE ROOT`, in the order in which they were seen. It only grows.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.store import clock
from archive.store.fixity.chain import Chain, walk

_LINE = re.compile(r"(\S+) (\S+) ([1-9][0-9]{0,17}) ([0-9a-f]{64})")


@dataclass(frozen=True)
class SeenHead:
    """A head that was seen at a time (ISO 8601, UTC): the root (64 hexadecimal digits) over so many entries."""

    at: str
    archive: str
    size: int
    root: str

    def __str__(self) -> str:
        return f"{self.at} {self.archive} {self.size} {self.root}"


def sound_chain(root: Path, archive_id: str) -> Chain:
    """The whole ledger of an archive, read again. Errors: Trouble where it is damaged, so that it has no head."""
    chain = walk(root, archive_id)
    if chain.damage or not chain.roots:
        raise Trouble(
            "the ledger is damaged, so that its head says nothing",
            code="head.ledger-damaged",
            where=str(root),
            found=chain.state,
            remedy=f"run `muniment fixity {root}`, then `muniment repair {root} --from COPY`",
        )
    return chain


def read_heads(path: Path, archive_id: str) -> list[SeenHead]:
    """The heads of one archive in a file; none where there is no file. Errors: Trouble for a line that is none."""
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except FileNotFoundError:
        return []
    found = []
    for number, line in enumerate(text.splitlines(keepends=True), 1):
        read = _LINE.fullmatch(line.removesuffix("\n"))
        if read is None or not line.endswith("\n"):
            raise Trouble(
                "this is not a line of a file of heads",
                code="head.not-a-line",
                where=f"{path}, line {number}",
                found=repr(line[:80]),
                expected="TIME ARCHIVE SIZE ROOT",
                remedy="name another file; this one is left as it is",
            )
        found.append(SeenHead(read[1], read[2], int(read[3]), read[4]))
    return [head for head in found if head.archive == archive_id]


def not_continued(chain: Chain, seen: Sequence[SeenHead]) -> list[SeenHead]:
    """Heads that were seen and that the ledger does not continue: it was cut, rolled back or rewritten."""
    return [head for head in seen if not chain.holds(head.size, head.root)]


def keep_head(path: Path, archive_id: str, chain: Chain, seen: Sequence[SeenHead]) -> bool:
    """Appends today's head to a file of heads, unless it is there; gives whether it was appended. The file takes its
    new bytes in one step, so that a stop leaves no half line, which nobody would read again."""
    size, root = len(chain.roots), chain.roots[-1]
    if any((head.size, head.root) == (size, root) for head in seen):
        return False
    line = f"{SeenHead(clock.text(clock.now()), archive_id, size, root)}\n"
    write_bytes(path, (path.read_bytes() if path.is_file() else b"") + line.encode())
    return True
