"""Folders, zips and other packings: every file in them, and nothing that could do harm.

A zip is refused as a whole where a path climbs out or is absolute, where an entry is a link or is encrypted, where
entries overlap, or where it unpacks to more than MOST_BYTES, to more than the disk has room for, to more than
MOST_FILES files, or, beyond RATIO_FROM, to more than MOST_RATIO times its size, zips inside it included. What a zip
declares is not believed: the bytes that come out are counted. One zip inside another is opened. The same bounds hold
for what formats.packs unpacks: gzip, tar, 7z, and the attachments of mails.
"""

from __future__ import annotations

import errno
import shutil
import stat
import zipfile
import zlib
from collections.abc import Container, Iterable, Iterator
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath
from typing import Any

from archive import schemas
from archive.errors import Trouble
from archive.formats import packs
from archive.formats.folders import Refused, archive, is_archive, path_text, walk
from archive.formats.recognition import Entry

MOST_BYTES = 64 * 1024**3
"""Bytes that one zip may unpack to."""

MOST_RATIO = 250
"""Times its own size that an entry, and a zip as a whole, may unpack to beyond RATIO_FROM. Deflate cannot pass 1032;
text of curves stays below 20, a column of equal cells below 200 (measured)."""

RATIO_FROM = 50 * 1024**2
"""Bytes that may come out of a zip, whatever its size."""

SPARE = 256 * 1024**2
"""Bytes of the disk that stay free."""

MOST_FILES = 1_000_000

MOST_DEPTH = 2
"""A zip, and zips inside it."""

_ZIP = b"PK\x03\x04"
_EMPTY_ZIP = b"PK\x05\x06"
_BLOCK = 1 << 20


def is_dropping(name: str) -> bool:
    """True for a file that an operating or office program leaves behind in folders and zips, which no person put
    there: schemas/files.toml says which."""
    rules = schemas.load("files.toml")
    *folders, last = name.split("/")
    return any(fnmatchcase(last, p) for p in rules["passed_over"]) or any(
        f in rules["folders_passed_over"] for f in folders
    )


def is_zip(head: bytes) -> bool:
    """True where the head of a file is that of a zip (workbooks are zips too)."""
    return head.startswith((_ZIP, _EMPTY_ZIP))


def is_workbook(path: Path) -> bool:
    """True for a zip that is a workbook or a document of an office program: read as one file."""
    try:
        with zipfile.ZipFile(path) as packed:
            names = set(packed.namelist())
    except (zipfile.BadZipFile, NotImplementedError, OSError):
        return False
    return is_document(names)


def is_document(names: Container[str]) -> bool:
    """Whether the files of these names in a zip make a workbook or a document of an office program."""
    return "[Content_Types].xml" in names or "mimetype" in names


def is_packed(entry: Entry) -> bool:
    """True for what is to be unpacked: a zip that no office program reads as one file, or another packing."""
    if is_zip(entry.head):
        return not is_workbook(entry.path)
    return bool(packs.kind(entry.head))


def entries(path: Path, temporary: Path, leave_out: Iterable[Any] = ()) -> Iterator[Entry | Refused]:
    """The files of a file, folder or zip, in the order of their paths. Zips are unpacked into `temporary`.

    leave_out: files and folders to pass over where they stand inside a folder, as formats.folders.walk says.
    Errors: Trouble for a path that is not there, an archive, or a zip (handed in itself) that is refused.
    """
    if not path.exists():
        raise Trouble(
            "there is no such file or folder", code="input.not-there", where=str(path), remedy="check the path"
        )
    if path.is_dir():
        if is_archive(path):
            raise archive(str(path))
        yield from _folder(path, temporary, "", 0, leave_out)
    elif path.is_file():
        yield from _file(Entry(path, path_text(path.name)), temporary, 0)
    else:
        raise Trouble("is neither a file nor a folder", code="input.neither-file-nor-folder", where=str(path))


def _file(entry: Entry, temporary: Path, depth: int, room: Room | None = None) -> Iterator[Entry | Refused]:
    if depth < MOST_DEPTH and is_packed(entry):
        if packs.is_mail(entry.head):
            yield entry  # a document of its own
        room = room or Room(entry.name, entry.size)
        folder = unpack(entry.path, temporary, entry.name, room)
        yield from _folder(folder, temporary, f"{entry.name}/", depth + 1, room=room)
    else:
        yield entry


def _folder(
    path: Path,
    temporary: Path,
    before: str,
    depth: int,
    leave_out: Iterable[Any] = (),
    room: Room | None = None,
) -> Iterator[Entry | Refused]:
    """Every file below a folder, and what is inside the zips there."""
    for unit in walk(path, before, leave_out):
        if isinstance(unit, Refused):
            yield unit
            continue
        try:
            yield from _file(unit, temporary, depth, room)
        except Trouble as trouble:
            yield Refused(unit.path, unit.name, trouble)


class Room:
    """How much may come out of one zip and the zips inside it: so many times its size, beyond RATIO_FROM."""

    def __init__(self, name: str, size: int) -> None:
        self.name, self.size = name, size
        self.out = 0

    def take(self, count: int, where: str = "") -> None:
        """So many bytes more come out. Errors: Trouble where that is too much."""
        self.out += count
        if self.out > min(MOST_BYTES, max(RATIO_FROM, MOST_RATIO * self.size)):
            raise _bomb(where or self.name, self.out, self.size)


