"""A document between its truth and its container: sheets of labels, tables and lines, with cells already written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from tests.formats.layouts.pen import Cell


@dataclass
class Column:
    """parts: words of its heading, quantity first; unit: as written, or empty; role: what it is."""

    parts: tuple[str, ...]
    unit: str = ""
    role: tuple[str, ...] = ()


@dataclass
class Table:
    """Rows under headings. rows may be None where the document leaves a blank line."""

    columns: list[Column]
    rows: list[list[Cell] | None]
    title: str = ""


@dataclass
class Labels:
    """Names and values, one under the other."""

    pairs: list[tuple[str, str, Cell]]
    """Name, unit, value."""
    title: str = ""


@dataclass
class Sheet:
    """What one sheet, file or text holds, from top to bottom. A str is a line of its own."""

    name: str
    parts: list[Table | Labels | str] = field(default_factory=list)


Key = tuple[str, ...]


class Facts:
    """What a reader can find in the document: per test, each item under its key.

    Keys: ("field", name), ("scalar", quantity, pair), ("worst", parameter, end, pairing, column),
    ("curve", parameter, end, pairing, origin). Values: text, bool, float, or ((MHz, ..), (dB, ..)) for a curve.
    """

    def __init__(self, tests: int) -> None:
        self.tests: list[dict[Key, object]] = [{} for _ in range(tests)]

    def add(self, test: int, key: Key, value: object) -> None:
        """Notes an item that stands in the document."""
        self.tests[test][key] = value

    def point(self, test: int, key: Key, frequency: float, value: float) -> None:
        """Notes one point of a curve."""
        f, v = self.tests[test].get(key, ((), ()))  # type: ignore[misc]
        self.tests[test][key] = ((*f, frequency), (*v, value))

    def curve(self, test: int, key: Key, frequencies: Sequence[float], values: Sequence[float]) -> None:
        """Notes a whole curve."""
        self.tests[test][key] = (tuple(frequencies), tuple(values))
