"""The gate: a document is let in whole or not at all. lxml judges, xmlschema explains a rejection."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

from lxml import etree

from archive import schemas
from archive.errors import Trouble
from archive.formats.base.xml_bounds import beyond_bounds
from archive.formats.open_xml.explain import reasons
from archive.formats.open_xml.prolog import SAFE, root
from archive.formats.open_xml.stream import TOP, Stream, ended, qualified
from archive.formats.open_xml.xsd import FILE_NAME
from archive.tables import namespace, version

_DEFAULT: Any = {None: namespace()}

_MOST_ATTRIBUTES = 1_000
"""An element with more is not explained further: no table has so many columns, and the reasons would be as many."""


@cache
def schema() -> Any:
    """The compiled schema of this version."""
    return etree.XMLSchema(etree.parse(str(schemas.root() / FILE_NAME), etree.XMLParser(**SAFE)))


def admit(path: Path, where: str) -> None:
    """Reads a document from end to end against the schema.

    Errors: Trouble, with the line, the path and the rule, where it is not a whole and valid link record document.
    """
    _right_namespace(path, where)
    stream = Stream(path, where, schema())
    try:
        for _ in stream:
            pass
    except etree.XMLSyntaxError:
        well_formed(path, where)
        raise _explained(path, where, stream.before_chunk) from None
    ended(stream)


def well_formed(path: Path, where: str) -> None:
    """Errors: Trouble where the document is not well-formed XML."""
    stream = Stream(path, where)
    try:
        for _ in stream:
            pass
    except etree.XMLSyntaxError as error:
        raise not_well_formed(error, where, stream.count) from None


def not_well_formed(error: etree.XMLSyntaxError, where: str, elements: int = 0) -> Trouble:
    """The parser's complaint in one line."""
    line, column = error.position if error.position[0] else (1, 0)
    text = re.sub(r", line \d+, column \d+.*", "", str(error.msg or "no XML"))
    cut = "Premature end" in text or "Couldn't find end of Start Tag" in text or "EndTag" in text
    return beyond_bounds(error, f"{where}, line {line}") or Trouble(
        "the document ends in the middle" if cut else "is not well-formed XML",
        code="xml.not-well-formed",
        where=f"{where}, line {line}, column {column}",
        found=f"{text} (after {elements} complete elements)",
        expected="a whole link record document",
        remedy="export or copy the file again" + ("; it was cut off" if cut else ""),
    )


def _right_namespace(path: Path, where: str) -> None:
    with path.open("rb") as file:
        head = file.read(65536)
    if not head:
        raise Trouble("is empty", code="file.empty", where=where, expected="a link record document")
    found = root(head)
    if found is None:
        well_formed(path, where)  # says what is wrong; a root that only comes after a long comment passes
        return
    base = namespace().rsplit(":", 1)[0]
    if found.namespace == namespace() and found.name == "link-records":
        return
    newer = re.fullmatch(rf"{re.escape(base)}:(\d+)", found.namespace)
    if newer and int(newer[1]) > version():
        raise Trouble(
            f"is written in version {newer[1]} of link record XML; this program reads up to version {version()}",
            code="open-xml.newer-version",
            where=where,
            found=f"namespace {found.namespace}",
            expected=namespace(),
            remedy="read it with a newer muniment",
        )
    raise Trouble(
        "is not link record XML",
        code="open-xml.other-root",
        where=where,
        found=f"root element {found.name} in namespace {found.namespace or '(none)'}",
        expected=f"root element link-records in namespace {namespace()}",
        remedy="convert it with a mapping of its own layout",
    )


def _explained(path: Path, where: str, start: int) -> Trouble:
    """Finds the first element that the schema rejects, from element number `start` on, and lets xmlschema explain."""
    names: dict[str, int] = {}
    stream = Stream(path, where)
    for number, element in enumerate(stream):
        if not isinstance(element.tag, str):
            continue
        name = etree.QName(element).localname
        names[name] = names.get(name, 0) + 1
        if number < start:
            continue
        place = f"/link-records/{name}[{names[name]}]"
        more = next((e for e in element.iter() if len(e.attrib) > _MOST_ATTRIBUTES), None)
        if more is not None:  # an element without children counts as false
            found = f"{len(more.attrib):,} attributes"
            return _refused(where, more.sourceline, place, "an element with more attributes than there are", found)
        if (element.tail or "").strip():
            return _refused(where, element.sourceline, f"after {place}", "text between the rows", element.tail.strip())
        if name not in TOP or element.tag != qualified(name):
            return _refused(where, element.sourceline, place, "an element that is not allowed here", str(element.tag))
        if why := _judged(element, where, place):
            return why
    root = stream.root
    if (root.text or "").strip():
        return _refused(where, root.sourceline, "/link-records", "text before the first row", root.text.strip())
    names_given = ", ".join(map(str, root.attrib))
    return _refused(where, root.sourceline, "/link-records", "attributes that are not allowed here", names_given)


def _judged(element: Any, where: str, place: str) -> Trouble | None:
    """What is wrong with one element under the root, alone in a document of its own; None where nothing is."""
    wrapper: Any = etree.Element(qualified("link-records"), nsmap=_DEFAULT)
    # In ASCII a letter of a name would become a reference, which no name may hold.
    text = etree.tostring(element, with_tail=False, encoding="utf-8")
    wrapper.append(etree.fromstring(text, etree.XMLParser(**SAFE)))
    if schema().validate(wrapper):
        return None
    return _why(wrapper, where, element.sourceline, place)


def _why(wrapper: Any, where: str, line: int, place: str) -> Trouble:
    """xmlschema's reasons for one element; lxml's own where xmlschema finds none."""
    found = reasons(etree.tostring(wrapper, encoding="utf-8"))
    if not found:
        first = schema().error_log[0]
        return _refused(where, line + max(first.line - 1, 0), place, first.message, "")
    inner, offset, reason, value = found[0]
    more = f" (and {len(found) - 1} more in this element)" if len(found) > 1 else ""
    return _refused(where, line + offset, place + inner, reason + more, value)


def _refused(where: str, line: int, place: str, reason: str, value: str) -> Trouble:
    return Trouble(
        f"the schema refuses it: {reason}",
        code="open-xml.refused",
        where=f"{where}, line {line}, {place}",
        found=repr(value[:80]) if value else "",
        remedy="correct the writer of this file; schemas/README.md explains every field",
    )
