"""Writes link record CSV: a folder of tables and metadata, or a zip of it."""

from __future__ import annotations

import shutil
import zipfile
from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path

from archive import schemas
from archive.formats.deduplicate_shared import SharedRowFilter
from archive.formats.open_csv import METADATA
from archive.formats.open_csv.cells import header, lines
from archive.tables import Batch, pieces, tables

_POINTS = 2_000_000


def write(batches: Iterable[Batch], out: Path, *, zipped: bool = False) -> None:
    """All tables, those without rows too: a folder, or a zip.

    Errors: ValueError where a batch holds what the form cannot; OSError.
    """
    folder = out.with_name(out.name + ".tables") if zipped else out
    try:
        folder.mkdir()
        (folder / METADATA).write_bytes((schemas.root() / METADATA).read_bytes())
        _tables(batches, folder)
        if zipped:
            _zip(folder, out)
    finally:
        if zipped:
            shutil.rmtree(folder, ignore_errors=True)


def _tables(batches: Iterable[Batch], folder: Path) -> None:
    once = SharedRowFilter()
    with ExitStack() as stack:
        files = {n: stack.enter_context((folder / f"{n}.csv").open("wb")) for n in tables()}
        for name, file in files.items():
            file.write(header(name).encode() + b"\n")
        for batch in batches:
            for part in pieces(batch, _POINTS):
                for name, rows in once.rows(part):
                    for line in lines(name, rows):
                        files[name].write(line.as_buffer())
                        files[name].write(b"\n")


def _zip(folder: Path, out: Path) -> None:
    """A zip that depends on the content alone: fixed order, fixed time."""
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as packed:
        for name in (METADATA, *(f"{n}.csv" for n in tables())):
            info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            with (folder / name).open("rb") as source, packed.open(info, "w", force_zip64=True) as sink:
                shutil.copyfileobj(source, sink, 1 << 20)
