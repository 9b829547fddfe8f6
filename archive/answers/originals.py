"""The original export that a record came from, byte for byte, out of the originals of its deposit."""

from __future__ import annotations

import hashlib
import io
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path, PurePosixPath

from archive.errors import Trouble
from archive.formats import packs
from archive.formats.containers import entries, is_document
from archive.formats.recognition import Entry
from archive.store.received import Received

_ZIP = b"PK\x03\x04"


def of_source(files: Received, source_id: str, path: str) -> tuple[str, bytes] | None:
    """Name and bytes of the file as received whose bytes, or one of whose members, are the source.

    source_id: SHA-256 of the source; path: its path inside what was handed in. None where the original is not there
    any more. Of a zip from which a redaction took a file, the file that was in it and is the source.
    """
    for name, data in _files(files, path):
        if any(hashlib.sha256(part).hexdigest() == source_id for part in _parts(data)):
            return name, data
    return None


def of_record(files: Received, record_id: str) -> tuple[str, bytes] | None:
    """The file as received that names the record: for records that came in the open form and name no source."""
    wanted = record_id.encode()
    for name, data in _files(files, ""):
        if any(wanted in part for part in _parts(data)):
            return name, data
    return None


def _files(files: Received, path: str, wanted: Callable[[str], bool] = bool) -> Iterator[tuple[str, bytes]]:
    """Files as received, those first whose name the path of the source begins or ends with. wanted: by name."""
    if files.packed is not None:
        with files.packed.open("rb") as opened, zipfile.ZipFile(opened) as file:
            for name in sorted(filter(wanted, file.namelist()), key=lambda n: _distance(n, path)):
                yield from _as_received(files, name, file.read(name))
    for name, place in files.alone.items():
        if wanted(name):
            yield from _as_received(files, name, place.read_bytes())


def _as_received(files: Received, name: str, data: bytes) -> Iterator[tuple[str, bytes]]:
    """The file; of a zip that is no more the one that was handed in, what is in it, which is."""
    if files.altered and data[:4] == _ZIP and hashlib.sha256(data).hexdigest() not in files.handed_in:
        inside = {member: part for member, part in members(data) if member}
        if inside and not is_document(inside):  # of a document nothing is ever taken out
            for member, part in inside.items():
                yield from _as_received(files, f"{name}/{member}", part)
            return
    yield name, data


def _distance(name: str, path: str) -> tuple[int, str]:
    near = path == name or path.startswith(name) or path.endswith(name) or name.endswith(path)
    return (0 if near else 1, name)


def _parts(data: bytes) -> Iterator[bytes]:
    return (part for _, part in members(data))


def members(data: bytes) -> Iterator[tuple[str, bytes]]:
    """A file under no name, and what is in it where it is packed, by name."""
    yield "", data
    if packs.kind(data[:65536]):
        yield from _unpacked(data)
    if data[:4] != _ZIP:
        return
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as file:
            for info in file.infolist():
                if not info.is_dir():
                    yield info.filename, file.read(info)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError):
        return


def _unpacked(data: bytes) -> Iterator[tuple[str, bytes]]:
    """What is in a packing other than a zip, and in packings inside it, by name."""
    with tempfile.TemporaryDirectory(prefix="muniment-") as folder:
        packed, room = Path(folder) / "packed", Path(folder) / "room"
        room.mkdir()
        packed.write_bytes(data)
        try:
            for unit in entries(packed, room):
                if isinstance(unit, Entry) and "/" in unit.name:  # not the mail itself again
                    yield unit.name.partition("/")[2], unit.path.read_bytes()
        except Trouble:
            return


def beside(files: Received, name: str) -> dict[str, bytes]:
    """Files as received that belong to another one by name: the same name with another ending, such as a port map."""
    stem = PurePosixPath(name).with_suffix("")
    found = {}
    for other, data in _files(files, name, lambda n: n != name and PurePosixPath(n).with_suffix("") == stem):
        found[other] = data
    return found
