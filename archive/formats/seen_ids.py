"""A set of millions of texts in 32 bytes each, with a number for each."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from typing import Any

import numpy as np

_FRESH = 8192
NOT_THERE = -1


class SeenIds:
    """Texts by the 128 bits of their BLAKE2b digest, each with a number; a text that is put twice keeps its first.

    The newest stand in a dict, older ones in sorted arrays that are merged as they grow (a log-structured merge).
    """

    def __init__(self) -> None:
        self._fresh: dict[bytes, int] = {}
        self._levels: list[tuple[Any, Any, Any]] = []

    def get(self, text: str) -> int:
        """The number of one text, NOT_THERE where it did not come."""
        return int(self.numbers([text])[0])

    def put(self, text: str, number: int) -> None:
        """Remembers one text."""
        self._fresh.setdefault(_digest(text), number)
        if len(self._fresh) >= _FRESH:
            self._freeze()

    def numbers(self, texts: Sequence[str]) -> Any:
        """The numbers of texts (int64 ndarray), NOT_THERE for those that did not come."""
        digests = [_digest(t) for t in texts]
        out = np.fromiter((self._fresh.get(d, NOT_THERE) for d in digests), dtype=np.int64, count=len(digests))
        if self._levels and len(digests):
            first, second = _halves(digests)
            for keys, checks, values in self._levels:
                at = np.minimum(np.searchsorted(keys, first), len(keys) - 1)
                found = (keys[at] == first) & (checks[at] == second)
                out[found] = values[at[found]]
        return out

    def _freeze(self) -> None:
        first, second = _halves(list(self._fresh))
        values = np.fromiter(self._fresh.values(), dtype=np.int64, count=len(self._fresh))
        self._fresh = {}
        level = (first, second, values)
        while self._levels and len(self._levels[-1][0]) <= 2 * len(level[0]):
            older = self._levels.pop()
            level = tuple(np.concatenate([a, b]) for a, b in zip(older, level, strict=True))  # type: ignore[assignment]
        order = np.argsort(level[0], kind="stable")
        self._levels.append((level[0][order], level[1][order], level[2][order]))


def _digest(text: str) -> bytes:
    return hashlib.blake2b(text.encode(), digest_size=16).digest()


def _halves(digests: list[bytes]) -> tuple[Any, Any]:
    both = np.frombuffer(b"".join(digests), dtype=np.uint64).reshape(-1, 2)
    return both[:, 0].copy(), both[:, 1].copy()
