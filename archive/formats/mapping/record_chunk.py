"""RecordChunk: some whole records of a file on their way to a batch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from archive.formats.mapping.row_frame import Problem, RowFrame
from archive.tables.arrow import Ints

MOST_POINTS = 4_000_000
"""Cells of curves in one chunk, about."""

MOST_BYTES = 8 * MOST_POINTS
"""Bytes of rows in one chunk, about."""


@dataclass
class Counted:
    """Cells of records that the reader counts itself (XML and JSON): mapped and ignored of each record, and those that
    are neither, as record (-1: of none, and of all), name and text. *_around: cells that stand around the records."""

    mapped: Ints
    ignored: Ints
    loose: list[tuple[int, str, str]]
    mapped_around: int = 0
    ignored_around: int = 0


@dataclass
class RecordChunk:
    """places: where each record stands; frames: its rows; text_of: the source text of one record.

    ignored: cells that the mapping ignores by name, beside those of the frames.
    """

    places: Sequence[str]
    frames: Sequence[RowFrame]
    text_of: Callable[[int], str]
    ignored: int = 0
    problems: dict[int, Problem] = field(default_factory=dict)
    """Records that are known to be set aside."""
    counted: Counted | None = None
