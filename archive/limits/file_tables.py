"""What stands in the files of limits: editions (schemas/limits), limits of a user's own, confirmations.

schemas/limits/README.md explains each key. Frequencies are in MHz, values in the unit of the parameter.
"""

from __future__ import annotations

import datetime
import itertools
from typing import Annotated, Literal

from msgspec import Meta, Struct, field

from archive import vocabulary
from archive.structs import Number, Positive, Text

Confidence = Literal["A", "B", "C"]
Role = Literal["required", "where measured", "advisory", "information"]
Band = tuple[Positive, Positive]
BY_FREQUENCY, BY_LOGARITHM = "straight over f", "straight over lg(f)"


class Steps(Struct, forbid_unknown_fields=True):
    """A term that is a stepped number: each holds up to and including a frequency."""

    steps: Annotated[list[tuple[Number, Number]], Meta(min_length=1)]


Terms = dict[str, str | Steps]


class Bound(Struct, frozen=True, forbid_unknown_fields=True):
    """A cap (calculated values above revert to it) or a floor (values below revert to it)."""

    value: Number
    confidence: Confidence
    sources: tuple[str, ...] = field(name="source", default=())


class Alternative(Struct, frozen=True, forbid_unknown_fields=True):
    """The other half of "3 % or 200 milliohm, whichever is greater": met too where that quantity is at or below it."""

    quantity: str
    value: Number
    confidence: Confidence
    sources: tuple[str, ...] = field(name="source", default=())


class ExemptionTable(Struct, forbid_unknown_fields=True):
    """Points that are for information only: where one of these holds."""

    confidence: Confidence
    sources: tuple[str, ...] = field(name="source", default=())
    il_below: Number | None = None
    fext_above: Number | None = None
    ps_fext_above: Number | None = None


class SegmentTable(Struct, forbid_unknown_fields=True, kw_only=True):
    """A formula from one frequency to another."""

    low: Positive | None = field(name="from", default=None)
    high: Positive | None = field(name="to", default=None)
    formula: str | None = None
    confidence: Confidence | None = None
    sources: tuple[str, ...] = field(name="source", default=())
    note: str = ""
    closed: bool = False
    tabulated_mhz: tuple[Number, ...] = ()
    confidence_between: Confidence | None = None


class LineTable(SegmentTable, forbid_unknown_fields=True, kw_only=True):
    """A line: one formula, pieces, breakpoints or single points."""

    pieces: list[SegmentTable] = []
    points: list[tuple[Positive, Number]] = []
    breakpoints: list[tuple[Positive, Number]] = []
    between_points: Literal["straight over f", "straight over lg(f)"] | None = None
    range_mhz: Band | None = None
    cap: Bound | None = None
    floor: Bound | None = None
    informational: ExemptionTable | list[ExemptionTable] = []
    role: Role = "required"
    clause: str = ""
    variants: dict[str, Number] = {}
    confirmed: str = ""

    def __post_init__(self) -> None:
        _rises(self.range_mhz)
        if any(b[0] <= a[0] for a, b in itertools.pairwise(self.breakpoints or self.points)):
            raise ValueError("breakpoints whose frequencies do not rise")
        if len(self.breakpoints) == 1:
            raise ValueError("a single breakpoint makes no line")
        if self.breakpoints and self.between_points is None:
            raise ValueError("between_points does not say how breakpoints are joined")


