"""The original export that a record came from, byte for byte, out of its deposit's bag."""

from __future__ import annotations

import hashlib
import io
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path, PurePosixPath

from archive.errors import Trouble
from archive.formats import packs
from archive.formats.containers import entries
from archive.formats.recognition import Entry


def of_source(bag: Path, source_id: str, path: str) -> tuple[str, bytes] | None:
    """Name and bytes of the file as received whose bytes, or one of whose members, are the source.

    bag: folder of the deposit. source_id: SHA-256 of the source; path: its path inside what was handed in.
    None where the original is not there any more.
    """
    for name, data in _files(bag, path):
        if any(hashlib.sha256(part).hexdigest() == source_id for part in _parts(data)):
            return name, data
    return None


def of_record(bag: Path, record_id: str) -> tuple[str, bytes] | None:
    """The file as received that names the record: for records that came in the open form and name no source."""
    wanted = record_id.encode()
    for name, data in _files(bag, ""):
        if any(wanted in part for part in _parts(data)):
            return name, data
    return None


def _files(bag: Path, path: str, wanted: Callable[[str], bool] = bool) -> Iterator[tuple[str, bytes]]:
    """Files as received, those first whose name the path of the source begins or ends with. wanted: by name."""
    folder, packed = bag / "data" / "originals", bag / "data" / "originals.zip"
    if packed.is_file():
        with zipfile.ZipFile(packed) as file:
            for name in sorted(filter(wanted, file.namelist()), key=lambda n: _distance(n, path)):
                yield name, file.read(name)
    elif folder.is_dir():
        for found in sorted(folder.rglob("*")):
            name = found.relative_to(folder).as_posix()
            if found.is_file() and wanted(name):
                yield name, found.read_bytes()


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
    if data[:4] != b"PK\x03\x04":
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


def beside(bag: Path, name: str) -> dict[str, bytes]:
    """Files as received that belong to another one by name: the same name with another ending, such as a port map."""
    stem = PurePosixPath(name).with_suffix("")
    found = {}
    for other, data in _files(bag, name, lambda n: n != name and PurePosixPath(n).with_suffix("") == stem):
        found[other] = data
    return found
