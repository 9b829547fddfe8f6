"""Sheets of a workbook, read in a process of its own: the libraries that read these files can abort on one."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path

from archive.confined import Confined
from archive.errors import Trouble
from archive.formats.base.uncollected import uncollected
from archive.formats.base.workbook_cells import Row, cells, damaged
from archive.formats.containers import MOST_RATIO, RATIO_FROM
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
            for info in packed.infolist():
                if info.file_size > RATIO_FROM and info.file_size > MOST_RATIO * max(info.compress_size, 1):
                    raise Trouble(
                        "unpacks to far more than it holds; it is refused",
                        code="workbook.unpacks-too-far",
                        where=f"{name}: {info.filename}",
                        found=f"{info.file_size:,} bytes out of {info.compress_size:,}",
                        remedy="save the sheets you need as a workbook of their own",
                    )
    except zipfile.BadZipFile as error:
        raise damaged(name, str(error)) from None
