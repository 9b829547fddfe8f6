"""Byte ranges of a file as received that speak of one link: unaltered, never written anew."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from itertools import pairwise
from xml.parsers import expat

_CELLS = re.compile(r"[;,\t|:=]")
_QUOTES = " \t\r\n\"'"


@dataclass(frozen=True)
class Span:
    """Bytes from `start` to before `end` of a file."""

    start: int
    end: int


def spans(data: bytes, label: str, others: Collection[str]) -> list[Span]:
    """Ranges that hold the link, in their order, and what comes before the first link of all (headings).

    label: of the link as the file has it; others: labels of other links, none of which may stand in a range. Nothing
    where the file is not XML or text in lines, or no range can be told from those of others.
    """
    if b"\0" in data[:4096]:
        return []
    text = data.lstrip(b"\xef\xbb\xbf \t\r\n")
    found = _of_xml(data, label, others) if text.startswith(b"<") else _of_lines(data, label, set(others))
    return _joined(found)


def _joined(found: list[Span]) -> list[Span]:
    """Ranges in order, those that touch each other as one."""
    joined: list[Span] = []
    for span in sorted(found, key=lambda s: s.start):
        if joined and span.start <= joined[-1].end:
            joined[-1] = Span(joined[-1].start, max(joined[-1].end, span.end))
        else:
            joined.append(span)
    return joined


def _of_lines(data: bytes, label: str, others: Collection[str]) -> list[Span]:
    """Lines of the link, with what follows them until another link is named, and the lines before any link."""
    starts = [0, *(m.end() for m in re.finditer(b"\n", data))]
    bounds = list(pairwise([*starts, len(data)] if starts[-1] < len(data) else starts))
    found: list[Span] = []
    head, mine = 0, False
    for number, (start, end) in enumerate(bounds):
        cells = {c.strip(_QUOTES) for c in _CELLS.split(_decoded(data[start:end]))}
        other, own = not cells.isdisjoint(others), label in cells
        if own or other:
            head = head or (start if number else -1)
            mine = own and not other
        if mine:
            found.append(Span(start, end))
    if found and head > 0:
        found.append(Span(0, head))
    return found


def _decoded(line: bytes) -> str:
    try:
        return line.decode("utf-8-sig")
    except UnicodeDecodeError:
        return line.decode("cp1252", "replace")


def _of_xml(data: bytes, label: str, others: Collection[str]) -> list[Span]:
    """The largest elements that name the link and no other."""
    try:
        elements = _elements(data, label)
    except (expat.ExpatError, UnicodeDecodeError, ValueError):
        return []
    wanted = [o.encode() for o in others]
    found: list[Span] = []
    for path in elements:
        fitting = [e for e in path if not any(_mentions(data[e.start : e.end], o) for o in wanted)]
        if fitting:
            found.append(fitting[0])
    return found


def _mentions(data: bytes, label: bytes) -> bool:
    """Whether a label stands in bytes as a word of its own."""
    at = data.find(label)
    while at >= 0:
        around = data[at - 1 : at] + data[at + len(label) : at + len(label) + 1]
        if not re.search(rb"[A-Za-z0-9_.\-\x80-\xff]", around):
            return True
        at = data.find(label, at + 1)
    return False


def _elements(data: bytes, label: str) -> list[list[Span]]:
    """For each element that names the label in an attribute or as its text: it and those it lies in, from outside."""
    parser = expat.ParserCreate()
    parser.buffer_text = True
    stack: list[_Open] = []
    named: list[list[_Open]] = []

    def start(_name: str, attributes: dict[str, str]) -> None:
        stack.append(_Open(parser.CurrentByteIndex))
        if label in attributes.values():
            named.append(list(stack))

    def text(found: str) -> None:
        if found.strip() == label and stack:
            named.append(list(stack))

    def end(_name: str) -> None:
        element = stack.pop()
        opening = _end(data, element.start)
        empty = data[opening - 2 : opening] == b"/>"
        element.end = opening if empty else _end(data, parser.CurrentByteIndex)

    parser.StartElementHandler, parser.EndElementHandler, parser.CharacterDataHandler = start, end, text
    data.decode("utf-8")
    parser.Parse(data, True)
    return [[Span(e.start, e.end) for e in path] for path in named]


@dataclass(eq=False)
class _Open:
    """An element whose end is not known yet."""

    start: int
    end: int = 0


_TAG = re.compile(rb"<(?:[^<>\"']|\"[^\"]*\"|'[^']*')*>")


def _end(data: bytes, at: int) -> int:
    """Offset after the tag at an offset. Errors: ValueError where there is none."""
    tag = _TAG.match(data, at)
    if tag is None:
        raise ValueError("no tag")
    return tag.end()
