"""Files that other processes read: their batches come back in files, in a folder that all of them reach."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats.readers import reader
from archive.formats.recognition import Entry
from archive.formats.turn import Turn, bug
from archive.isolation import caught
from archive.spread import Lost, Worked, Workers, in_order
from archive.tables import Batch
from archive.tables.streams import read_batches, write_batches


@dataclass(frozen=True)
class FileToRead:
    """A file with the name of its reader, the mapping that reads it, and the files that are read with it. into: the
    file for its batches."""

    entry: Entry
    reader: str
    mapping: Any = field(repr=False)
    draft: bool
    takes: frozenset[Path]
    into: Path


def read_file(piece: FileToRead) -> Trouble | None:
    """Reads a file wherever this runs, and writes its batches; what kept it from being read, or from being read to its
    end. Errors: OSError of the disk."""
    turn = Turn(piece.entry, piece.takes)
    records = 0
    stopped: list[Trouble] = []

    def batches() -> Iterator[Batch]:
        nonlocal records
        try:
            found = reader(piece.reader).read(piece.entry, mapping=piece.mapping, draft=piece.draft)
            while (batch := turn.work(partial(next, found, None))) is not None:
                records += len(batch)
                yield batch
        except Trouble as trouble:
            stopped.append(trouble)
        except OSError:
            raise
        except Exception as error:  # noqa: BLE001 - a bug costs the file, or what of it was not read yet
            stopped.append(bug(piece.entry, caught(error, "reading"), records))

    write_batches(piece.into, batches())
    return stopped[0] if stopped else None


class FilesElsewhere:
    """Files in their order, read by workers, and asked for in that order."""

    def __init__(self, workers: Workers, pieces: Sequence[FileToRead]) -> None:
        self._pieces = {piece.entry.path: piece for piece in pieces}
        self._results: Iterable[Worked | Lost] = in_order(workers.finished(read_file, enumerate(pieces)))

    def has(self, path: Path) -> bool:
        """Whether this file is read by workers."""
        return path in self._pieces

    def read(self, path: Path) -> Iterator[Batch]:
        """The batches of the next file. Errors: Trouble where it could not be read, after what was read of it."""
        piece = self._pieces.pop(path)
        result = next(iter(self._results))
        if isinstance(result, Lost):
            raise Trouble(
                "every worker that read this ended: it took too much memory, or a library failed",
                code="file.worker-lost",
                where=piece.entry.name,
                remedy="hand it in alone, without workers",
            )
        yield from read_batches(piece.into)
        piece.into.unlink()
        if result.made is not None:
            raise result.made
