"""One document from end to end: well-formed, its structure, its references, its canonical form, its digests."""

import hashlib
from itertools import pairwise
from xml.parsers import expat

import rows
import values
from keys import MAY_BE_ABSENT, Keys

CHUNK = 1 << 18
MOST = 32 << 20
"""Bytes of one row, or between two rows: a document with more is not read further."""


class NotLinkRecord(Exception):
    """The document is none, or cannot be read further: line, message, found, expected."""


class Document:
    """Reads one document. say(line, record, message, found, expected) takes each fault, digest(line, record, digest)
    each digest; refused, faulty, records, sound, apart: what came of it."""

    def __init__(self, definitions, say, digest):
        self.definitions, self._say, self._digest = definitions, say, digest
        self.refused, self.faults, self.records, self.sound, self.apart = False, 0, 0, 0, 0
        self._keys, self._depth, self._skip = Keys(), 0, 0
        self._record = self._row = self._sha = None
        self._sizes, self._order, self._ok, self._written = 0, 0, True, True
        self._raw, self._raw_at, self._fed, self._last = bytearray(), 0, 0, 0
        self._pending, self._from, self._id = "", 0, ""
        parser = self._parser = expat.ParserCreate(namespace_separator=" ")
        parser.buffer_text, parser.buffer_size = True, 1 << 16
        parser.StartElementHandler, parser.EndElementHandler = self._start, self._end
        parser.CharacterDataHandler, parser.StartDoctypeDeclHandler = self._text, self._doctype
        parser.StartNamespaceDeclHandler = self._namespace

    def read(self, file):
        """Errors: NotLinkRecord; OSError."""
        try:
            while chunk := file.read(CHUNK):
                self._feed(chunk)
            if not self._fed:
                raise NotLinkRecord(1, "is empty", "0 bytes", "a link record document")
            self._parser.Parse(b"", True)
            self._references()
        except expat.ExpatError as error:
            raise NotLinkRecord(
                error.lineno, "is not well-formed XML", expat.ErrorString(error.code), "a whole document"
            ) from None
        finally:
            self._keys.close()

    def _feed(self, chunk):
        self._raw += chunk
        self._fed += len(chunk)
        self._parser.Parse(chunk, False)
        if self._record is None or not (self._written and self._ok):
            self._drop(self._fed)
        if self._fed - max(self._last, self._raw_at if self._raw else 0) > MOST or len(self._raw) > MOST:
            raise NotLinkRecord(
                self._line(), "is not read further", f"more than {MOST:,} bytes in one row", "shorter rows"
            )

    def _drop(self, end):
        """Forgets the bytes before `end`, but not what the parser has yet to tell of."""
        end = min(end, max(self._parser.CurrentByteIndex, self._raw_at))
        del self._raw[: end - self._raw_at]
        self._raw_at = end

    def _line(self):
        return self._parser.CurrentLineNumber

    def _doctype(self, *_):
        raise NotLinkRecord(self._line(), "has a document type declaration", "<!DOCTYPE", "<link-records")

    def _namespace(self, prefix, uri):
        """One that the root declares is in scope in every record, where Canonical XML would declare it too."""
        if self._depth == 0 and (prefix or uri != self.definitions.namespace):
            expected = "the namespace of the link record alone, as the default one"
            self._say(
                self._line(), "", "a namespace that Canonical XML carries into records", f"{prefix}: {uri}", expected
            )

    def _fault(self, line, message, found, expected, refused=False):
        self.refused = self.refused or refused
        self.faults += 1
        self._ok = False
        self._say(line, self._id, message, found, expected)

    def _start(self, name, attributes):
        self._last = self._parser.CurrentByteIndex
        self._depth += 1
        space, _, local = name.rpartition(" ")
        if self._depth == 1:
            self._root(space, local, attributes)
        elif self._skip:
            return
        else:
            self._element(space, local, attributes)

    def _root(self, space, local, attributes):
        expected = self.definitions.namespace
        if space != expected or local != "link-records":
            base, _, version = space.rpartition(":")
            newer = (
                base == expected.rpartition(":")[0] and version.isdecimal() and int(version) > self.definitions.version
            )
            message = (
                f"is written in version {version}, newer than this validator" if newer else "is not link record XML"
            )
            found = f"{local} in namespace {space or '(none)'}"
            raise NotLinkRecord(self._line(), message, found, f"link-records in namespace {expected}")
        for name in attributes:
            if not name.startswith(rows.XSI):
                self._fault(self._line(), "an attribute on link-records", name, "none", True)

    def _element(self, space, local, attributes):
        table = self.definitions.rows.get(local) if space == self.definitions.namespace else None
        inside = self._record is not None
        if table is None or self._row is not None or self.definitions.inside(table) != inside:
            where = self._row.table["row"] if self._row else "record" if inside else "link-records"
            self._fault(
                self._line(), f"an element that is not allowed in {where}", f"{local} in {space}", "a row", True
            )
            self._skip = self._depth
            return
        row = rows.Row(self.definitions, table, attributes, self._line())
        if table["name"] == "records":
            self._open_record(row)
            return
        if inside:
            if table["place"] < self._order:
                self._fault(row.line, "a row out of the order of the tables", local, "the order of the tables", True)
            self._order = table["place"]
        else:
            self._ok = True
        self._row, self._sizes = row, 0

    def _text(self, text):
        self._last = self._parser.CurrentByteIndex
        if self._row is not None and not self._skip:
            self._row.content.append(text)
            self._sizes += len(text)
            if self._sizes > MOST:
                raise NotLinkRecord(
                    self._line(), "is not read further", f"more than {MOST:,} characters in one row", ""
                )
        elif not self._skip and text.strip(values.BLANKS):
            self._fault(self._line(), "text between the rows", text.strip(values.BLANKS), "rows", True)

    def _end(self, name):
        self._last = self._parser.CurrentByteIndex
        depth, self._depth = self._depth, self._depth - 1
        if self._skip:
            self._skip = 0 if self._skip == depth else self._skip
        elif self._row is not None:
            row, self._row = self._row, None
            self._close_row(row)
        elif self._record is not None and depth == 2:
            self._close_record()

    def _told(self, row):
        row.finish()
        for refused, message, found, expected in row.faults:
            self._fault(row.line, message, found, expected, refused)

    def _names(self, row):
        """Takes down the keys that a row gives and names."""
        for name, column in row.table["columns"].items():
            key = row.cells.get(name)
            if key is not None and column["of"] and column["of"] != "axes":
                self._keys.name(column["of"], key, f"{row.line} {row.table['name']}.{name}")
        own = row.table["key"]
        if own and row.table["name"] not in ("axes", "records") and row.cells.get(own) is not None:
            self._keys.give(row.table["name"], row.cells[own])

    def _open_record(self, row):
        self.records += 1
        self._id, self._ok, self._written, self._order = row.given.get("record_id", ""), True, True, 0
        self._record, self._sha = row, hashlib.sha256()
        self._drop(self._parser.CurrentByteIndex)
        self._told(row)
        self._id = row.cells.get("record_id") or self._id
        if not self._keys.give("records", self._id):
            self._fault(row.line, "a record with this id stands before it", self._id, "each id once")
        self._names(row)
        self._pending = row.canonical() if self._ok else ""

    def _close_row(self, row):
        self._told(row)
        if row.table["name"] == "axes":
            self._axis(row)
        elif row.table["name"] == "sweeps" and not row.faults:
            self._sweep(row)
        self._names(row)
        if self._record is not None and self._ok:
            self._piece(self._pending + "\n" + row.canonical())
            self._pending = ""

    def _close_record(self):
        line, name = self._record.line, self._id
        if self._ok:
            self._piece(self._pending + "\n</record>")
            self.sound += 1
            self.apart += not self._written
            self._digest(line, name, f"link-record-{self.definitions.version}:{self._sha.hexdigest()}")
        self._record, self._id = None, ""

    def _piece(self, text):
        """A piece of the record in canonical form, held against the bytes that stand in the file."""
        expected = text.encode("utf-8")
        self._sha.update(expected)
        if not self._written:
            return
        at = self._parser.CurrentByteIndex - self._raw_at
        closed = self._raw.find(b">", at) + 1 if self._raw[at : at + 2] == b"</" else at
        found = bytes(self._raw[:closed])
        if found == expected:
            self._raw_at += closed
            del self._raw[:closed]
            return
        self._written = False
        start = next(
            (i for i, (a, b) in enumerate(zip(found, expected, strict=False)) if a != b), min(len(found), len(expected))
        )
        start = max(0, start - 20)
        there, due = (b[start : start + 60].decode("utf-8", "replace") for b in (found, expected))
        there = "text in another encoding than UTF-8" if "\0" in there else there
        message = "is not in canonical form; its digest is that of the record written anew"
        self._say(self._line(), self._id, message, there, due)

    def _axis(self, row):
        name = row.given.get("axis_id", "")
        lists = [k for k in ("frequencies_mhz", "distances_km") if k in row.given]
        if not row.faults and len(lists) != 1:
            self._fault(row.line, "an axis with both lists or none", " ".join(lists) or "none", "one of the two")
        elif not row.faults:
            text = row.cells[lists[0]]
            points = [float(t) for t in text.split()]
            falls = [b for a, b in pairwise(points) if b <= a]
            own = hashlib.sha256(f"{lists[0]}:{text}".encode()).hexdigest()
            if falls:
                self._fault(row.line, "an axis that does not rise", values.written(falls[0]), "rising points")
            elif own != name:
                self._fault(row.line, "the id of an axis is not the digest of its numbers", name, own)
            else:
                self._keys.give("axes", name, len(points))
                return
        self._keys.give("axes", name, -1)

    def _sweep(self, row):
        name, count = row.cells["axis_id"], len(row.cells["values"].split())
        points = self._keys.note("axes", name)
        if points is None:
            self._fault(
                row.line, "a sweep names an axis that does not stand before it", name, "the id of an axis above"
            )
        elif points[0] < 0:
            self._fault(row.line, "a sweep names an axis that is not sound", name, "a sound axis")
        elif points[0] != count:
            self._fault(row.line, "a sweep does not fit its axis", f"{count} values", f"{points[0]} values")
        else:
            for key in ("above", "below"):
                for index in row.cells.get(key, "").split():
                    if not 0 <= int(index) < count:
                        self._fault(row.line, f"{key} names a point that is not there", index, f"0 to {count - 1}")

    def _references(self):
        absent = dict.fromkeys(MAY_BE_ABSENT, 0)
        for name, key, place in self._keys.missing():
            if name in absent:
                absent[name] += 1
                continue
            line, _, column = place.partition(" ")
            self._fault(line, f"{column} names a row that is not in the document", key, f"a row of {name}")
        self.absent = {name: count for name, count in absent.items() if count}