class ScalarTable(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A limit that is one number."""

    value: Number
    confidence: Confidence
    sources: tuple[str, ...] = field(name="source", default=())
    role: Role = "required"
    at_mhz: Positive | None = None
    tolerance_percent: Number = 0.0
    tolerance_confidence: Confidence | None = None
    greater_of: Alternative | None = None
    per: Literal["pair", "combination", "ordered", "conductor", "link", "pairset"] | None = None
    clause: str = ""
    note: str = ""
    confirmed: str = ""

    def __post_init__(self) -> None:
        if bool(self.tolerance_percent) != (self.tolerance_confidence is not None):
            raise ValueError("tolerance_percent and tolerance_confidence go together")


class LimitParts(Struct, forbid_unknown_fields=True, kw_only=True):
    """What any declaration of a limit may state."""

    document: str = ""
    clause: str = ""
    note: str = ""
    configuration: str | None = None
    like: str = ""
    confidence_at_most: Confidence | None = None
    without: list[str] = []
    range_mhz: Band | None = None
    connections: int | None = None
    pairs: tuple[str, ...] = ()
    lines: dict[str, LineTable] = {}
    scalars: dict[str, ScalarTable] = {}
    open: dict[str, str] = {}
    also_named: dict[str, str] = {}
    cords: str = ""

    def __post_init__(self) -> None:
        _rises(self.range_mhz)
        known_words("pair", self.pairs, vocabulary.PAIRS)
        known_words("parameter", (*self.lines, *self.scalars), tuple(vocabulary.parameters()))


class LimitTable(LimitParts, forbid_unknown_fields=True, kw_only=True):
    """One limit of an edition: what it states, or what it changes in the limit under it.

    terms: the name of a set of them in the file. read: by source, what was read there as the limit under it has it.
    """

    terms: str | Terms = {}
    read: dict[str, list[str]] = {}


class WholeLimit(LimitParts, forbid_unknown_fields=True, kw_only=True):
    """A limit with everything it takes over, and what was confirmed of it."""

    terms: Terms = {}
    same_as: str = ""
    confirmations: tuple[str, ...] = ()


class EditionHead(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What an edition is and what it rests on."""

    id: Text
    family: Text
    title: Text
    published: str = ""
    inherits: str = ""
    same_as: str = ""
    without: tuple[str, ...] = ()
    renames: dict[str, str] = {}
    also_named: dict[str, str] = {}
    quoted_by: frozenset[str] = frozenset()


class EditionFile(Struct, forbid_unknown_fields=True, kw_only=True):
    """A file of schemas/limits: what an edition states, or what it changed."""

    edition: EditionHead
    terms: dict[str, Terms] = {}
    for_every: dict[str, LimitTable] = {}
    limits: dict[str, LimitTable] = {}


class CordEffect(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What cords add to one parameter: one of per_metre, fixed, joins and follows."""

    per_metre: str = ""
    fixed: str | list[tuple[Positive, str]] = ""
    joins: str = ""
    joins_to_mhz: Positive | None = None
    follows: str = ""
    confidence: Confidence
    sources: tuple[str, ...] = field(name="source", default=())
    note: str = ""


class Cords(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Cords at both ends of a permanent link: their length together, and what they add by parameter."""

    title: Text
    length_m: Positive
    effects: dict[str, CordEffect]

    def __post_init__(self) -> None:
        known_words("parameter", tuple(self.effects), tuple(vocabulary.parameters()))


class OwnLimitFile(LimitParts, forbid_unknown_fields=True, kw_only=True):
    """A limit of a user's own."""

    terms: Terms = {}
    id: Text
    title: Text
    by: Text
    on: datetime.date | None = None


class ConfirmationFile(Struct, forbid_unknown_fields=True, kw_only=True):
    """What a person who owns a standard confirms, replaces or supplies of one limit."""

    limit: Text
    by: Text
    on: datetime.date
    document: Text
    confirms: list[str] = []
    note: str = ""
    range_mhz: Band | None = None
    connections: int | None = None
    terms: Terms = {}
    lines: dict[str, LineTable] = {}
    scalars: dict[str, ScalarTable] = {}

    def __post_init__(self) -> None:
        _rises(self.range_mhz)
        known_words("parameter", (*self.lines, *self.scalars), tuple(vocabulary.parameters()))


def known_words(what: str, used: tuple[str, ...], known: tuple[str, ...]) -> None:
    """Errors: ValueError for the first word that is not known."""
    for word in used:
        if word not in known:
            raise ValueError(f"no such {what}: '{word}' (known: {', '.join(known)})")


def _rises(band: Band | None) -> None:
    if band and band[1] < band[0]:
        raise ValueError(f"a range that runs backwards: {band[0]:g} to {band[1]:g} MHz")
