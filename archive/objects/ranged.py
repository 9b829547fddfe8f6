"""A large object as a file to read: each read asks for its range of bytes, and for no more than a little beside it."""

from __future__ import annotations

import io

from archive.objects.bucket import PIECE, Bucket

_LEAST = 16 << 10
"""Bytes of the shortest range: a few short reads beside each other, as of a zip's directory, are one request."""


class RangedFile(io.RawIOBase):
    """An object, open for reading; what it was when it was opened, or an error."""

    def __init__(self, bucket: Bucket, key: str) -> None:
        super().__init__()
        self._bucket, self._key, self._at = bucket, key, 0
        self._seen = bucket.stat(key)
        self._size = self._seen.size
        self._from, self._piece = 0, b""

    def readable(self) -> bool:
        """Always."""
        return True

    def seekable(self) -> bool:
        """Always."""
        return True

    def tell(self) -> int:
        """Where the next read begins."""
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        """Moves there."""
        self._at = max(0, offset + {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._size}[whence])
        return self._at

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        """Reads what fits."""
        view = memoryview(buffer).cast("B")
        data = self._bytes(self._at, min(self._at + len(view), self._size))
        view[: len(data)] = data
        self._at += len(data)
        return len(data)

    def _bytes(self, start: int, end: int) -> bytes:
        if start >= end:
            return b""
        if not self._from <= start < end <= self._from + len(self._piece):
            wide = min(max(end, start + _LEAST), self._size)
            begin = max(0, min(start, self._size - _LEAST)) if wide == self._size else start
            data = self._bucket.range(self._key, begin, wide, self._seen)
            if wide - begin > PIECE:
                return data[start - begin : end - begin]
            self._from, self._piece = begin, data
        return self._piece[start - self._from : end - self._from]
