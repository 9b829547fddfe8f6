"""Why the schema rejects a document, from xmlschema: path, line, rule. Loaded only when one was rejected."""

from __future__ import annotations

import re
from functools import cache
from itertools import islice
from typing import Any

from lxml import etree

from archive import schemas
from archive.formats.open_xml.prolog import SAFE
from archive.formats.open_xml.xsd import FILE_NAME

_MOST = 20


@cache
def judge() -> Any:
    """xmlschema's own reading of the schema file; nothing remote is ever fetched, no DTD is read."""
    import xmlschema

    return xmlschema.XMLSchema10(str(schemas.root() / FILE_NAME), defuse="always", allow="local")


def reasons(document: bytes) -> list[tuple[str, int, str, str]]:
    """Faults of a document with one element under its root, at most 20; the gate has parsed it safely before.

    Each: path below that element, lines below its start, the rule in words, the value.
    """
    import xmlschema

    # Parsed by lxml, which keeps the line of every element.
    resource = xmlschema.XMLResource(
        etree.fromstring(document, etree.XMLParser(**SAFE)), defuse="always", allow="local"
    )
    out = []
    for error in islice(judge().iter_errors(resource), _MOST):
        path = re.sub(r"^/[^/]+/[^/]+", "", re.sub(r"\{[^}]*\}|[a-z0-9]+:", "", error.path or ""))
        reason = re.sub(r"\s+", " ", str(error.reason or error.message)).replace("{urn:muniment:link-record:1}", "")
        value = error.obj if isinstance(error.obj, str) else ""
        out.append((path, max((error.sourceline or 1) - 1, 0), _plain(reason), value))
    return out


_PLAINER = (
    (re.compile(r"Xsd\w+\(([^)]*)\)"), r"\1"),
    (re.compile(r"value doesn't match any pattern of \['\(\\\\\+\|-\)\?.*NaN'\]"), "is not a number"),
    (re.compile(r"\.+$"), ""),
)


def _plain(reason: str) -> str:
    """xmlschema's wording without its own objects, and with the pattern of xs:double in words."""
    for found, instead in _PLAINER:
        reason = found.sub(instead, reason)
    return reason[:300]
