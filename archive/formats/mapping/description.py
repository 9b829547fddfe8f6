"""What an export holds, for `muniment survey`: read by its mapping and counted, nothing kept."""

from __future__ import annotations

from typing import Any

from archive.errors import Trouble
from archive.formats.description import Description
from archive.formats.mapping.chunks import encoding_of
from archive.formats.mapping.model import Mapping
from archive.formats.recognition import Entry
from archive.tables import Batch


def describe(entry: Entry, *, mapping: Any = None) -> Description:
    """Records, evidence, encoding, decimal mark, units, what would stay unmapped and what would be set aside.

    A layout that no mapping knows is drafted; where the draft is not sure enough to read by, it comes along as text.
    Errors: Trouble where two known layouts fit equally, or where nothing of the file can be read.
    """
    from archive.formats.mapping import chosen, read

    out = Description(entry.name)
    try:
        used = chosen(entry, mapping)
    except Trouble:
        drafted = _drafted(entry) if mapping is None else None
        if drafted is None:
            raise
        out.layout, out.draft = drafted.layout, drafted.text
        out.set_aside.append("no mapping knows this layout, and its draft is not sure enough to read by")
        out.unmapped = list(drafted.unplaced)
        return out
    out.layout = used.layout
    _text(entry, used, out)
    counts = _Counts(entry.sha256)
    for batch in read(entry, mapping=used):
        counts.add(batch)
    counts.tell(out)
    return out


def _drafted(entry: Entry) -> Any:
    from archive.formats.draft import group
    from archive.formats.mapping.match import best, matches

    return None if best(matches(entry)) else group.drafted(entry)


def _text(entry: Entry, mapping: Mapping, out: Description) -> None:
    encoding = encoding_of(entry, mapping.files[0])
    if encoding is not None:
        out.encoding = encoding.name
        if encoding.assumed:
            out.notes.append(f"nothing in the file says its encoding; {encoding.name} is assumed")
        out.decimal_mark = mapping.decimal
    said = (f.unit for file in mapping.files for t in file.tables for f in t.fields)
    out.units = list(dict.fromkeys(u for u in said if u))


class _Counts:
    """Counts over all batches of a file."""

    def __init__(self, source: str) -> None:
        self._source = source
        self.records = 0
        self.evidence: dict[str, None] = {}
        self.unmapped: dict[str, int] = {}
        self.reasons: dict[str, int] = {}

    def add(self, batch: Batch) -> None:
        import pyarrow.compute as pc

        self.records += len(batch)
        self.evidence.update(dict.fromkeys(pc.unique(batch["records"]["evidence"]).to_pylist()))
        for column, counts in ((batch["extras"]["name"], self.unmapped), (batch["set_aside"]["reason"], self.reasons)):
            for row in pc.value_counts(column.combine_chunks()).to_pylist():
                counts[row["values"]] = counts.get(row["values"], 0) + row["counts"]

    def tell(self, out: Description) -> None:
        out.records = self.records
        out.evidence = ", ".join(x for x in self.evidence if x)
        out.unmapped = [name if n == 1 else f"{name} ({n})" for name, n in self.unmapped.items()]
        out.set_aside = [name if n == 1 else f"{name} ({n})" for name, n in self.reasons.items()]
