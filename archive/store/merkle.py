"""The Merkle tree of RFC 9162 (Certificate Transparency 2.0), section 2.1: roots, and proofs that need no archive.

Leaves are hashed with a byte 0x00 before them, nodes with a byte 0x01, so that no leaf can pass for a node.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence


def leaf(data: bytes) -> bytes:
    """Hash of one leaf."""
    return hashlib.sha256(b"\x00" + data).digest()


def node(left: bytes, right: bytes) -> bytes:
    """Hash of the node over two others."""
    return hashlib.sha256(b"\x01" + left + right).digest()


class Tree:
    """A tree that grows by leaves and knows its root after each of them, in log n memory."""

    def __init__(self) -> None:
        self.size = 0
        self._peaks: list[bytes] = []  # roots of the complete subtrees, the largest first

    def add(self, hashed: bytes) -> None:
        """One more leaf, given by its hash."""
        rest = self.size
        while rest & 1:
            hashed = node(self._peaks.pop(), hashed)
            rest >>= 1
        self._peaks.append(hashed)
        self.size += 1

    def root(self) -> bytes:
        """Root over the leaves so far; of none, the hash of nothing."""
        if not self._peaks:
            return hashlib.sha256(b"").digest()
        total = self._peaks[-1]
        for peak in reversed(self._peaks[:-1]):
            total = node(peak, total)
        return total


def root(hashes: Iterable[bytes]) -> bytes:
    """Root over leaves given by their hashes."""
    tree = Tree()
    for hashed in hashes:
        tree.add(hashed)
    return tree.root()


def _split(size: int) -> int:
    """The largest power of two smaller than size."""
    return 1 << ((size - 1).bit_length() - 1)


def inclusion(hashes: Sequence[bytes], index: int) -> list[bytes]:
    """Path from leaf `index` to the root, RFC 9162 section 2.1.3.1. Errors: IndexError."""
    if not 0 <= index < len(hashes):
        raise IndexError(f"there is no leaf {index} among {len(hashes)}")
    path: list[bytes] = []
    low, high = 0, len(hashes)
    while high - low > 1:
        middle = low + _split(high - low)
        if index < middle:
            path.append(root(hashes[middle:high]))
            high = middle
        else:
            path.append(root(hashes[low:middle]))
            low = middle
    return path[::-1]


def root_from_inclusion(hashed: bytes, index: int, size: int, path: Sequence[bytes]) -> bytes | None:
    """Root that a leaf and its path lead to, RFC 9162 section 2.1.3.2; None where the path has another length."""
    if not 0 <= index < size:
        return None
    here, last, total = index, size - 1, hashed
    for step in path:
        if last == 0:
            return None
        if here & 1 or here == last:
            total = node(step, total)
            while here and not here & 1:
                here >>= 1
                last >>= 1
        else:
            total = node(total, step)
        here >>= 1
        last >>= 1
    return total if last == 0 else None


def consistency(hashes: Sequence[bytes], first: int) -> list[bytes]:
    """Proof that the tree over the first leaves is a prefix of the whole, RFC 9162 section 2.1.4.1.

    Errors: IndexError unless 0 < first <= number of leaves.
    """
    if not 0 < first <= len(hashes):
        raise IndexError(f"no tree of {first} leaves is a prefix of {len(hashes)}")
    path: list[bytes] = []
    low, high, wanted, whole = 0, len(hashes), first, True
    while wanted != high - low:
        middle = low + _split(high - low)
        if wanted <= middle - low:
            path.append(root(hashes[middle:high]))
            high = middle
        else:
            path.append(root(hashes[low:middle]))
            wanted -= middle - low
            low, whole = middle, False
    if not whole:
        path.append(root(hashes[low:high]))
    return path[::-1]


def consistent(first: int, first_root: bytes, second: int, second_root: bytes, path: Sequence[bytes]) -> bool:
    """True where the proof shows that the tree of `first` leaves is a prefix of that of `second`, section 2.1.4.2."""
    if not 0 < first <= second:
        return False
    if first == second:
        return not path and first_root == second_root
    steps = list(path)
    if first & (first - 1) == 0:
        steps.insert(0, first_root)
    if not steps:
        return False
    here, last = first - 1, second - 1
    while here & 1:
        here >>= 1
        last >>= 1
    old = new = steps[0]
    for step in steps[1:]:
        if last == 0:
            return False
        if here & 1 or here == last:
            old, new = node(step, old), node(step, new)
            while here and not here & 1:
                here >>= 1
                last >>= 1
        else:
            new = node(new, step)
        here >>= 1
        last >>= 1
    return last == 0 and old == first_root and new == second_root
