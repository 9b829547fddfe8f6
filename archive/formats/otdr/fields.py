"""Little-endian fields of one block of a trace file, read one after another within the block's own bytes."""

from __future__ import annotations

import struct


class BlockDamaged(Exception):
    """A block that cannot be what it claims; the block alone is lost.

    place: block and byte within it; found, expected: as text.
    """

    def __init__(self, message: str, *, place: str, found: str = "", expected: str = "") -> None:
        super().__init__(message)
        self.message, self.place, self.found, self.expected = message, place, found, expected


class Fields:
    """Reads the fields of a block in their order. Errors: BlockDamaged where the block ends before a field does."""

    def __init__(self, data: bytes, block: str, start: int = 0) -> None:
        self._data, self._block, self._at = data, block, start

    def left(self) -> int:
        """Bytes that were not read yet."""
        return len(self._data) - self._at

    def u16(self) -> int:
        """Unsigned, 2 bytes."""
        return int(self._number("<H", 2))

    def i16(self) -> int:
        """Signed, 2 bytes."""
        return int(self._number("<h", 2))

    def u32(self) -> int:
        """Unsigned, 4 bytes."""
        return int(self._number("<I", 4))

    def i32(self) -> int:
        """Signed, 4 bytes."""
        return int(self._number("<i", 4))

    def chars(self, count: int) -> str:
        """A text of fixed length."""
        return _text(self.raw(count))

    def text(self) -> str:
        """A text that ends in NUL."""
        end = self._data.find(b"\0", self._at)
        if end < 0:
            raise self.damage("a text does not end within its block", found=_text(self._data[self._at :][:40]))
        found = _text(self._data[self._at : end])
        self._at = end + 1
        return found

    def raw(self, count: int) -> bytes:
        """The next bytes as they are."""
        if self.left() < count:
            raise self.damage("the block ends too early", found=f"{self.left()} bytes", expected=f"{count} bytes")
        found = self._data[self._at : self._at + count]
        self._at += count
        return found

    def damage(self, message: str, *, found: str = "", expected: str = "") -> BlockDamaged:
        """What to raise for a field at this place."""
        return BlockDamaged(message, place=f"block {self._block}, byte {self._at}", found=found, expected=expected)

    def _number(self, form: str, size: int) -> int:
        value: int = struct.unpack(form, self.raw(size))[0]
        return value


def _text(data: bytes) -> str:
    """Text as makers write it: UTF-8 where the bytes are, else Latin-1, which loses no byte."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")