def unpack(path: Path, temporary: Path, name: str, room: Room) -> Path:
    """Unpacks a zip, or another packing, into a folder of its own below `temporary`.

    Errors: Trouble where the zip is damaged or refused; nothing is left of it then.
    """
    target = temporary / f"zip{len(list(temporary.iterdir()))}"
    target.mkdir()
    try:
        if packs.kind(Entry(path, name).head):
            packs.unpack(path, target, name, room.take)
            return target
        with zipfile.ZipFile(path) as packed:
            inside = packed.infolist()
            refuse(inside, name, path.stat().st_size)
            _refuse_without_space(inside, name, temporary)
            for info in inside:
                if not info.is_dir():
                    _extract(packed, info, target, name, room)
        return target
    except Trouble as refused:
        trouble = refused
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise
        found = str(error.strerror)
        trouble = Trouble(
            "cannot be unpacked", code="zip.cannot-unpack", where=name, found=found, remedy="unpack it yourself"
        )
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, UnicodeDecodeError) as error:
        trouble = Trouble(
            "is damaged or not a zip",
            code="zip.damaged",
            where=name,
            found=str(error),
            remedy="copy or export the zip again",
        )
    shutil.rmtree(target)
    raise trouble


def refuse(inside: list[zipfile.ZipInfo], name: str, size: int) -> None:
    """Refuses a zip for everything that can be seen without unpacking. size: its bytes. Errors: Trouble."""
    if len(inside) > MOST_FILES:
        raise Trouble(
            f"holds {len(inside)} files; at most {MOST_FILES} are read", code="zip.too-many-files", where=name
        )
    refuse_bomb(inside, name, size)
    seen: set[str] = set()
    for info in inside:
        _refuse_path(info, name)
        folded = info.filename.casefold()
        if folded in seen:
            raise Trouble(
                "two entries have the same path",
                code="zip.path-twice",
                where=f"{name}: {info.filename}",
                remedy="zip it again",
            )
        seen.add(folded)
        if info.flag_bits & 0x1:
            raise Trouble(
                "is encrypted",
                code="zip.encrypted",
                where=f"{name}: {info.filename}",
                remedy="unpack it with its password and hand in the files",
            )


def refuse_bomb(inside: list[zipfile.ZipInfo], name: str, size: int) -> None:
    """Refuses a zip that says itself that it unpacks to far too much. Errors: Trouble."""
    for info in inside:
        if info.file_size > RATIO_FROM and info.file_size > MOST_RATIO * max(info.compress_size, 1):
            raise _bomb(f"{name}: {info.filename}", info.file_size, size)
    Room(name, size).take(sum(info.file_size for info in inside))
    end = 0
    for info in sorted(inside, key=lambda i: i.header_offset):
        if info.header_offset < end:
            raise Trouble(
                "two entries stand at one place; it is refused",
                code="zip.overlap",
                where=f"{name}: {info.filename}",
                found=f"it begins at byte {info.header_offset}, and the one before ends at byte {end}",
                remedy="do not open this zip; ask who sent it",
            )
        end = info.header_offset + _LOCAL_HEADER + len(info.orig_filename) + info.compress_size


_LOCAL_HEADER = 30
"""Bytes before the name of an entry (APPNOTE 4.3.7)."""


def _refuse_without_space(inside: list[zipfile.ZipInfo], name: str, temporary: Path) -> None:
    needed, free = sum(info.file_size for info in inside), shutil.disk_usage(temporary).free
    if needed + SPARE > free:
        raise Trouble(
            "there is no room to unpack it",
            code="zip.no-room",
            where=name,
            found=f"{free:,} bytes free in {temporary.parent}",
            expected=f"{needed + SPARE:,}",
            remedy="free some, or set TMPDIR to a folder on a larger disk",
        )


def _refuse_path(info: zipfile.ZipInfo, name: str) -> None:
    path = info.orig_filename.replace("\\", "/")
    parts = PurePosixPath(path).parts
    mode = info.external_attr >> 16
    if path.startswith("/") or ".." in parts or ":" in path.split("/")[0] or "\0" in path or not parts:
        raise Trouble(
            "a path leaves the zip",
            code="zip.path-leaves",
            where=name,
            found=repr(info.orig_filename[:120]),
            expected="paths inside the zip",
            remedy="do not open this zip; ask who sent it",
        )
    if stat.S_ISLNK(mode):
        raise Trouble(
            "an entry is a link", code="zip.link", where=f"{name}: {info.filename}", remedy="zip the file it points to"
        )


def _extract(packed: zipfile.ZipFile, info: zipfile.ZipInfo, target: Path, name: str, room: Room) -> None:
    """Unpacks one entry, counting."""
    out = target.joinpath(*PurePosixPath(info.filename.replace("\\", "/")).parts)
    out.parent.mkdir(parents=True, exist_ok=True)
    written = 0
    with packed.open(info) as source, out.open("xb") as sink:
        while block := source.read(_BLOCK):
            written += len(block)
            where = f"{name}: {info.filename}"
            room.take(len(block), where)
            if written > info.file_size or written > max(RATIO_FROM, MOST_RATIO * info.compress_size):
                raise _bomb(where, written, info.compress_size)
            sink.write(block)


def _bomb(where: str, bytes_out: int, bytes_in: int) -> Trouble:
    return Trouble(
        "unpacks to far more than it holds; it is refused",
        code="zip.bomb",
        where=where,
        found=f"{bytes_out:,} bytes out of a zip of {bytes_in:,}",
        expected=f"at most {MOST_BYTES:,} bytes, {MOST_RATIO} times the size of the zip and of each file in it",
        remedy="unpack it yourself, look at it, and hand in the files",
    )
