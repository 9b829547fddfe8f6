"""Worksheets: a limit laid out for a person who has the standard, to be ticked or corrected and read back.

A worksheet is a CSV file. It begins with who read which document, and when; then there is a row for every part of the
limit: formulas, caps, exemptions, single numbers, and the values at the frequencies that standards print. The last
column is the person's: a tick, or what the standard has instead.
"""

from __future__ import annotations

import csv
import datetime
import hashlib
import io
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

import tomlkit

from archive.errors import Trouble
from archive.limits.confirm import keep
from archive.limits.field import printed_frequencies
from archive.limits.library import version
from archive.limits.limit import Limit, Scalar
from archive.limits.line import Line
from archive.limits.show import EXEMPTIONS

HEAD = ("by", "on", "document")
"""What the person fills in above the rows."""
COLUMNS = ("row", "parameter", "part", "mhz", "library", "unit", "confidence", "standard")
TICKS = frozenset({"x", "ok", "yes", "true", "✓", "✔", "☑"})
FORMULA, CAP, FLOOR, EXEMPT, NUMBER, VALUE = "formula", "cap", "floor", "informational", "number", "value"
_KEPT = ("at_mhz", "tolerance_percent", "tolerance_confidence", "per", "role")
_ENCODING = "utf-8-sig"  # spreadsheet programs take plain UTF-8 for the page of the country
Answers = dict["Row", bool | Decimal | None]
"""The person's cell of each row: True (a tick), a number, or None."""


@dataclass(frozen=True)
class Row:
    """One part of a limit. mhz: frequencies as text. library: what the library has, as text."""

    parameter: str
    part: str
    mhz: str
    library: str
    unit: str
    confidence: str


@dataclass
class Filled:
    """What a person confirms by a worksheet: names for `confirms`, numbers that the standard has instead, and what is
    neither, in words."""

    limit: str
    by: str
    on: datetime.date
    document: str
    note: str
    confirms: list[str] = field(default_factory=list)
    scalars: dict[str, dict[str, Any]] = field(default_factory=dict)
    left: list[str] = field(default_factory=list)

    def toml(self) -> str:
        """The confirmation as a file (file_tables.ConfirmationFile)."""
        head = {key: getattr(self, key) for key in ("limit", "by", "on", "document", "note", "confirms")}
        return tomlkit.dumps({**head, **({"scalars": self.scalars} if self.scalars else {})})


def rows(limit: Limit) -> list[Row]:
    """Everything of a limit that can be confirmed; what is shown and never decides is left out.

    Errors: Trouble where the limit has nothing to confirm.
    """
    found = [row for line in limit.lines.values() if line.role != "information" for row in _line_rows(line)]
    found += [_scalar_row(scalar) for scalar in limit.scalars.values() if scalar.role != "information"]
    if not found:
        raise Trouble("this limit has nothing to confirm", code="limit.worksheet", found=limit.id)
    return found


def _line_rows(line: Line) -> Iterator[Row]:
    name, unit = line.parameter, line.unit
    for segment in line.segments:
        span = f"{segment.low:g} to {segment.high:g}" if segment.low < segment.high else f"{segment.low:g}"
        yield Row(name, FORMULA, span, segment.expanded, unit, segment.confidence)
    for part, bound in ((CAP, line.cap), (FLOOR, line.floor)):
        if bound:
            yield Row(name, part, "", f"{bound.value:g}", unit, bound.confidence)
    for rule in line.exemptions:
        yield Row(name, EXEMPT, "", EXEMPTIONS[rule.word].format(value=rule.value), unit, rule.confidence)
    for mhz in values_at(line):
        yield Row(name, VALUE, f"{mhz:g}", f"{line.at(mhz).item():.2f}", unit, str(line.confidence_at(mhz).item()))


def values_at(line: Line) -> list[float]:
    """The frequencies at which values of a line are shown, MHz: those of printed tables in its range, and its ends."""
    low, high = line.range_mhz
    return sorted({low, high, *(f for f in printed_frequencies() if low <= f <= high)})


