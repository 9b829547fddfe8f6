"""A zip without one of its files: the others keep names and bytes, and go into a new zip."""

from __future__ import annotations

import hashlib
import io
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from archive.errors import Trouble
from archive.formats.containers import is_document, refuse_bomb

_PIECE = 1 << 20
_IN_MEMORY = 64 << 20
"""Bytes of a zip in a zip that are held in memory while it is made anew."""
DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, UnicodeDecodeError)


@dataclass
class ZipWithout:
    """A zip of the archive without a file that is in it, or in a zip in it.

    source: where it is; where: its path in the archive; inside: path of the file in it, with / between zips as well.
    members: SHA-256 and size of what goes, and of each zip around it as it was; empty: nothing else is in it.
    """

    source: Path
    where: str
    inside: str
    members: list[dict[str, Any]] = field(default_factory=list)
    empty: bool = False

    def look(self) -> None:
        """Finds what goes. Errors: Trouble where it is not there, or the zip cannot be made anew without it."""
        with self.source.open("rb") as file, self._told():
            self.empty = self._find(file, self.inside, self.where)

    def write(self, sink: Any) -> None:
        """The new zip. Errors: Trouble where the zip cannot be read to its end."""
        with self.source.open("rb") as file, self._told():
            self._copy(file, sink, self.inside)

    def _find(self, file: IO[bytes], inside: str, where: str) -> bool:
        with _opened(file, where) as packed:
            if is_document(packed.namelist()):
                raise _one_file(where, inside)
            name, rest = self._split(packed, inside, where)
            for info in (i for i in packed.infolist() if i.filename == name):
                if rest:
                    with _spooled(packed, info) as nested:
                        self._find(nested, rest, f"{where}: {name}")
                with packed.open(info) as member:
                    self.members.append(_digest(member))
            return not rest and all(i.filename == name or i.is_dir() for i in packed.infolist())

    def _copy(self, file: IO[bytes], sink: Any, inside: str) -> None:
        with zipfile.ZipFile(file) as packed, zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as made:
            name, rest = self._split(packed, inside, self.where)
            for info in packed.infolist():
                if info.filename != name:
                    with packed.open(info) as member, made.open(_like(info), "w", force_zip64=_large(info)) as into:
                        while piece := member.read(_PIECE):
                            into.write(piece)
                elif rest:
                    with (
                        _spooled(packed, info) as nested,
                        made.open(_like(info), "w", force_zip64=_large(info)) as into,
                    ):
                        self._copy(nested, into, rest)

    def _split(self, packed: zipfile.ZipFile, inside: str, where: str) -> tuple[str, str]:
        """The name in this zip, and the path in the zip of that name, "" where the file itself is meant."""
        names = {i.filename for i in packed.infolist() if not i.is_dir()}
        if inside in names:
            return inside, ""
        around = [n for n in names if inside.startswith(f"{n}/")]
        if not around:
            raise Trouble(
                "no such file in it",
                code="redact.no-such-part",
                where=where,
                found=inside,
                expected=_some(sorted(names)),
            )
        name = max(around, key=len)
        return name, inside[len(name) + 1 :]

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except DAMAGED as error:
            raise Trouble(
                "this zip cannot be made anew without the file",
                code="redact.cannot-rewrite",
                where=self.where,
                found=f"{self.inside}: {error}",
                remedy="name the zip as a whole",
            ) from None


@contextmanager
def _opened(file: IO[bytes], where: str) -> Iterator[zipfile.ZipFile]:
    """Errors: Trouble where it is no zip: what is in another packing goes with the whole."""
    if not zipfile.is_zipfile(file):
        outer, _, inner = where.rpartition(": ")
        raise Trouble(
            "this is no zip, and nothing can be taken out of it",
            code="redact.no-zip",
            where=outer or where,
            found=inner,
            expected="a zip",
            remedy=f"take it out as a whole, with --file '{where}'",
        )
    size = file.seek(0, io.SEEK_END)
    file.seek(0)
    with zipfile.ZipFile(file) as packed:
        refuse_bomb(packed.infolist(), where, size)
        yield packed


def _one_file(where: str, inside: str) -> Trouble:
    return Trouble(
        "a workbook or a document of an office program goes as a whole",
        code="redact.part-of-document",
        where=where,
        found=inside,
        remedy=f"take it out with --file '{where}'",
    )


@contextmanager
def _spooled(packed: zipfile.ZipFile, info: zipfile.ZipInfo) -> Iterator[IO[bytes]]:
    """A zip in a zip, on a place of its own."""
    with tempfile.SpooledTemporaryFile(_IN_MEMORY) as held:
        with packed.open(info) as member:
            while piece := member.read(_PIECE):
                held.write(piece)
        held.seek(0)
        yield held


def _digest(member: IO[bytes]) -> dict[str, Any]:
    sha, size = hashlib.sha256(), 0
    while piece := member.read(_PIECE):
        sha.update(piece)
        size += len(piece)
    return {"sha256": sha.hexdigest(), "bytes": size}


def _like(info: zipfile.ZipInfo) -> zipfile.ZipInfo:
    """Name, time and rights of a file in a zip."""
    made = zipfile.ZipInfo(info.filename, info.date_time)
    made.compress_type = zipfile.ZIP_STORED if info.compress_type == zipfile.ZIP_STORED else zipfile.ZIP_DEFLATED
    made.external_attr, made.create_system = info.external_attr, info.create_system
    return made


def _large(info: zipfile.ZipInfo) -> bool:
    return info.file_size >= 1 << 31


def _some(names: list[str]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")
