"""Bytes that come in: counted by ourselves, into a tray, within limits of files, bytes and free disk.

What was announced is never believed. A file that does not come whole is taken away again.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from python_multipart.multipart import MultipartParser, parse_options_header

from archive.errors import Trouble
from archive.room.desk.files import is_id, new_file, new_id, write_json
from archive.room.desk.tray import MOST_BYTES, MOST_FILES, Tray

KEPT_FREE = 512 << 20
"""Bytes of the disk that are left free."""

LONGEST_NAME = 2_000
"""Letters of a given name with its folders."""

_LOOK = 32 << 20
"""The free disk is asked again after so many bytes."""

_MOST_TEXT = 64 * 1024
"""Bytes of a text of a form."""


def free_bytes(tray: Tray) -> int:
    """Bytes that the tray's disk still takes."""
    return shutil.disk_usage(tray.folder).free - KEPT_FREE


@dataclass
class Incoming:
    """One file on its way into a tray."""

    tray: Tray
    name: str
    room: int
    """Bytes that the tray has left."""
    before: int
    """Files that lay in it."""
    size: int = 0
    _looked: int = 0
    _digest: hashlib._Hash = field(default_factory=hashlib.sha256)
    _id: str = field(default_factory=new_id)
    _file: IO[bytes] | None = None

    def write(self, data: bytes) -> None:
        """Takes the next bytes. Errors: Trouble where a limit is reached; OSError."""
        if self._file is None:
            if len(self.name) > LONGEST_NAME:
                raise _refused("the name is too long", f"{len(self.name)} letters", f"{LONGEST_NAME} at most")
            self._enough_disk()
            self._file = new_file(self.tray.folder / f"{self._id}.part")
        self.size += len(data)
        if self.size > self.room:
            expected = f"{MOST_BYTES >> 30} GiB at most in one tray"
            raise _refused("the tray is full", f"{self.name} and what lies in it", expected)
        if self.size - self._looked >= _LOOK:
            self._looked = self.size
            self._enough_disk()
        self._digest.update(data)
        self._file.write(data)

    def end(self) -> None:
        """The file is whole: it counts from here."""
        self.write(b"")  # an empty one is a file too
        assert self._file is not None
        self._file.close()
        place = self.tray.folder / self._id
        place.with_suffix(".part").replace(place)
        told = {"name": self.name, "bytes": self.size, "sha256": self._digest.hexdigest()}
        write_json(place.with_suffix(".json"), told)
        _TALLIES[self.tray.folder] = (_changed(self.tray), self.before + 1, MOST_BYTES - self.room + self.size)

    def give_up(self) -> None:
        """Takes away what came of it."""
        if self._file is not None:
            self._file.close()
            (self.tray.folder / f"{self._id}.part").unlink(missing_ok=True)

    def _enough_disk(self) -> None:
        if free_bytes(self.tray) < 0:
            expected = f"{KEPT_FREE >> 20} MiB of the disk stay free"
            raise _refused("the disk of this machine is nearly full", self.name, expected)


def into(tray: Tray, name: str) -> Incoming:
    """A file that begins to come. Errors: Trouble where the tray holds as many as it may."""
    count, size = _tally(tray)
    if count >= MOST_FILES:
        raise _refused("the tray is full", f"{count} files", f"{MOST_FILES} at most in one tray")
    name = name.encode("utf-8", "replace").decode() or "unnamed"
    return Incoming(tray, name, MOST_BYTES - size, count)


_TALLIES: dict[Path, tuple[int, int, int]] = {}
"""Of trays: when the folder changed last, files, bytes; so that many files are not counted at each one."""


def _changed(tray: Tray) -> int:
    return tray.folder.stat().st_mtime_ns


def _tally(tray: Tray) -> tuple[int, int]:
    """Files of a tray, and their bytes."""
    known = _TALLIES.get(tray.folder)
    if known is None or known[0] != _changed(tray):
        with os.scandir(tray.folder) as listed:
            whole = [e.stat().st_size for e in listed if is_id(e.name)]
        known = (_changed(tray), len(whole), sum(whole))
    return known[1], known[2]