def _scalar_row(scalar: Scalar) -> Row:
    mhz = f"{scalar.at_mhz:g}" if scalar.at_mhz else ""
    return Row(scalar.parameter, NUMBER, mhz, f"{scalar.value:g}", scalar.unit, scalar.confidence)


def write(limit: Limit) -> bytes:
    """The empty worksheet of a limit, as a CSV file that spreadsheet programs open.

    Rows are numbered, and `sheet` stands for all of them: such programs may change cells that look like dates.
    """
    listed = rows(limit)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    head = [["limit", limit.id], ["library", version()], ["sheet", _sheet(listed)]]
    writer.writerows([*head, *([key, ""] for key in HEAD), [], [*COLUMNS]])
    for number, r in enumerate(listed, start=1):
        writer.writerow([number, r.parameter, r.part, r.mhz, r.library, r.unit, r.confidence, ""])
    return out.getvalue().encode(_ENCODING)


def confirm(filled: Filled, path: Path) -> Path:
    """Keeps what a worksheet confirms; returns where. path: of the worksheet. Errors: Trouble; nothing is kept then."""
    if not filled.confirms and not filled.scalars:
        left = f"{len(filled.left)} parameters left open"
        raise _trouble("this worksheet confirms nothing", str(path), left, "ticks, or numbers, in the last column")
    text = filled.toml()
    return keep(filled.limit, tomllib.loads(text), text.encode(), str(path))


def _sheet(listed: list[Row]) -> str:
    """Stands for the rows, whatever their confidence."""
    text = repr([(row.parameter, row.part, row.mhz, row.library, row.unit) for row in listed])
    return "sheet-" + hashlib.sha256(text.encode()).hexdigest()[:12]


def read(limit: Limit, path: Path) -> Filled:
    """A worksheet that was filled in.

    limit: as the library has it now; a worksheet of other values is refused. Errors: Trouble with the row.
    """
    where, content = str(path), path.read_bytes()
    cells, listed = cells_of(content, where), rows(limit)
    head = {row[0].strip().lower(): row[1].strip() for row in cells if len(row) > 1 and row[0].strip()}
    if head.get("limit") != limit.id:
        raise _trouble("this is no worksheet of this limit", where, f"'{head.get('limit', '')}'", f"'{limit.id}'")
    if head.get("sheet") != _sheet(listed):
        remedy = "make a new one with `muniment limits worksheet`"
        raise Trouble("the limit is not as it was when this worksheet was made", code="limit.worksheet", where=where,
                      remedy=remedy)  # fmt: skip
    by, document = (given(head, key, where) for key in ("by", "document"))
    note = f"by worksheet {path.name}, SHA-256 {hashlib.sha256(content).hexdigest()}"
    filled = Filled(limit.id, by, date_of(given(head, "on", where), where), document, note)
    answers = _answers(listed, cells, where)
    for parameter in dict.fromkeys(row.parameter for row in listed):
        _take(limit, parameter, {row: cell for row, cell in answers.items() if row.parameter == parameter}, filled)
    return filled


def cells_of(content: bytes, where: str) -> list[list[str]]:
    """Cells of a worksheet, row by row. Errors: Trouble where it is not UTF-8."""
    try:
        text = content.decode(_ENCODING)
    except UnicodeDecodeError as error:
        raise _trouble("this file is not UTF-8 text", where, f"byte {error.start}", "CSV saved as UTF-8") from None
    first = text.partition("\n")[0]
    return list(csv.reader(io.StringIO(text), delimiter=max(",;\t", key=first.count)))


def given(head: dict[str, str], key: str, where: str) -> str:
    """What the person wrote above the rows. Errors: Trouble for an empty cell."""
    if not head.get(key):
        raise _trouble(
            f"the worksheet does not say '{key}'", where, "an empty cell", "a text behind it, in the same row"
        )
    return head[key]


