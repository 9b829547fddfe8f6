"""How a text is cut into cells."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Sequence
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
MARKS = ("\t", ";", "|", ",")


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
    if best is fallback and most:
        return texts.Encoding(fallback.name, "words of the text")
    return best


def _hits(data: bytes, codec: str) -> int:
    """Words of the word list that hold letters beyond ASCII, as this code page reads them."""
    try:
        text = data.decode(codec)
    except UnicodeDecodeError:
        if codec != "cp932" or len(data) < 1 << 20:
            return 0
        text = data.decode(codec, "ignore")
    found = 0
    for token in set(re.findall(r"[^\W\d_]*[^\x00-\x7f][^\W\d_]*", text)):
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


def cut(lines: Sequence[str]) -> tuple[str, str]:
    """The delimiter of some lines, and its quote: a mark, or "blanks" for report text."""
    some = [line for line in lines[:3000] if line.strip()]
    if not some:
        return "blanks", ""
    best, most, scores = "", 0.0, dict[str, float]()
    for mark in MARKS:
        score = _score(some, mark)
        if mark == "," and score and _commas_are_decimals(some):
            continue
        scores[mark] = score
        if score > most * 1.2:
            best, most = mark, score
    headed = [m for m, s in scores.items() if s >= 0.8 * most > 0 and _headed(some, m)]
    if len(headed) == 1:
        # A mark inside cells, such as that between the points of a curve, is not so often in the headings.
        return headed[0], '"'
    if most < 0.35:
        return ("space" if _single_blanks(some) else "blanks"), ""
    return best, '"'


def _single_blanks(lines: Sequence[str]) -> bool:
    """Rows of numbers that single blanks part."""
    rows = [line.split() for line in lines if re.match(r"^\s*[-+<>]?\d", line)]
    wide = [r for r in rows if len(r) >= 3 and all(re.match(r"^[-+<>]?[\d.,]+(?:[eE][-+]?\d+)?$", c) for c in r)]
    single = [line for line in lines if re.match(r"^\s*[-+<>]?\d\S* \S", line)]
    return len(wide) >= 5 and len(wide) > 0.8 * len(rows) and len(single) > 0.5 * len(wide)


def _score(lines: Sequence[str], mark: str) -> float:
    """Share of the lines that stand in runs of equally many marks, weighed by how many."""
    counts = [_count(line, mark) for line in lines]
    total = 0.0
    for i, n in enumerate(counts):
        if n and ((i and counts[i - 1] == n) or (i + 1 < len(counts) and counts[i + 1] == n)):
            total += 1 if n > 1 else 0.8
    return total / len(lines)


def _headed(lines: Sequence[str], mark: str) -> bool:
    """The first line has as many marks as most lines."""
    counts = Counter(_count(line, mark) for line in lines[:400])
    usual, _ = counts.most_common(1)[0]
    return usual > 0 and _count(lines[0], mark) == usual


def _count(line: str, mark: str) -> int:
    if '"' in line:
        try:
            return len(next(csv.reader(io.StringIO(line), delimiter=mark), [])) - 1
        except csv.Error:
            return line.count(mark)
    return line.count(mark)


def _commas_are_decimals(lines: Sequence[str]) -> bool:
    """Commas stand between digits of numbers that blanks separate."""
    inside = Counter[bool]()
    for line in lines[:400]:
        for match in re.finditer(r",", line):
            a, b = line[max(0, match.start() - 1) : match.start()], line[match.end() : match.end() + 1]
            inside[a.isdigit() and b.isdigit()] += 1
    if inside[True] <= 4 * inside[False]:
        return False
    tokens = [t for line in lines[:200] for t in re.split(r"\s{2,}|\t", line.strip()) if re.match(r"^[\d,]+$", t)]
    single = sum(t.count(",") <= 1 for t in tokens)
    return bool(tokens) and single >= 0.9 * len(tokens) and len(tokens) > len(lines[:200])
