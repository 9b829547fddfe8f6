"""What an export holds, for `muniment survey`: read by its mapping and counted, nothing kept."""

from __future__ import annotations

from pathlib import Path

from archive.formats.description import Description
from archive.formats.mapping.chunks import encoding_of
from archive.formats.mapping.files import read_by
from archive.formats.mapping.match import chosen
from archive.formats.mapping.model import Mapping
from archive.formats.recognition import Entry


def describe(entry: Entry, *, mapping: Mapping | Path | str | None = None) -> Description:
    """Records, evidence, encoding, decimal mark, units, what would stay unmapped and what would be set aside.

    Errors: Trouble where no known layout fits or two fit equally, or where nothing of the file can be read.
    """
    out = Description(entry.name)
    used = chosen(entry, mapping)
    out.layout = used.layout
    _text(entry, used, out)
    out.count(read_by(entry, used), entry.sha256)
    return out


def _text(entry: Entry, mapping: Mapping, out: Description) -> None:
    encoding = encoding_of(entry, mapping.files[0])
    if encoding is not None:
        out.encoding = encoding.name
        if encoding.assumed:
            out.notes.append(f"nothing in the file says its encoding; {encoding.name} is assumed")
        out.decimal_mark = mapping.decimal
    stated = (f.unit for file in mapping.files for t in file.tables for f in t.fields)
    out.units = list(dict.fromkeys(u for u in stated if u))
