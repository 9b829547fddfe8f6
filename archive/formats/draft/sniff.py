"""How a text is cut into cells."""

from __future__ import annotations

import re
from dataclasses import dataclass

from archive.formats.base import text as texts
from archive.formats.base import words
from archive.formats.mapping.chunks import text_encoding
from archive.formats.recognition import Entry

HEAD = 3 << 20
MOST_LINES = 40_000
"""Lines of the beginning that are looked at; a file of millions of short lines says no more in all of them."""
TAIL = 1 << 18
SPREAD = 1 << 17


@dataclass
class Text:
    """A sample of a text: its encoding, the head as lines, lines of windows spread over the rest and of the tail."""

    encoding: texts.Encoding
    head: list[str]
    rest: list[str]
    whole: bool


def sample(entry: Entry) -> Text:
    """A sample of a text file: its beginning, windows over the rest, its end."""
    encoding = text_encoding(entry, "")
    if encoding.assumed:
        encoding = page(entry, encoding)
    with entry.path.open("rb") as opened:
        head = opened.read(HEAD)
        whole = entry.size <= HEAD
        parts: list[bytes] = []
        if not whole:
            for k in range(1, 5):
                opened.seek(min(entry.size - 2, HEAD + k * (entry.size - HEAD) // 6) // 4 * 4)
                parts.append(opened.read(SPREAD))
            opened.seek(max(HEAD, (entry.size - TAIL) // 4 * 4))
            parts.append(opened.read(TAIL))
    lines = _lines(head[encoding.mark :], encoding)
    if len(lines) > MOST_LINES:
        lines, whole = lines[:MOST_LINES], False
    rest = [line for p in parts for line in _lines(p, encoding)[1:]]
    return Text(encoding, lines if whole else lines[:-1], rest, whole)


def _lines(data: bytes, encoding: texts.Encoding) -> list[str]:
    text = data.decode(encoding.name, "replace")
    return text.replace("\0", "").replace("\r\n", "\n").replace("\r", "\n").split("\n")


def page(entry: Entry, fallback: texts.Encoding) -> texts.Encoding:
    """A code page that the words of the text prove: Shift-JIS, CP437, CP1252 ... ; the fallback where none does."""
    with entry.path.open("rb") as opened:
        data = opened.read(1 << 20)
    best, most = fallback, _hits(data, fallback.name)
    for name in ("cp932", "cp437", "cp850", "cp1250", "latin-1"):
        found = _hits(data, name)
        if found > most:
            best, most = texts.Encoding(name, "words of the text"), found
    if best is fallback and _CONTROLS.search(data.decode(fallback.name, "ignore")):
        return texts.Encoding("cp850", "bytes that are control characters in other pages")
    if best is fallback and most:
        return texts.Encoding(fallback.name, "words of the text")
    return best


_CONTROLS = re.compile(r"[\x80-\x84\x86-\x9f]")
"""Control characters of ISO/IEC 6429 but for the next line, which no text holds."""

_BEYOND_ASCII = re.compile(r"(?:(?<![^\W\d_])[^\W\d_]+)?[^\x00-\x7f][^\W\d_]*")
"""A word with a letter or mark beyond ASCII. It begins where letters begin, lest a run of them be tried from each."""


def _hits(data: bytes, codec: str) -> int:
    """Words of the word list that hold letters beyond ASCII, as this code page reads them."""
    try:
        text = data.decode(codec)
    except UnicodeDecodeError:
        if codec != "cp932" or len(data) < 1 << 20:
            return 0
        text = data.decode(codec, "ignore")
    found = 0
    for token in set(_BEYOND_ASCII.findall(text)):
        if len(token) < 2 and token not in ("Ω", "λ"):
            continue
        if any("\uff61" <= c <= "\uff9f" for c in token):
            continue
        lower = token.casefold()
        if lower in _spelt():
            found += 2
    if "Ω" in text and codec in ("cp437",):
        found += 1
    return found


def _spelt() -> frozenset[str]:
    """Words of the word list with letters beyond ASCII, as they are spelt."""
    global _SPELT
    if _SPELT is None:
        out: set[str] = set()
        for source in words.sources():
            for kind, meanings in source.items():
                for value in meanings.values() if kind != "unit" else ():
                    for listed in value.values():
                        for phrase in listed:
                            out.update(w for w in re.findall(r"[^\W\d_]+", phrase.casefold()) if not w.isascii())
        _SPELT = frozenset(out)
    return _SPELT


_SPELT: frozenset[str] | None = None
