"""Sheets of a workbook, read in a process of its own: the libraries that read these files can abort on one."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path

from archive.confined import Confined
from archive.formats.base.uncollected import uncollected
from archive.formats.base.workbook_cells import Row, cells, damaged
from archive.formats.containers import refuse_bomb
from archive.formats.recognition import Entry


def sheets(entry: Entry, most: int | None = None) -> Iterator[tuple[str, list[Row]]]:
    """Name and rows of each sheet. Empty cells are None; empty rows below the last filled one are not there.

    most: only so many rows of each sheet are wanted. Errors: Trouble where the file is damaged, encrypted or no
    workbook, or reading it passes a bound of archive.confined.
    """
    _refuse(entry.path, entry.name)
    with Confined(entry.name, entry.size) as process:
        stream = process.stream(cells, str(entry.path), entry.name, most)
        name, rows = "", list[Row]()
        while (found := _next(stream)) is not None:
            if isinstance(found, str):
                if name:
                    yield name, rows
                name, rows = found, []
            else:
                rows += found
        if name:
            yield name, rows


def _next(stream: Iterator[str | list[Row]]) -> str | list[Row] | None:
    with uncollected():
        return next(stream, None)


def _refuse(path: Path, name: str) -> None:
    """What a workbook's zip may not be: a bomb."""
    if not zipfile.is_zipfile(path):
        return
    try:
        with zipfile.ZipFile(path) as packed:
            refuse_bomb(packed.infolist(), name, path.stat().st_size)
    except (zipfile.BadZipFile, NotImplementedError) as error:
        raise damaged(name, str(error)) from None
