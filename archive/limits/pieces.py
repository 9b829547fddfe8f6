"""From the declaration of a limit to its lines: formulas become functions."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import Any

import numpy as np

from archive import vocabulary
from archive.errors import Trouble
from archive.limits import checks
from archive.limits.formula import RESERVED, Array, Formula, Function, parse
from archive.limits.line import Bound, Line, Piece, Rule

PIECE_KEYS = frozenset({"from", "to", "formula", "confidence", "source", "note", "tabulated_mhz", "confidence_between"})
LINE_KEYS = PIECE_KEYS | {"pieces", "points", "breakpoints", "between_points", "range_mhz", "cap", "floor"}
LINE_KEYS |= {"informational", "role", "clause", "variants", "confirmed"}
RULE_WORDS = ("il_below", "fext_above", "ps_fext_above")
ROLES = ("required", "where measured", "information")
BETWEEN = ("straight over f", "straight over lg(f)")


class Lines:
    """Makes the lines of one limit; a line may be made of others of the same limit."""

    def __init__(self, table: Mapping[str, Any], where: str) -> None:
        self.table, self.where = table, where
        self.terms: Mapping[str, Any] = table.get("terms", {})
        self.declared: Mapping[str, Any] = table.get("lines", {})
        self.done: dict[str, Line] = {}
        self.under_way: list[str] = []
        for name in self.terms:
            if name in RESERVED or name in vocabulary.parameters():
                raise Trouble("a term cannot have this name", where=where, found=f"'{name}'")

    def all(self) -> dict[str, Line]:
        """Every line by parameter, in the order of the vocabulary."""
        for name in self.declared:
            self.line(name)
        return {name: self.done[name] for name in vocabulary.parameters() if name in self.done}

    def line(self, parameter: str) -> Line:
        """One line. Errors: Trouble for what cannot be understood."""
        if parameter in self.done:
            return self.done[parameter]
        if parameter in self.under_way:
            raise Trouble("lines that are made of each other", where=self.where, found=" and ".join(self.under_way))
        checks.one_of(parameter, tuple(vocabulary.parameters()), "parameter", self.where)
        self.under_way.append(parameter)
        self.done[parameter] = self._make(parameter, self.declared[parameter], f"{self.where}, {parameter}")
        self.under_way.pop()
        return self.done[parameter]

    def _make(self, parameter: str, part: Any, where: str) -> Line:
        checks.known(part, LINE_KEYS, where)
        term = vocabulary.parameter(parameter)
        return Line(
            parameter=parameter,
            unit=term.unit,
            sense=term.sense,
            pieces=self._pieces(part, where),
            cap=_bound(part.get("cap"), f"{where}, cap"),
            floor=_bound(part.get("floor"), f"{where}, floor"),
            rules=_rules(part.get("informational"), f"{where}, informational"),
            role=checks.one_of(part.get("role", "required"), ROLES, "role", where),
            clause=str(part.get("clause", "")),
            note=str(part.get("note", "")),
            variants={
                name: checks.number(v, name, where)
                for name, v in checks.mapping(part.get("variants", {}), where).items()
            },
            confirmed=str(part.get("confirmed", "")),
        )

    def _pieces(self, part: Mapping[str, Any], where: str) -> tuple[Piece, ...]:
        if "breakpoints" in part or "points" in part:
            return _from_points(part, where)
        band = checks.span(part.get("range_mhz", self.table.get("range_mhz")), where) or (None, None)
        rows = part.get("pieces")
        if rows is None:
            rows = [{key: value for key, value in part.items() if key in PIECE_KEYS and key != "note"}]
        if not isinstance(rows, list) or not rows:
            raise Trouble("a line without pieces", where=where, expected="pieces, a formula, points or breakpoints")
        made: list[Piece] = []
        for place, row in enumerate(rows, start=1):
            here = f"{where}, piece {place}" if len(rows) > 1 else where
            checks.known(row, PIECE_KEYS, here)
            last = place == len(rows)
            low = checks.number(row.get("from", made[-1].high if made else band[0]), "from", here)
            high = checks.number(row.get("to", band[1] if last else None), "to", here)
            if low <= 0 or high < low or (made and low < made[-1].high):
                raise Trouble("a piece that runs backwards", where=here, found=f"{low:g} to {high:g} MHz")
            made.append(self._piece(row, low, high, last, here))
        return tuple(made)

    def _piece(self, row: Mapping[str, Any], low: float, high: float, closed: bool, where: str) -> Piece:
        if "formula" not in row:
            raise Trouble("a piece without a formula", where=where)
        formula = parse(str(row["formula"]), where)
        value = formula.function({name: self._meaning(name, where) for name in formula.names})
        between = row.get("confidence_between")
        return Piece(
            low=low,
            high=high,
            closed=closed,
            formula=formula.text,
            expanded=self._expanded(formula),
            value=value,
            confidence=checks.letter(row.get("confidence"), where),
            sources=checks.sources(row, where),
            note=str(row.get("note", "")),
            tabulated=tuple(checks.numbers(row.get("tabulated_mhz", ()), "tabulated_mhz", where)),
            between=checks.letter(between, where) if between else "",
            parts=tuple(self.line(name) for name in sorted(formula.names) if name in self.declared),
        )

    def _meaning(self, name: str, where: str, inside: tuple[str, ...] = ()) -> Function:
        """What a name in a formula stands for: connections, a term, or another line of the limit."""
        if name == "n":
            return _constant(checks.number(self.table.get("connections"), "connections", where))
        if name in self.declared:
            return self.line(name).at
        term = self.terms.get(name)
        if isinstance(term, str):
            formula = parse(term, f"{where}, term {name}")
            if name in inside:
                raise Trouble("terms that are made of each other", where=where, found=" and ".join((*inside, name)))
            return formula.function({inner: self._meaning(inner, where, (*inside, name)) for inner in formula.names})
        if isinstance(term, Mapping):
            return _stepped(term.get("steps"), f"{where}, term {name}")
        expected = ", ".join([*self.terms, *self.declared])
        raise Trouble("a formula names something unknown", where=where, found=f"'{name}'", expected=expected)

    def _expanded(self, formula: Formula) -> str:
        """The formula with its terms spelled out behind it, to the last."""
        spelled: dict[str, str] = {}
        waiting = sorted(formula.names)
        while waiting:
            name = waiting.pop(0)
            term = f"{self.table.get('connections')}" if name == "n" else self.terms.get(name)
            if name in spelled or term is None:
                continue
            if isinstance(term, str):
                spelled[name] = term
                waiting += sorted(parse(term).names)
            else:
                spelled[name] = ", ".join(f"{value:g} to {top:g} MHz" for top, value in term["steps"])
        return "; ".join([formula.text, *(f"{name} = {text}" for name, text in spelled.items())])


def _stepped(steps: Any, where: str) -> Function:
    """A number that holds up to and including a frequency, then the next."""
    if not isinstance(steps, list) or not steps or not all(isinstance(s, list) and len(s) == 2 for s in steps):
        raise Trouble("steps that cannot be read", where=where, expected="[[up to MHz, value], ...]")
    tops = np.array([checks.number(s[0], "frequency", where) for s in steps])
    values = np.array([checks.number(s[1], "value", where) for s in steps])

    def value(f: Array) -> Array:
        place = np.searchsorted(tops, f, side="left")
        return np.where(place < len(tops), values[np.minimum(place, len(tops) - 1)], np.nan)

    return value


def _from_points(part: Mapping[str, Any], where: str) -> tuple[Piece, ...]:
    """Breakpoints (straight lines between them) or points (nothing between them)."""
    rows = part.get("breakpoints", part.get("points"))
    if not isinstance(rows, list) or not rows or not all(isinstance(r, list) and len(r) == 2 for r in rows):
        raise Trouble("breakpoints that cannot be read", where=where, expected="[[MHz, value], [MHz, value], ...]")
    pairs = [(checks.number(f, "frequency", where), checks.number(v, "value", where)) for f, v in rows]
    if pairs[0][0] <= 0 or any(b[0] <= a[0] for a, b in itertools.pairwise(pairs)):
        raise Trouble("breakpoints whose frequencies do not rise from above 0", where=where)
    letter, sources = checks.letter(part.get("confidence"), where), checks.sources(part, where)
    if "points" in part:
        note = "at this frequency only"
        return tuple(Piece(f, f, True, f"{v:g}", f"{v:g}", _constant(v), letter, sources, note) for f, v in pairs)
    between = checks.one_of(part.get("between_points"), BETWEEN, "way between breakpoints (between_points)", where)
    if len(pairs) < 2:
        raise Trouble("a single breakpoint makes no line", where=where, expected="at least two")
    over_lg = between == BETWEEN[1]
    x, y = np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])
    text = f"{between}: " + ", ".join(f"{v:g} at {f:g} MHz" for f, v in pairs)

    def value(f: Array) -> Array:
        found: Array = np.interp(np.log10(f), np.log10(x), y) if over_lg else np.interp(f, x, y)
        return found

    return (Piece(pairs[0][0], pairs[-1][0], True, text, text, value, letter, sources),)


def _constant(value: float) -> Function:
    return lambda f: np.full(f.shape, value)


def _bound(part: Any, where: str) -> Bound | None:
    if part is None:
        return None
    checks.known(part, frozenset(["value", "confidence", "source"]), where)
    value = checks.number(part.get("value"), "value", where)
    return Bound(value, checks.letter(part.get("confidence"), where), checks.sources(part, where))


def _rules(part: Any, where: str) -> tuple[Rule, ...]:
    rows = [] if part is None else part if isinstance(part, list) else [part]
    made = []
    for row in rows:
        checks.known(row, frozenset([*RULE_WORDS, "confidence", "source"]), where)
        letter, sources = checks.letter(row.get("confidence"), where), checks.sources(row, where)
        made += [Rule(w, checks.number(row[w], w, where), letter, sources) for w in RULE_WORDS if w in row]
    return tuple(made)
