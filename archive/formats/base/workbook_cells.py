"""Cells of a workbook by python-calamine: values only, nothing is computed or run.

Runs in a process of its own (archive.confined), so that it imports little.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import python_calamine as calamine

from archive.errors import Trouble

MOST_CELLS = 200_000_000
"""Cells of one sheet; a range beyond that is a damaged or hostile file."""

_CELLS_AT_ONCE = 200_000

Row = list[Any]

_HELD: dict[Any, list[tuple[str, Any]]] = {}
"""Name and cells of the sheets of the workbook that was looked at last and is not read yet: one at most."""


def cells(path: str, name: str, most: int | None) -> Iterator[str | list[Row]]:
    """The name of each sheet, and after it its rows, some at a time; an empty cell is None.

    most: only so many rows of each sheet are wanted; what was opened for that is kept for the one who reads the
    workbook next, so that it is unpacked once. Errors: Trouble where the file is damaged, encrypted or no workbook.
    """
    gc.disable()  # it would look at every cell again and again, and there is nothing cyclic among them
    stat = Path(path).stat()
    key = path, stat.st_size, stat.st_mtime_ns
    held = _HELD.pop(key, None)
    _HELD.clear()
    try:
        opened = held or _opened(path, name)
        if most is not None:
            opened = _HELD[key] = list(opened)
        for title, sheet in opened:
            yield title
            rows = sheet.to_python(skip_empty_area=False, nrows=most)
            step = max(1, _CELLS_AT_ONCE // max(1, sheet.total_width))
            for start in range(0, len(rows), step):
                some = rows[start : start + step]
                yield [[None if c == "" else c for c in row] if "" in row else row for row in some]
    except calamine.PasswordError:
        raise _locked(name) from None
    except (calamine.CalamineError, OSError, ValueError) as error:
        if "assword" in str(error) or "ncrypt" in str(error):
            raise _locked(name) from None
        raise damaged(name, str(error)) from None


def _opened(path: str, name: str) -> Iterator[tuple[str, Any]]:
    """Name and cells of each sheet. Errors: as python-calamine raises them; Trouble for a sheet that is too large."""
    book = calamine.CalamineWorkbook.from_path(path)
    for meta in book.sheets_metadata:
        if meta.typ == calamine.SheetTypeEnum.WorkSheet:
            sheet = book.get_sheet_by_name(meta.name)
            if sheet.total_height * sheet.total_width > MOST_CELLS:
                raise Trouble(
                    "a sheet that is too large",
                    code="workbook.sheet-too-large",
                    where=f"{name}, sheet {meta.name}",
                    found=f"{sheet.total_height} rows of {sheet.total_width} cells",
                    expected=f"at most {MOST_CELLS:,} cells",
                    remedy="save the filled part of the sheet as a workbook of its own",
                )
            yield meta.name, sheet


def damaged(name: str, found: str) -> Trouble:
    """Why a workbook is not read."""
    return Trouble(
        "is damaged or not a workbook",
        code="workbook.unreadable",
        where=name,
        found=found[:120],
        remedy="export or download it again",
    )


def _locked(name: str) -> Trouble:
    return Trouble(
        "is protected with a password",
        code="workbook.password",
        where=name,
        remedy="open it, save it without a password, and hand that in",
    )