def _refused(message: str, found: str, expected: str) -> Trouble:
    remedy = "hand in less at once, as a zip, or from a folder of this machine named with `muniment room --tray FOLDER`"
    return Trouble(message, code="desk.upload", found=found, expected=expected, remedy=remedy)


class FormReader:
    """A multipart form, read as it comes: texts are kept, and each file goes into the tray that `tray` gives.

    tray: asked at the first file, with the texts before it, so that a form without its token brings in nothing.
    """

    def __init__(self, content_type: str, tray: Callable[[dict[str, str]], Tray]) -> None:
        """Errors: Trouble where it is no such form."""
        kind, options = parse_options_header(content_type)
        boundary = options.get(b"boundary")
        if kind != b"multipart/form-data" or not boundary or len(boundary) > 200:
            raise Trouble("no form with files", code="desk.upload", remedy="use the form of the page")
        self.texts: dict[str, str] = {}
        self.tray: Tray | None = None
        self.count = 0
        self._tray = tray
        self._file: Incoming | None = None
        self._name = b""
        self._text = b""
        self._heads: dict[bytes, bytes] = {}
        self._head, self._value = b"", b""
        self._parser = MultipartParser(
            boundary,
            {
                "on_part_begin": self._begun,
                "on_header_field": self._head_part,
                "on_header_value": self._value_part,
                "on_header_end": self._head_whole,
                "on_headers_finished": self._heads_whole,
                "on_part_data": self._data,
                "on_part_end": self._part_whole,
            },
        )

    def write(self, data: bytes) -> None:
        """Takes the next bytes. Errors: Trouble where it is no form, or a limit is reached; OSError."""
        try:
            self._parser.write(data)
        except ValueError as error:
            raise Trouble("no form with files", code="desk.upload", found=str(error)) from None

    def end(self) -> None:
        """Errors: Trouble where the form ended within a file."""
        if self._file is not None:
            raise Trouble("the form did not come whole", code="desk.upload", remedy="send it again")

    def give_up(self) -> None:
        """Takes away the file that did not come whole; those before it stay."""
        if self._file is not None:
            self._file.give_up()
            self._file = None

    def _begun(self) -> None:
        self._heads, self._name, self._text = {}, b"", b""

    def _head_part(self, data: bytes, start: int, end: int) -> None:
        self._head += data[start:end]
        self._bounded(self._head)

    def _value_part(self, data: bytes, start: int, end: int) -> None:
        self._value += data[start:end]
        self._bounded(self._value)

    def _head_whole(self) -> None:
        if len(self._heads) > 16:
            raise Trouble("no form with files", code="desk.upload", found="a part with many headers")
        self._heads[self._head.lower()] = self._value
        self._head, self._value = b"", b""

    def _heads_whole(self) -> None:
        _, options = parse_options_header(self._heads.get(b"content-disposition", b""))
        self._name = options.get(b"name", b"")
        given = options.get(b"filename")
        if given is None:
            return
        if self.tray is None:
            self.tray = self._tray(self.texts)
        if given:  # "" where nothing was chosen
            self._file = into(self.tray, given.decode("utf-8", "replace"))

    def _data(self, data: bytes, start: int, end: int) -> None:
        if self._file is not None:
            self._file.write(data[start:end])
        elif b"filename" not in self._heads.get(b"content-disposition", b""):
            self._text += data[start:end]
            self._bounded(self._text)

    def _part_whole(self) -> None:
        if self._file is not None:
            self._file.end()
            self._file = None
            self.count += 1
        elif self._name and len(self.texts) < 64:
            self.texts[self._name.decode("utf-8", "replace")] = self._text.decode("utf-8", "replace")

    def _bounded(self, text: bytes) -> None:
        if len(text) > _MOST_TEXT:
            raise Trouble("a text of the form is too long", code="desk.upload", expected=f"{_MOST_TEXT >> 10} KiB")
