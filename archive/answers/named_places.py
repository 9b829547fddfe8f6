"""Where a person's name stands outside the tables of people: originals with what is packed or encoded in them,
documents, cells of other tables, texts. What could not be looked into is named too: the name may be in it.
"""

from __future__ import annotations

import io
import json
import re
import tempfile
import unicodedata
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import suppress
from email.message import Message
from functools import cached_property
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from archive import schemas
from archive.errors import Trouble
from archive.formats import packs
from archive.formats.containers import Room
from archive.isolation import ProgramFault, attempt
from archive.store import Archive, layout
from archive.store.parquet import options

NOT_LOOKED_INTO = ", which could not be looked into"
_MOST_UNPACKED, _MOST_DEPTH = 1 << 30, 6
"""Bytes of a file in a packing, and packings in packings, where a name is looked for."""
_ZIP = (b"PK\x03\x04", b"PK\x05\x06")
_OWN = re.compile(r"/data/(tables/[^/]+|index\.parquet$)|^events/[^/]+/\d{4}-")
"""Files with tables of our own, and what replaced some."""
_TAG = re.compile(rb"<[^<>]*>")
_CODES = ("utf-8", "utf-16-le", "utf-16-be", "cp1252", "cp1250", "cp850")
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, UnicodeDecodeError)


class Name:
    """A name as files may spell it."""

    def __init__(self, name: str) -> None:
        self.name = name

    @cached_property
    def spellings(self) -> set[bytes]:
        """Its bytes in each encoding; with letters composed and not, and as XML and JSON escape them."""
        found = set()
        for form in {self.name, *(unicodedata.normalize(n, self.name) for n in ("NFC", "NFD"))}:
            hexadecimal = "".join(c if c.isascii() else f"&#x{ord(c):X};" for c in form)
            found |= {form.encode("ascii", "xmlcharrefreplace"), hexadecimal.encode(), json.dumps(form)[1:-1].encode()}
            for code in _CODES:
                with suppress(UnicodeEncodeError):
                    found.add(form.encode(code))
        return found

    def within(self, data: bytes) -> bool:
        """Whether it stands in bytes; in XML and HTML also where markup stands between its letters."""
        plain = data.lstrip(b"\xef\xbb\xbf \t\r\n")
        texts = [data, _TAG.sub(b"", data)] if plain.startswith(b"<") else [data]
        return any(s in text for s in self.spellings for text in texts)


def named_places(archive: Archive, name: str) -> Iterator[str]:
    """Places where a name stands, "path" or "path: member/member"; what could not be looked into ends with
    NOT_LOOKED_INTO."""
    looked, root = Name(name), archive.root
    for path in sorted(p for top in (layout.DEPOSITS, layout.EVENTS) for p in (root / top).rglob("*") if p.is_file()):
        shown = path.relative_to(root).as_posix()
        try:
            found = attempt(lambda path=path, shown=shown: list(_in_file(path, shown, looked)), "looking for a name")  # type: ignore[misc]
        except (Trouble, OSError):
            found = ProgramFault(shown, "")
        yield from [shown + NOT_LOOKED_INTO] if isinstance(found, ProgramFault) else found


def _in_file(path: Path, shown: str, name: Name) -> Iterator[str]:
    if path.suffix == ".parquet" and _OWN.search(shown):
        if "people" not in path.name and not path.name.startswith("sweeps-") and _in_cells(path, name.name):
            yield shown
        return
    with path.open("rb") as file:
        if file.read(4) in _ZIP:
            yield from _in_zip(file, shown, name, 0)
            return
    if path.stat().st_size > _MOST_UNPACKED:
        yield shown + NOT_LOOKED_INTO
    else:
        yield from _inside(path.read_bytes(), shown, name, 0)


def _inside(data: bytes, shown: str, name: Name, depth: int) -> Iterator[str]:
    """Places in a file, and in the packings in it, where a name stands. depth: of packings around it."""
    if name.within(data):
        yield shown
        if not packs.is_mail(data[:65536]):
            return
    if data.startswith(_ZIP):
        yield from _in_zip(io.BytesIO(data), shown, name, depth)
    elif what := packs.kind(data[:65536]):
        if depth >= _MOST_DEPTH:
            yield shown + NOT_LOOKED_INTO
        elif what == "mail":
            yield from _in_mail(data, shown, name, depth)
        else:
            yield from _in_packing(data, shown, name, depth)
    elif _closed(data):
        yield shown + NOT_LOOKED_INTO


