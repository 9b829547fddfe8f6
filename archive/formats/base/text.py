"""Text as the world has it: which encoding a file is in, and its bytes as UTF-8 with plain line ends.

The rule (measured in the design notes; statistical guessing is wrong without a word): byte order mark, then the
pattern of NUL bytes, then strict UTF-8, then what the mapping declares, then a code page of the lines of boxes that
stand in it, and CP1252 where nothing says anything.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from archive.errors import Trouble

BLOCK = 1 << 22
"""Bytes read at once."""

_LONGEST = 1 << 20
"""At most this many bytes are added to a block so that it ends with a line."""

_MARKS: tuple[tuple[bytes, str], ...] = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


@dataclass(frozen=True)
class Encoding:
    """Name of a Python codec, why it was chosen, and how many bytes of a byte order mark stand before the text."""

    name: str
    basis: str
    mark: int = 0

    @property
    def assumed(self) -> bool:
        """True where nothing in the file and nobody said so."""
        return self.basis == "assumed"


def detect(head: bytes, declared: str = "", *, whole: bool = False) -> Encoding:
    """The encoding of a text from its first bytes.

    head: first bytes; declared: a codec that the mapping names, or "" ; whole: head is the whole file, so that a
    character cut in two at its end counts as damage. Errors: Trouble where the declared codec does not exist.
    """
    if declared:
        try:
            declared = codecs.lookup(declared).name.replace("ascii", "")  # says nothing of the next umlaut
        except LookupError:
            raise Trouble(
                "no such character encoding",
                code="text.unknown-encoding",
                found=declared,
                remedy="name one such as utf-8, cp1252 or shift_jis",
            ) from None
    for mark, name in _MARKS:
        if head.startswith(mark):
            return Encoding(name, "byte order mark", len(mark))
    wide = _nul_pattern(head)
    if wide:
        return Encoding(wide, "NUL pattern")
    if declared and not declared.startswith(("utf-16", "utf-32")):
        return Encoding(declared, "declared")
    if is_utf8(head, whole=whole):
        return Encoding("utf-8", "every byte fits")
    if _BOXES.search(head) or len(_BARS.findall(head)) >= _ENOUGH_BARS:
        return _of_boxes(head)
    return Encoding("cp1252" if _decodes(head, "cp1252") else "latin-1", "assumed")


_BOXES = re.compile(rb"[\xc4\xcd]{4}")
"""Horizontal lines of boxes in the code pages 437 and 850; in CP1252 four letters that no word has side by side."""
_BARS = re.compile(rb"(?m)^(?=[^\n]*[ \t][\xb3\xba][ \t\r\n])")
"""Lines of a text in which a vertical line of a box stands between blanks."""
_ENOUGH_BARS = 3


def _of_boxes(head: bytes) -> Encoding:
    """Of the two code pages with boxes the one whose letters stand among letters; assumed where they differ at all."""
    letters = re.compile(rb"(?<=[A-Za-z])([" + re.escape(_DIFFER) + rb"])|([" + re.escape(_DIFFER) + rb"])(?=[A-Za-z])")
    found = b"".join(a or b for a, b in letters.findall(head))
    own = sum(found.decode("cp850")[i].isalpha() and not found.decode("cp437")[i].isalpha() for i in range(len(found)))
    differ = any(b in head for b in (bytes([d]) for d in _DIFFER))
    return Encoding("cp850" if own else "cp437", "assumed" if differ else "lines of boxes")


_DIFFER = bytes(b for b in range(128, 256) if bytes([b]).decode("cp437") != bytes([b]).decode("cp850"))


def is_utf8(data: bytes, *, whole: bool = True) -> bool:
    """True where the bytes are UTF-8 throughout; whole=False forgives a character cut in two at the end."""
    if data.isascii():
        return True
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        decoder.decode(data, final=whole)
    except UnicodeDecodeError:
        return False
    return True


def utf8_blocks(file: BinaryIO, encoding: Encoding, where: str, size: int = BLOCK) -> Iterator[bytes]:
    """The text as blocks of UTF-8 bytes: mark and NUL padding taken away, line ends made \\n.

    Errors: Trouble where a byte does not fit the encoding (its place is a byte offset).
    """
    plain = encoding.name in ("utf-8", "ascii")
    decoder = codecs.getincrementaldecoder(encoding.name)()
    file.read(encoding.mark)
    held, offset, checked = b"", encoding.mark, codecs.getincrementaldecoder("utf-8")()
    while True:
        block = _to_line_end(file, size) if plain else file.read(size)
        last = not block
        if plain:
            if not (block.isascii() and not checked.getstate()[0]):
                _decode(checked, block, last, where, offset, encoding)
        else:
            block = _decode(decoder, block, last, where, offset, encoding).encode("utf-8", "surrogatepass")
        offset += len(block)
        if b"\0" in block:
            block = block.replace(b"\0", b"")
        block = held + block
        held = b""
        if b"\r" in block:
            if block.endswith(b"\r") and not last:
                block, held = block[:-1], b"\r"
            block = block.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        if block:
            yield block
        if last:
            return


def _to_line_end(file: BinaryIO, size: int) -> bytes:
    """The next bytes, up to the end of a line where one is near: a block that ends so need not be copied to be cut."""
    at = file.tell()
    file.seek(at + size)
    more = len(file.readline(_LONGEST))
    file.seek(at)
    return file.read(size + more)


def line_blocks(blocks: Iterator[bytes], quote: bytes = b'"') -> Iterator[bytes]:
    """The same blocks cut at ends of lines; a line end inside quotes does not count. The last may lack its end.

    quote: the quoting byte, or b"" where lines are never quoted. A quote that is never closed is given up after
    eight blocks, so that a stray inch mark cannot gather a whole file in memory.
    """
    held: list[bytes] = []
    inside = False
    for block in blocks:
        lost = len(held) >= 8
        if quote and not lost and (inside or quote in block):
            cut = _cut_outside_quotes(block, inside, quote)
        else:
            cut = block.rfind(b"\n") + 1
        if not cut:
            held.append(block)
            inside ^= bool(quote) and count(block, quote) % 2 == 1
            continue
        yield b"".join([*held, block[:cut]]) if held else block[:cut]
        rest = block[cut:]
        held = [rest] if rest else []
        inside = bool(quote) and rest.count(quote) % 2 == 1
    if held:
        yield b"".join(held)


def count(text: bytes, mark: bytes) -> int:
    """How often a mark stands in a text. Of one byte this is several times as fast as bytes.count, and releases
    the GIL."""
    if len(mark) != 1:
        return text.count(mark)
    return int(np.count_nonzero(np.frombuffer(text, dtype=np.uint8) == mark[0]))


def lines(blocks: Iterator[bytes]) -> Iterator[str]:
    """The lines of the text without their ends."""
    held = ""
    decoder = codecs.getincrementaldecoder("utf-8")("surrogatepass")
    for block in blocks:
        parts = (held + decoder.decode(block)).split("\n")
        held = parts.pop()
        yield from parts
    if held:
        yield held


def _cut_outside_quotes(block: bytes, inside: bool, quote: bytes) -> int:
    """Where to cut a block: after its last line end that is outside quotes, or 0."""
    end = len(block)
    before = count(block, quote) + inside
    while (at := block.rfind(b"\n", 0, end)) >= 0:
        before -= block.count(quote, at + 1, end)
        if before % 2 == 0:
            return at + 1
        end = at
    return 0


def _decode(decoder: codecs.IncrementalDecoder, block: bytes, last: bool, where: str, offset: int, e: Encoding) -> str:
    try:
        return decoder.decode(block, final=last)
    except UnicodeDecodeError as error:
        at = offset + error.start
        bad = error.object[error.start : error.end]
        raise Trouble(
            "text does not fit its encoding",
            code="text.not-in-encoding",
            where=f"{where}, byte {at}",
            found=f"bytes {bad.hex(' ')}",
            expected=f"{e.name} ({e.basis})",
            remedy="name the encoding in the mapping",
        ) from None


def _nul_pattern(head: bytes) -> str:
    """utf-16-le or utf-16-be where NULs stand at every second byte of mostly Latin text, else ""."""
    sample = head[:4096]
    if len(sample) < 4 or b"\0" not in sample:
        return ""
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    half = len(sample) // 2
    if odd > 0.4 * half and even < 0.1 * half and not re.search(rb"\0\0\0\0", sample):
        return "utf-16-le"
    if even > 0.4 * half and odd < 0.1 * half and not re.search(rb"\0\0\0\0", sample):
        return "utf-16-be"
    return ""


def _decodes(data: bytes, codec: str) -> bool:
    try:
        data.decode(codec)
    except UnicodeDecodeError:
        return False
    return True