def date_of(text: str, where: str) -> datetime.date:
    """A date, ISO 8601 or with points. Errors: Trouble."""
    dotted = re.fullmatch(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", text)
    try:
        return datetime.date.fromisoformat(text if not dotted else "{2}-{1:0>2}-{0:0>2}".format(*dotted.groups()))
    except ValueError:
        raise _trouble("this is not a date", f"{where}, on", f"'{text}'", "a date such as 2026-11-20") from None


def _answers(listed: list[Row], cells: list[list[str]], where: str) -> Answers:
    """The person's cell of every row; None where a row is not there. Errors: Trouble for a row that cannot be read."""
    found: Answers = dict.fromkeys(listed)
    for number, cell in enumerate(cells, start=1):
        place = cell[0].strip() if cell else ""
        if not place.isdigit():
            continue
        here = f"{where}, row {number}"
        if not 1 <= int(place) <= len(listed) or len(cell) < len(COLUMNS) - 1:
            raise _trouble("this row is not of this worksheet", here, f"'{place}'")
        row = listed[int(place) - 1]
        if (cell[1].strip(), cell[2].strip()) != (row.parameter, row.part):
            raise _trouble(
                "this row is not of this worksheet", here, f"'{cell[1]} {cell[2]}'", f"{row.parameter} {row.part}"
            )
        found[row] = answer_of(cell[len(COLUMNS) - 1].strip() if len(cell) >= len(COLUMNS) else "", here)
    return found


def answer_of(cell: str, where: str) -> bool | Decimal | None:
    """True for a tick, a number, None for an empty cell. Errors: Trouble for anything else."""
    if not cell:
        return None
    if cell.lower() in TICKS:
        return True
    try:
        number = Decimal(cell.replace(",", "."))
    except InvalidOperation:
        number = Decimal("nan")
    if not number.is_finite():
        raise _trouble("neither a tick nor a number", where, f"'{cell}'", "x, or what the standard has")
    return number


def _same(row: Row, answer: bool | Decimal | None) -> bool:
    """Is a cell a tick, or the library's number to the places that were written."""
    if not isinstance(answer, Decimal):
        return bool(answer)
    if row.part in (FORMULA, EXEMPT):
        return False
    exponent = answer.as_tuple().exponent
    assert isinstance(exponent, int)
    return abs(Decimal(row.library) - answer) <= Decimal(1).scaleb(exponent) / 2


def _take(limit: Limit, parameter: str, answers: Answers, filled: Filled) -> None:
    """Adds to `filled` what the cells of one parameter say."""
    for row, answer in answers.items():
        if isinstance(answer, Decimal) and not _same(row, answer):
            if row.part == NUMBER:
                scalar = limit.scalars[parameter]
                kept = {key: value for key in _KEPT if (value := getattr(scalar, key)) not in (None, 0.0)}
                filled.scalars[parameter] = {**kept, "value": float(answer)}
                continue
            place = f" at {row.mhz} MHz" if row.mhz else ""
            what = f"the standard has {answer} where the library has {row.library} ({row.part}{place})"
            filled.left.append(f"{parameter}: {what}; give its line in a TOML file")
            return
    parts = [part for part in dict.fromkeys(row.part for row in answers) if part != VALUE]
    wanted = [part for part in parts if not (part == NUMBER and parameter in filled.scalars)]
    confirmed = [p for p in wanted if all(_same(row, answer) for row, answer in answers.items() if row.part == p)]
    if confirmed == parts:
        filled.confirms.append(parameter)
    else:
        filled.confirms += [f"{parameter}.{part}" for part in confirmed]
    if missing := [part for part in wanted if part not in confirmed]:
        filled.left.append(f"{parameter}: {', '.join(missing)} not ticked")


def _trouble(what: str, where: str, found: str = "", expected: str = "") -> Trouble:
    return Trouble(what, code="limit.worksheet", where=where, found=found, expected=expected)
