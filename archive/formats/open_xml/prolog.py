"""The beginning of an XML document, looked at before a parser may touch the rest.

A document type declaration is refused here, so no entity is ever declared, much less expanded.
"""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from lxml import etree

from archive.errors import Trouble

_SKIP = re.compile(r"\s+|<\?.*?\?>|<!--.*?-->", re.DOTALL)


SAFE: Any = {"resolve_entities": False, "no_network": True, "load_dtd": False, "huge_tree": False}
"""Settings of every parser here: no entity is resolved, nothing is fetched, libxml2's limits hold."""


@dataclass(frozen=True)
class Root:
    """The root element: namespace ("" for none) and name."""

    namespace: str
    name: str


def text_of(head: bytes) -> str:
    """The head as text, as far as markup goes: UTF-16 by its mark or its zeros, anything else byte by byte."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return head.decode("utf-16", errors="replace").lstrip("\ufeff")
    if head.startswith(b"<\0"):
        return head.decode("utf-16-le", errors="replace")
    if head.startswith(b"\0<"):
        return head.decode("utf-16-be", errors="replace")
    return head.removeprefix(b"\xef\xbb\xbf").decode("latin-1")


def doctype(head: bytes) -> bool:
    """True where a document type declaration stands before the root element."""
    text = text_of(head)
    at = 0
    while found := _SKIP.match(text, at):
        at = found.end()
    return text.startswith("<!DOCTYPE", at)


def looks_like_xml(head: bytes) -> bool:
    """True where the first thing that is not white space is a `<`."""
    return text_of(head).lstrip().startswith("<")


def root(head: bytes) -> Root | None:
    """The root element, or None where no start tag can be read in the head (or a DOCTYPE stands before it)."""
    if not looks_like_xml(head) or doctype(head):
        return None
    parser: Any = etree.XMLPullParser(events=("start",), **SAFE)
    with suppress(etree.XMLSyntaxError):  # the root may have been seen before the fault
        parser.feed(head)
        parser.close()  # a short document is only looked at now
    for _, element in parser.read_events():
        return _named(element)
    return None


def _named(element: Any) -> Root:
    namespace, _, name = element.tag.rpartition("}")  # a prefix that nothing declares stays in the name
    return Root(namespace.removeprefix("{"), name)


def refuse_doctype(head: bytes, where: str) -> None:
    """Errors: Trouble where the document has a document type declaration."""
    if doctype(head):
        raise Trouble(
            "has a document type declaration, which a link record never has; it is refused unread",
            code="xml.doctype",
            where=where,
            found="<!DOCTYPE",
            expected="<link-records",
            remedy="export the records again, or remove the declaration",
        )
