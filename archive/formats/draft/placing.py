"""Where a column goes, with the score of the evidence for it; tables and layouts of such placings."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from archive.formats.draft import paired
from archive.formats.draft.columns import Seen
from archive.formats.draft.hypotheses import confidence, score_of, weight
from archive.formats.draft.layout import Found
from archive.formats.mapping.target import Target


@dataclass
class Placed:
    """Where a column goes, or could go. to: None where nowhere is known. score: log-odds of the evidence for it.

    options: what the field needs beside (format, words, negative ...). what: which of a quantity's values it is.
    """

    seen: Seen
    to: Target | None
    unit: str = ""
    score: float = 0.0
    reason: str = ""
    options: dict[str, Any] = field(default_factory=dict)
    what: str = ""

    @property
    def source(self) -> str:
        """Name of the column."""
        return self.seen.source

    @property
    def confidence(self) -> float:
        """Probability that the place is right."""
        return confidence(self.score) if self.to is not None else 0.0

    def at_most(self, probability: float, why: str = "") -> Placed:
        """The same, no surer than a probability; why is added to the reason where it changes anything."""
        most = score_of(probability)
        if self.score > most:
            self.score = most
        if why:
            self.reason += f"; {why}"
        return self

    def nowhere(self, why: str) -> None:
        """Takes its place away."""
        self.to, self.score, self.reason = None, 0.0, why


@dataclass
class Meaning:
    """What one row of a table is. rows: links, readings, points, curves, axes. keys: the columns that say which row a
    row is, by name (as row.<name>); words: of those columns, what their words mean; label: the column with the link's
    label; per_record: rows of a record."""

    rows: str
    keys: dict[str, Seen] = field(default_factory=dict)
    words: dict[str, dict[str, str]] = field(default_factory=dict)
    label: Seen | None = None
    per_record: float = 1.0
    reason: str = ""


@dataclass
class PlacedTable:
    """A table (None: the labels) with its meaning, and where its columns go."""

    found: Found | None
    meaning: Meaning | None
    placed: list[Placed] = field(default_factory=list)
    parameters: dict[str, tuple[str, float]] = field(default_factory=dict)
    """Words for quantities with what they mean and how probable that is."""

    @property
    def rows(self) -> str:
        """What its rows are; labels where it is no table."""
        return self.meaning.rows if self.meaning is not None else "labels"

    def at(self, table: str, *names: str) -> list[Placed]:
        """The columns placed in a table of the record, and there under some names (any, where none is given)."""
        return [
            p for p in self.placed if p.to is not None and p.to.table == table and (not names or p.to.name in names)
        ]


@dataclass
class Placing:
    """Where everything goes. tables: the labels first, then the tables."""

    tables: list[PlacedTable]
    scheme: paired.Scheme
    fiber: bool
    negative: bool = False

    @property
    def placed(self) -> list[Placed]:
        """Every column."""
        return [p for t in self.tables for p in t.placed]


@dataclass
class Surroundings:
    """What the rest of the layout says of a column."""

    scheme: paired.Scheme
    fiber: bool
    lengths: Any = None
    """Lengths of the layout in m, or as written where length_unknown; float64 of shape (rows,), or None."""
    delays: Any = None
    """Delays in ns, float64 of shape (rows,), or None."""
    loops: Any = None
    """Loop resistances in ohm, float64 of shape (rows,), or None."""
    length_unknown: bool = False
    ends: dict[str, str] = field(default_factory=dict)
    """Single letters that name ends in headings of this layout, by letter."""
    links: frozenset[str] = frozenset()
    """Labels of links that tables of this layout hold."""


def spoken(s: Seen, cells: str, *, own: bool = True, free: bool = False) -> float:
    """The score of a place that words name. cells: name of the weight of what the cells say. own: its own heading
    says it. free: free text, of which cells say nothing."""
    h = s.heading
    score = weight("word" if own else "around") - weight("unknown") * len(h.unknown)
    score -= weight("letter") * min(2, len([x for x in h.letters if x not in "ldef"]))
    score -= weight("guessed") * h.guessed + weight("joined") * h.joined
    return score + weight("text" if free and cells == "neutral" else cells)


def nowhere(s: Seen, why: str = "") -> Placed:
    """No place for a column, and why."""
    said = "understood in part, but no place fits" if s.heading.says else "nothing in the heading is understood"
    return Placed(s, None, reason=why or said)
