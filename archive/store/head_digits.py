"""A head of a ledger as people type it."""

from __future__ import annotations


def grouped(root: str) -> str:
    """A head as a person types it: eight groups of eight hexadecimal digits."""
    return " ".join(root[i : i + 8] for i in range(0, len(root), 8))


def typed(head: str) -> tuple[int | None, str]:
    """Size (None where it is not given) and root of a head that a person typed as HEX or SIZE:HEX, grouped or not."""
    size, _, root = "".join(head.split()).lower().rpartition(":")
    return (int(size) if size.isdecimal() else None), root
