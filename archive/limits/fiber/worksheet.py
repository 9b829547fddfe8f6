"""The worksheet of an optical limit, to be ticked or corrected by a person who has the standard, and read back."""

from __future__ import annotations

import csv
import hashlib
import io
from decimal import Decimal
from pathlib import Path

import tomlkit

from archive.errors import Trouble
from archive.limits.fiber.confirmed import parts
from archive.limits.fiber.link_limit import OpticalLimit
from archive.limits.library import version
from archive.limits.worksheet import COLUMNS, HEAD, answer_of, cells_of, date_of, given

Row = tuple[str, str, str, str, str, str]
"""Parameter, part, nm, what the library has, unit, letter."""


def of_application(limit_id: str) -> Trouble:
    """What is said where a worksheet of an application is asked for."""
    return Trouble("an application over fibre has nothing to confirm here", code="limit.worksheet", found=limit_id)


def rows(limit: OpticalLimit) -> list[Row]:
    """Every part of a limit."""
    found: list[Row] = []
    for name, (number, letter) in parts(limit).items():
        part, _, nm = name.partition("-")
        unit = {"coefficient": "dB/km", "directions": ""}.get(part, "dB")
        found.append(("optical_loss", part, nm, "" if number is None else f"{number:g}", unit, letter))
    return found


def write(limit: OpticalLimit) -> bytes:
    """The empty worksheet as a CSV file that spreadsheet programs open."""
    listed, out = rows(limit), io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    columns = ["nm" if name == "mhz" else name for name in COLUMNS]
    head = [["limit", limit.id], ["library", version()], ["sheet", _sheet(limit)]]
    writer.writerows([*head, *([key, ""] for key in HEAD), [], columns])
    for number, row in enumerate(listed, start=1):
        writer.writerow([number, *row, ""])
    return out.getvalue().encode("utf-8-sig")


def read(limit: OpticalLimit, path: Path) -> tuple[bytes, list[str]]:
    """A worksheet that was filled in: the confirmation as a file, and the parts that were left open.

    Errors: Trouble with the row; for a sheet of another limit or of other numbers.
    """
    where, content = str(path), path.read_bytes()
    cells = cells_of(content, where)
    head = {row[0].strip().lower(): row[1].strip() for row in cells if len(row) > 1 and row[0].strip()}
    if head.get("limit") != limit.id or head.get("sheet") != _sheet(limit):
        raise Trouble("this is no worksheet of this limit as it is now", code="limit.worksheet", where=where,
                      found=head.get("limit", ""), expected=limit.id,
                      remedy="make a new one with `muniment limits worksheet`")  # fmt: skip
    names = list(parts(limit))
    values: dict[str, bool | float] = {}
    for row in cells:
        number = row[0].strip() if row else ""
        if not number.isdigit() or not 1 <= int(number) <= len(names):
            continue
        answer = answer_of(row[len(COLUMNS) - 1].strip() if len(row) >= len(COLUMNS) else "", f"{where}, row {number}")
        if answer is not None:
            values[names[int(number) - 1]] = float(answer) if isinstance(answer, Decimal) else answer
    if not values:
        raise Trouble("this worksheet confirms nothing", code="limit.worksheet", where=where,
                      expected="ticks, or numbers, in the last column")  # fmt: skip
    by, document = (given(head, key, where) for key in ("by", "document"))
    note = f"by worksheet {path.name}, SHA-256 {hashlib.sha256(content).hexdigest()}"
    on = date_of(given(head, "on", where), where)
    said = {"limit": limit.id, "by": by, "on": on, "document": document, "note": note, "values": values}
    return tomlkit.dumps(said).encode(), [name for name in names if name not in values]


def _sheet(limit: OpticalLimit) -> str:
    """Stands for the rows, whatever their letters."""
    text = repr([row[:5] for row in rows(limit)])
    return "sheet-" + hashlib.sha256(text.encode()).hexdigest()[:12]
