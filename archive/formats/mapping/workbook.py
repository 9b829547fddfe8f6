"""Workbooks by python-calamine: values only, nothing is computed or run."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import python_calamine as calamine

from archive.errors import Trouble
from archive.formats.containers import MOST_RATIO, RATIO_FROM
from archive.formats.mapping.uncollected import uncollected
from archive.formats.recognition import Entry

MOST_CELLS = 200_000_000
"""Cells of one sheet; a range beyond that is a damaged or hostile file."""


def sheets(entry: Entry, most: int | None = None) -> Iterator[tuple[str, list[list[Any]]]]:
    """Name and rows of each sheet. Empty cells are None; empty rows below the last filled one are not there.

    most: only so many rows of each sheet are wanted; what was opened for that is kept for the one who reads the
    workbook next, so that it is unpacked once. Errors: Trouble where the file is damaged, encrypted or no workbook.
    """
    key = _key(entry)
    held = _HELD.pop(key, None)
    _HELD.clear()
    if held is None:
        _refuse(entry.path, entry.name)
    try:
        opened = held or _opened(entry)
        if most is not None:
            opened = _HELD[key] = list(opened)
        for name, sheet in opened:
            with uncollected():
                rows = sheet.to_python(skip_empty_area=False, nrows=most)
                rows = [[None if c == "" else c for c in row] if "" in row else row for row in rows]
            yield name, rows
    except calamine.PasswordError:
        raise _locked(entry.name) from None
    except (calamine.CalamineError, OSError, ValueError, MemoryError) as error:
        if "assword" in str(error) or "ncrypt" in str(error):
            raise _locked(entry.name) from None
        raise Trouble(
            "is damaged or not a workbook",
            code="workbook.unreadable",
            where=entry.name,
            found=str(error)[:120],
            remedy="export or download it again",
        ) from None


_HELD: dict[Any, list[tuple[str, Any]]] = {}
"""Name and cells of the sheets of the workbook that was looked at last and is not read yet: at most one."""


def _key(entry: Entry) -> Any:
    stat = entry.path.stat()
    return entry.path, stat.st_size, stat.st_mtime_ns


def _opened(entry: Entry) -> Iterator[tuple[str, Any]]:
    """Name and cells of each sheet. Errors: as python-calamine raises them; Trouble for a sheet that is too large."""
    book = calamine.CalamineWorkbook.from_path(str(entry.path))
    for meta in book.sheets_metadata:
        if meta.typ == calamine.SheetTypeEnum.WorkSheet:
            sheet = book.get_sheet_by_name(meta.name)
            if sheet.total_height * sheet.total_width > MOST_CELLS:
                raise Trouble(
                    "a sheet that is too large",
                    code="workbook.sheet-too-large",
                    where=f"{entry.name}, sheet {meta.name}",
                    found=f"{sheet.total_height} rows of {sheet.total_width} cells",
                    expected=f"at most {MOST_CELLS:,} cells",
                    remedy="save the filled part of the sheet as a workbook of its own",
                )
            yield meta.name, sheet


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
        raise Trouble(
            "is damaged or not a workbook",
            code="workbook.unreadable",
            where=name,
            found=str(error),
            remedy="export or download it again",
        ) from None


def _locked(name: str) -> Trouble:
    return Trouble(
        "is protected with a password",
        code="workbook.password",
        where=name,
        remedy="open it, save it without a password, and hand that in",
    )
