"""Link record XML into batches: a stream of elements, gathered by tables, in bounded memory."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from lxml import etree

from archive.formats.open_xml.gate import admit, not_well_formed
from archive.formats.open_xml.gather import Gather
from archive.formats.open_xml.rows import ElementFault
from archive.formats.open_xml.stream import TOP, Stream, ended
from archive.formats.recognition import Entry
from archive.tables import Batch
from archive.version import PROGRAM


def read(entry: Entry) -> Iterator[Batch]:
    """Batches of one document. First the whole document is judged by the schema: one that it refuses gives nothing.

    A record with a number that is not finite, a sweep that does not fit its axis, an axis that is unknown or
    unsound, or an id that stood before is set aside with its reason; the others go on.
    Errors: Trouble where the document is not admitted.
    """
    admit(entry.path, entry.name)
    stream = Stream(entry.path, entry.name)
    gather = Gather()
    numbers: dict[str, int] = {}
    try:
        for element in stream:
            if not isinstance(element.tag, str):
                continue
            row = etree.QName(element).localname
            numbers[row] = numbers.get(row, 0) + 1
            if (row == "record" and gather.full) or gather.crowded:
                yield gather.take()
            try:
                gather.add(TOP[row], element)
            except ElementFault as fault:
                gather.aside(_set_aside(entry, element, f"{row}[{numbers[row]}]", fault), _source(entry))
    except etree.XMLSyntaxError as error:
        raise not_well_formed(error, entry.name, stream.count) from None
    ended(stream)
    while gather.anything:
        yield gather.take()


def _set_aside(entry: Entry, element: Any, place: str, fault: ElementFault) -> dict[str, Any]:
    return entry.set_aside(
        fault.reason,
        place=f"line {element.sourceline}, /link-records/{place}",
        link_label=element.get("link_label"),
        found=fault.found or None,
        expected=fault.expected or None,
        remedy="correct this record in its source and hand it in again; the other records were read",
        text=etree.tostring(element, encoding="unicode", with_tail=False),
    )


def _source(entry: Entry) -> dict[str, Any]:
    return entry.source(layout="link-record-xml", reader=f"{PROGRAM} open_xml", encoding="utf-8")
