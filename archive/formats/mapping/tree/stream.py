"""Members of a large JSON document one by one, without holding the document.

Text is read block by block; on the way to the records objects are entered key by key, values beside the way are
decoded one at a time, and each record is decoded alone by the json module.
"""

from __future__ import annotations

import codecs
import json
from collections.abc import Iterator

from archive.errors import Trouble
from archive.formats.mapping.tree.node import Tree, flat
from archive.formats.recognition import Entry

_BLOCK = 1 << 22
MOST_RECORD = 1 << 28
"""Characters that one record may have."""


class _Text:
    """Text that refills itself."""

    def __init__(self, entry: Entry) -> None:
        self.name = entry.name
        self._file = entry.path.open("rb")
        head = self._file.read(4)
        self._decoder = codecs.getincrementaldecoder(json.detect_encoding(head))()
        self.text = self._decoder.decode(head).lstrip("\ufeff")
        self.at, self.done = 0, False
        self._json = json.JSONDecoder(parse_constant=str)

    def close(self) -> None:
        """Closes the file."""
        self._file.close()

    def fill(self) -> bool:
        """More text; False at the end of the file."""
        if self.done:
            return False
        block = self._file.read(_BLOCK)
        self.done = not block
        self.text = self.text[self.at :] + self._decoder.decode(block, final=self.done)
        self.at = 0
        return True

    def peek(self) -> str:
        """The next character that is no blank; "" at the end."""
        while True:
            while self.at < len(self.text) and self.text[self.at] in " \t\r\n":
                self.at += 1
            if self.at < len(self.text):
                return self.text[self.at]
            if not self.fill():
                return ""

    def take(self, wanted: str) -> None:
        """Passes one expected character."""
        if self.peek() != wanted:
            raise self.trouble(f"{self.peek()!r} where {wanted!r} was expected")
        self.at += 1

    def value(self) -> Tree:
        """The next value, decoded."""
        self.peek()
        while True:
            try:
                found, end = self._json.raw_decode(self.text, self.at)
            except json.JSONDecodeError as error:
                if len(self.text) - self.at > MOST_RECORD or not self.fill():
                    raise self.trouble(error.msg) from None
                continue
            # A number that touches the end of the text may go on in the next block.
            if end == len(self.text) and not self.done and isinstance(found, int | float):
                self.fill()
                continue
            self.at = end
            return found

    def trouble(self, found: str) -> Trouble:
        """A document that is damaged or cut short."""
        return Trouble(
            "is no JSON",
            code="export.not-json",
            where=self.name,
            found=found,
            remedy="export or download the file again; it may have been cut short",
        )


def members_of(entry: Entry, way: list[str], news: list[tuple[str, Tree]]) -> Iterator[tuple[Tree, Tree]]:
    """Members at a path of keys, each with the tree of what came before it on the way. Errors: Trouble.

    news: takes the leaves that stand beside the way, with their paths, as they are met.
    """
    text = _Text(entry)
    try:
        yield from _enter(text, way, {}, [], news)
    finally:
        text.close()


def _enter(
    text: _Text, path: list[str], around: Tree, here: list[str], news: list[tuple[str, Tree]]
) -> Iterator[tuple[Tree, Tree]]:
    first = text.peek()
    if first == "[":
        text.take("[")
        while text.peek() not in ("]", ""):
            if path:
                yield from _enter(text, path, around, here, news)
            else:
                yield text.value(), around
            if text.peek() == ",":
                text.take(",")
        text.take("]")
    elif first == "{" and path:
        text.take("{")
        while text.peek() not in ("}", ""):
            name = text.value()
            text.take(":")
            if name == path[0]:
                yield from _enter(text, path[1:], around, [*here, name], news)
            else:
                value = text.value()
                news += flat(value, "/".join([*here, name]))
                around = _with(around, here, name, value)
            if text.peek() == ",":
                text.take(",")
        text.take("}")
    else:
        value = text.value()
        if not path:
            yield value, around


def _with(around: Tree, here: list[str], name: str, value: Tree) -> Tree:
    """The tree around with one more value, as a new tree: records seen before keep theirs."""
    out = dict(around)
    if here:
        out[here[0]] = _with(out.get(here[0], {}), here[1:], name, value)
    else:
        out[name] = value
    return out
