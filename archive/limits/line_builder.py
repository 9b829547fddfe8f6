"""From the declaration of a limit to its lines: formulas become functions."""

from __future__ import annotations

import numpy as np

from archive import vocabulary
from archive.errors import Trouble
from archive.limits.file_tables import BY_LOGARITHM, LineTable, SegmentTable, Steps, WholeLimit
from archive.limits.formula import RESERVED, Array, Formula, Function, parse
from archive.limits.line import Exemption, Line, Segment

_RULES = ("il_below", "fext_above", "ps_fext_above")


class LineBuilder:
    """Makes the lines of one limit; a line may be made of others of the same limit. Errors: Trouble."""

    def __init__(self, table: WholeLimit, where: str) -> None:
        self.table, self.where = table, where
        self.terms = table.terms
        self.done: dict[str, Line] = {}
        self.under_way: list[str] = []
        for name in self.terms:
            if name in RESERVED or name in vocabulary.parameters():
                raise _trouble("a term cannot have this name", where, f"'{name}'")

    def all(self) -> dict[str, Line]:
        """Every line by parameter, in the order of the vocabulary."""
        for name in self.table.lines:
            self.line(name)
        return {name: self.done[name] for name in vocabulary.parameters() if name in self.done}

    def line(self, parameter: str) -> Line:
        """One line."""
        if parameter in self.done:
            return self.done[parameter]
        if parameter in self.under_way:
            raise _trouble("lines that are made of each other", self.where, " and ".join(self.under_way))
        self.under_way.append(parameter)
        table, term = self.table.lines[parameter], vocabulary.parameter(parameter)
        exemptions = table.informational if isinstance(table.informational, list) else [table.informational]
        self.done[parameter] = Line(
            parameter=parameter,
            unit=term.unit,
            sense=term.sense,
            segments=self._segments(table, f"{self.where}, {parameter}"),
            cap=table.cap,
            floor=table.floor,
            exemptions=tuple(
                Exemption(word, value, rule.confidence, rule.sources)
                for rule in exemptions
                for word in _RULES
                if (value := getattr(rule, word)) is not None
            ),
            role=table.role,
            clause=table.clause,
            note=table.note,
            variants=table.variants,
            confirmed=table.confirmed,
        )
        self.under_way.pop()
        return self.done[parameter]

    def _segments(self, table: LineTable, where: str) -> tuple[Segment, ...]:
        if table.breakpoints or table.points:
            return _from_points(table, where)
        low, high = table.range_mhz or self.table.range_mhz or (None, None)
        rows = table.pieces or [table]
        made: list[Segment] = []
        for place, row in enumerate(rows, start=1):
            here = f"{where}, piece {place}" if len(rows) > 1 else where
            start = row.low or (made[-1].high if made else low)
            end = row.high or (high if place == len(rows) else None)
            if start is None or end is None:
                raise _trouble("a formula without a beginning or an end", here, expected="range_mhz, or from and to")
            if end < start or (made and start < made[-1].high):
                raise _trouble("a piece that runs backwards", here, f"{start:g} to {end:g} MHz")
            made.append(self._segment(row, start, end, row.closed or place == len(rows), here))
        return tuple(made)

    def _segment(self, row: SegmentTable, low: float, high: float, closed: bool, where: str) -> Segment:
        if row.formula is None:
            raise _trouble("a line without a formula", where, expected="formula, pieces, points or breakpoints")
        formula = parse(row.formula, where)
        value = formula.function({name: self._meaning(name, where) for name in formula.names})
        return Segment(
            low=low,
            high=high,
            closed=closed,
            formula=formula.text,
            expanded=self._expanded(formula),
            value=value,
            confidence=_confidence(row, where),
            sources=row.sources,
            note="" if isinstance(row, LineTable) else row.note,
            tabulated=row.tabulated_mhz,
            between=row.confidence_between or "",
            parts=tuple(self.line(name) for name in sorted(formula.names) if name in self.table.lines),
        )

    def _meaning(self, name: str, where: str, inside: tuple[str, ...] = ()) -> Function:
        """What a name in a formula stands for: connections, a term, or another line of the limit."""
        if name == "n" and self.table.connections is not None:
            return _constant(float(self.table.connections))
        if name in self.table.lines:
            return self.line(name).at
        term = self.terms.get(name)
        if isinstance(term, Steps):
            return _stepped(term)
        if term is None:
            expected = ", ".join(["n (with connections)", *self.terms, *self.table.lines])
            raise _trouble("a formula names something unknown", where, f"'{name}'", expected)
        if name in inside:
            raise _trouble("terms that are made of each other", where, " and ".join((*inside, name)))
        formula = parse(term, f"{where}, term {name}")
        return formula.function({inner: self._meaning(inner, where, (*inside, name)) for inner in formula.names})

    def _expanded(self, formula: Formula) -> str:
        """The formula with its terms spelled out behind it, to the last."""
        spelled: dict[str, str] = {}
        waiting = sorted(formula.names)
        while waiting:
            name = waiting.pop(0)
            term = f"{self.table.connections}" if name == "n" else self.terms.get(name)
            if name in spelled or term is None:
                continue
            if isinstance(term, Steps):
                spelled[name] = ", ".join(f"{value:g} to {top:g} MHz" for top, value in term.steps)
            else:
                spelled[name] = term
                waiting += sorted(parse(term).names)
        return "; ".join([formula.text, *(f"{name} = {text}" for name, text in spelled.items())])


def _trouble(what: str, where: str, found: str = "", expected: str = "") -> Trouble:
    return Trouble(what, code="limit.declaration", where=where, found=found, expected=expected)


def _confidence(row: SegmentTable, where: str) -> str:
    if row.confidence is None:
        raise _trouble("a confidence is missing", where, expected="A, B or C")
    return row.confidence


def _stepped(term: Steps) -> Function:
    """A number that holds up to and including a frequency, then the next."""
    tops, values = np.array(term.steps, np.float64).T

    def value(f: Array) -> Array:
        place = np.searchsorted(tops, f, side="left")
        return np.append(values, np.nan)[place]

    return value


def _from_points(table: LineTable, where: str) -> tuple[Segment, ...]:
    """Breakpoints (straight lines between them) or points (nothing between them)."""
    confidence, sources = _confidence(table, where), table.sources
    if table.points:
        note = "at this frequency only"
        return tuple(
            Segment(f, f, True, f"{v:g}", f"{v:g}", _constant(v), confidence, sources, note) for f, v in table.points
        )
    x, y = np.array(table.breakpoints).T
    text = f"{table.between_points}: " + ", ".join(f"{v:g} at {f:g} MHz" for f, v in table.breakpoints)

    def value(f: Array) -> Array:
        over_logarithm = table.between_points == BY_LOGARITHM
        return np.asarray(np.interp(np.log10(f), np.log10(x), y) if over_logarithm else np.interp(f, x, y))

    return (Segment(x[0].item(), x[-1].item(), True, text, text, value, confidence, sources),)


def _constant(value: float) -> Function:
    return lambda f: np.full(f.shape, value)