def _in_zip(file: io.BytesIO | io.BufferedReader, shown: str, name: Name, depth: int) -> Iterator[str]:
    """Places in a zip or a workbook."""
    try:
        with zipfile.ZipFile(file) as packed:
            if depth >= _MOST_DEPTH:
                yield shown + NOT_LOOKED_INTO
                return
            for m in packed.infolist():
                place = _place(shown, m.filename, depth)
                if name.within(m.filename.encode()):
                    yield place
                elif m.file_size > _MOST_UNPACKED:
                    yield place + NOT_LOOKED_INTO
                else:
                    try:
                        data = packed.read(m)
                    except _DAMAGED:
                        yield place + NOT_LOOKED_INTO  # damaged, of an unknown kind, or encrypted
                    else:
                        yield from _inside(data, place, name, depth + 1)
    except _DAMAGED:
        yield shown + NOT_LOOKED_INTO


def _in_packing(data: bytes, shown: str, name: Name, depth: int) -> Iterator[str]:
    """Places in a gzip, tar or 7z."""
    with tempfile.TemporaryDirectory(prefix="muniment-") as folder:
        packed, room = Path(folder) / "packed", Path(folder) / "room"
        room.mkdir()
        packed.write_bytes(data)
        try:
            packs.unpack(packed, room, _last(shown), Room(shown, len(data)).take)
        except Trouble:
            yield shown + NOT_LOOKED_INTO
            return
        for path in sorted(p for p in room.rglob("*") if p.is_file()):
            inner = path.relative_to(room).as_posix()
            place = _place(shown, inner, depth)
            if name.within(inner.encode()):
                yield place
            elif path.stat().st_size > _MOST_UNPACKED:
                yield place + NOT_LOOKED_INTO
            else:
                yield from _inside(path.read_bytes(), place, name, depth + 1)


def _in_mail(data: bytes, shown: str, name: Name, depth: int) -> Iterator[str]:
    """Places in a mail: its fields, its texts, and its attachments, however they are encoded."""
    for number, part in enumerate(packs.parsed(data).walk()):
        if number >= packs.MOST_PARTS:
            yield shown + NOT_LOOKED_INTO
            return
        if any(name.within(f"{value}".encode("utf-8", "replace")) for value in _fields(part)):
            yield shown
        if part.is_multipart():
            continue
        file = part.get_filename()
        try:
            content = part.get_payload(decode=True)
        except (LookupError, ValueError):
            content = None
        if not isinstance(content, bytes):
            yield shown + NOT_LOOKED_INTO
        elif file:
            yield from _inside(content, _place(shown, file, depth), name, depth + 1)
        else:
            code = part.get_content_charset() or "utf-8"
            with suppress(LookupError):
                if name.name in content.decode(code, "replace"):
                    yield shown
                    continue
            yield from _inside(content, shown, name, depth + 1)


def _fields(part: Message) -> Iterator[str]:
    """Values of a part's fields, as far as they can be decoded."""
    for field in part.keys():  # noqa: SIM118 - a mail is no dictionary
        try:
            yield str(part[field])
        except (ValueError, LookupError, AttributeError, IndexError, TypeError):
            yield ""


def _last(shown: str) -> str:
    """Name of a file by the place where it is."""
    return re.split(r": |/", shown)[-1]


def _place(shown: str, inner: str, depth: int) -> str:
    return f"{shown}{'/' if depth else ': '}{inner}"


def _closed(data: bytes) -> bool:
    """Whether a file is of a kind whose texts are packed in ways that are not undone here (schemas/files.toml)."""
    kinds = schemas.load("files.toml")["closed"]
    return any(data.startswith(bytes.fromhex(kind["head"]), kind["at"]) for kind in kinds)


def _in_cells(path: Path, name: str) -> bool:
    table = options.read(path)
    texts = [c for c in table.columns if pa.types.is_string(c.type)]
    return any(pc.any(pc.match_substring(c, name)).as_py() for c in texts)
