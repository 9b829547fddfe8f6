"""XML that goes beyond what a parser takes without being told to trust it."""

from __future__ import annotations

from lxml import etree

from archive.errors import Trouble

_CODES = frozenset((45, 110, 114))
"""xmlParserErrors of libxml2: a comment too big, a name too long, a limit of resources; older ones name the option."""


def beyond_bounds(error: etree.XMLSyntaxError, where: str) -> Trouble | None:
    """What is said where the document reached a bound of the parser; None where something else is wrong with it."""
    if getattr(error, "code", None) not in _CODES and "XML_PARSE_HUGE" not in str(error.msg):
        return None
    return Trouble(
        "holds more in one place than is read",
        code="xml.beyond-bounds",
        where=where,
        found="a name, an attribute, a text or a comment of more than 10 million characters, or elements that lie "
        "more than 256 deep",
        remedy="it may be damaged: export or copy the file again",
    )
