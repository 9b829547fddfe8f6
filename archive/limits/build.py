"""From a declaration to a limit: formulas become functions."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from archive import vocabulary
from archive.errors import Trouble
from archive.limits.formula import RESERVED, Array, Formula, Function, parse
from archive.limits.limit import Limit, Scalar
from archive.limits.line import Bound, Line, Piece, Rule

LINE_KEYS = frozenset(
    "pieces formula points breakpoints between_points confidence source tabulated_mhz confidence_between range_mhz cap "
    "floor informational role clause note variants confirmed".split()
)
PIECE_KEYS = frozenset("from to formula confidence source note tabulated_mhz confidence_between".split())
SCALAR_KEYS = frozenset(
    "value confidence source role at_mhz tolerance_percent greater_of per clause note confirmed unit".split()
)
RULE_WORDS = ("il_below", "fext_above", "ps_fext_above")
ROLES = ("required", "where measured", "information")


def build(
    limit_id: str, title: str, table: Mapping[str, Any], *, where: str, own: bool = False, files: tuple[Path, ...] = ()
) -> Limit:
    """A limit from its declaration.

    where: the file, for messages. Errors: Trouble for anything in the declaration that cannot be understood.
    """
    maker = _Maker(table, where)
    made = {name: maker.line(name) for name in table.get("lines", {})}
    lines = {name: made[name] for name in vocabulary.parameters() if name in made}
    scalars = {name: _scalar(name, part, where) for name, part in table.get("scalars", {}).items()}
    parts = limit_id.split("/")
    established = bool(lines or scalars)
    return Limit(
        id=limit_id,
        edition=parts[0],
        title=title,
        document=str(table.get("document", title)),
        designation=parts[1] if len(parts) > 1 else "",
        configuration=str(table.get("configuration", parts[2] if len(parts) > 2 else "")),
        connections=table.get("connections"),
        lines=lines,
        scalars=scalars,
        established=established,
        own=own,
        same_as=str(table.get("same_as", "")),
        clause=str(table.get("clause", "")),
        note=str(table.get("note", "")),
        names={new: old for old, new in table.get("old_names", {}).items() if old in lines},
        open=dict(table.get("open", {})),
        pairs=tuple(table.get("pairs", ())),
        confirmations=tuple(table.get("confirmations", ())),
        files=files,
    )


class _Maker:
    """Makes the lines of one limit; a line may be made of others of the same limit."""

    def __init__(self, table: Mapping[str, Any], where: str) -> None:
        self.table, self.where = table, where
        self.terms: Mapping[str, Any] = table.get("terms", {})
        self.done: dict[str, Line] = {}
        self.under_way: list[str] = []
        for name in self.terms:
            if name in RESERVED or name in vocabulary.parameters():
                raise Trouble("a term cannot have this name", where=where, found=f"'{name}'")

    def line(self, parameter: str) -> Line:
        if parameter in self.done:
            return self.done[parameter]
        if parameter in self.under_way:
            raise Trouble("lines that are made of each other", where=self.where, found=" and ".join(self.under_way))
        if parameter not in vocabulary.parameters():
            expected = ", ".join(vocabulary.parameters())
            raise Trouble("no such parameter", where=self.where, found=f"'{parameter}'", expected=expected)
        self.under_way.append(parameter)
        made = self._line(parameter, self.table["lines"][parameter])
        self.under_way.pop()
        self.done[parameter] = made
        return made

    def _line(self, parameter: str, part: Mapping[str, Any]) -> Line:
        where = f"{self.where}, {parameter}"
        known(part, LINE_KEYS, where)
        term = vocabulary.parameter(parameter)
        role = part.get("role", "required")
        if role not in ROLES:
            raise Trouble("no such role", where=where, found=f"'{role}'", expected=", ".join(ROLES))
        return Line(
            parameter=parameter,
            unit=term.unit,
            sense=term.sense,
            pieces=self._pieces(part, where),
            cap=_bound(part.get("cap"), where),
            floor=_bound(part.get("floor"), where),
            rules=_rules(part.get("informational"), where),
            role=role,
            clause=str(part.get("clause", "")),
            note=str(part.get("note", "")),
            variants=dict(part.get("variants", {})),
            confirmed=str(part.get("confirmed", "")),
        )

    def _pieces(self, part: Mapping[str, Any], where: str) -> tuple[Piece, ...]:
        band = part.get("range_mhz", self.table.get("range_mhz"))
        if "breakpoints" in part or "points" in part:
            return _from_points(part, where)
        rows = part.get("pieces")
        if rows is None:
            keys = PIECE_KEYS - {"note"}
            rows = [{key: value for key, value in part.items() if key in keys}]
        if not isinstance(rows, list) or not rows:
            raise Trouble("a line without pieces", where=where, expected="pieces, a formula, points or breakpoints")
        pieces: list[Piece] = []
        for number, row in enumerate(rows, start=1):
            here = f"{where}, piece {number}" if len(rows) > 1 else where
            known(row, PIECE_KEYS, here)
            last = number == len(rows)
            low = number_of(row.get("from", pieces[-1].high if pieces else (band or [None])[0]), "from", here)
            high = number_of(row.get("to", (band or [None, None])[-1] if last else None), "to", here)
            if high < low or (pieces and low < pieces[-1].high):
                raise Trouble("a piece that runs backwards", where=here, found=f"{low:g} to {high:g} MHz")
            pieces.append(self._piece(row, low, high, last, here))
        return tuple(pieces)

    def _piece(self, row: Mapping[str, Any], low: float, high: float, closed: bool, where: str) -> Piece:
        if "formula" not in row:
            raise Trouble("a piece without a formula", where=where)
        formula = parse(str(row["formula"]), where)
        meanings, parts = self._meanings(formula, where)
        return Piece(
            low=low,
            high=high,
            closed=closed,
            formula=formula.text,
            expanded=self._expanded(formula),
            value=formula.function(meanings),
            confidence=letter_of(row.get("confidence"), where),
            sources=tuple(row.get("source", ())),
            note=str(row.get("note", "")),
            tabulated=tuple(float(f) for f in row.get("tabulated_mhz", ())),
            between=str(row.get("confidence_between", "")),
            parts=parts,
        )

    def _meanings(self, formula: Formula, where: str) -> tuple[dict[str, Function], tuple[Line, ...]]:
        """Functions for the names of a formula, and the lines among them."""
        meanings: dict[str, Function] = {}
        parts: list[Line] = []
        for name in sorted(formula.names):
            if name in self.terms:
                meanings[name] = self._term(name, where)
            elif name in self.table.get("lines", {}):
                line = self.line(name)
                meanings[name] = line.at
                parts.append(line)
            else:
                expected = ", ".join([*self.terms, *self.table.get("lines", {})])
                raise Trouble("a formula names something unknown", where=where, found=f"'{name}'", expected=expected)
        return meanings, tuple(parts)

    def _term(self, name: str, where: str) -> Function:
        term = self.terms[name]
        if isinstance(term, str):
            formula = parse(term, where)
            inner = {other: self._term(other, where) for other in formula.names}
            return formula.function(inner)
        return _stepped(term["steps"])

    def _expanded(self, formula: Formula) -> str:
        """The formula with `where` its terms are spelled out, to the last."""
        spelled: dict[str, str] = {}
        waiting = sorted(formula.names)
        while waiting:
            name = waiting.pop(0)
            if name in spelled or name not in self.terms:
                continue
            term = self.terms[name]
            if isinstance(term, str):
                spelled[name] = term
                waiting += sorted(parse(term).names)
            else:
                spelled[name] = ", ".join(f"{value:g} to {top:g} MHz" for top, value in term["steps"])
        return "; ".join([formula.text, *(f"{name} = {text}" for name, text in spelled.items())])


def _stepped(steps: list[list[float]]) -> Function:
    """A number that holds up to and including a frequency, then the next."""
    tops, values = np.array([s[0] for s in steps]), np.array([s[1] for s in steps])

    def value(f: Array) -> Array:
        place = np.searchsorted(tops, f, side="left")
        inside = place < len(tops)
        return np.where(inside, values[np.minimum(place, len(tops) - 1)], np.nan)

    return value


def _from_points(part: Mapping[str, Any], where: str) -> tuple[Piece, ...]:
    """Breakpoints (straight lines between them) or points (nothing between them)."""
    between = part.get("between_points", "straight over f")
    rows = part.get("breakpoints", part.get("points"))
    if not isinstance(rows, list) or not all(isinstance(r, list) and len(r) == 2 for r in rows) or not rows:
        raise Trouble("breakpoints that cannot be read", where=where, expected="[[MHz, value], [MHz, value], ...]")
    pairs = [(number_of(f, "frequency", where), number_of(v, "value", where)) for f, v in rows]
    if any(b[0] <= a[0] for a, b in zip(pairs, pairs[1:], strict=False)):
        raise Trouble("breakpoints whose frequencies do not rise", where=where)
    letter, sources = letter_of(part.get("confidence"), where), tuple(part.get("source", ()))
    if "points" in part:
        return tuple(
            Piece(f, f, True, f"{v:g}", f"{v:g}", _constant(v), letter, sources, "at this frequency only")
            for f, v in pairs
        )
    if between not in ("straight over f", "straight over lg(f)"):
        raise Trouble(
            "how to go between breakpoints is not said",
            where=where,
            found=f"'{between}'",
            expected="'straight over f' or 'straight over lg(f)'",
        )
    if len(pairs) < 2:
        raise Trouble("a single breakpoint makes no line", where=where, expected="at least two")
    axis = np.log10 if between.endswith("lg(f)") else np.asarray
    x, y = axis(np.array([p[0] for p in pairs])), np.array([p[1] for p in pairs])
    text = f"{between} between " + ", ".join(f"{v:g} at {f:g} MHz" for f, v in pairs)

    def value(f: Array) -> Array:
        return np.interp(axis(f), x, y)

    return (Piece(pairs[0][0], pairs[-1][0], True, text, text, value, letter, sources),)


def _constant(value: float) -> Function:
    return lambda f: np.full(f.shape, value)


def _bound(part: Any, where: str) -> Bound | None:
    if part is None:
        return None
    known(part, frozenset({"value", "confidence", "source"}), f"{where}, cap or floor")
    return Bound(number_of(part.get("value"), "value", where), letter_of(part.get("confidence"), where), _ids(part))


def _rules(part: Any, where: str) -> tuple[Rule, ...]:
    if part is None:
        return ()
    rows = part if isinstance(part, list) else [part]
    rules = []
    for row in rows:
        known(row, frozenset({*RULE_WORDS, "confidence", "source"}), f"{where}, informational")
        for word in RULE_WORDS:
            if word in row:
                value = number_of(row[word], word, where)
                rules.append(Rule(word, value, letter_of(row.get("confidence"), where), _ids(row)))
    return tuple(rules)


def _scalar(name: str, part: Mapping[str, Any], where: str) -> Scalar:
    here = f"{where}, {name}"
    known(part, SCALAR_KEYS, here)
    if name not in vocabulary.parameters():
        raise Trouble("no such parameter", where=here, found=f"'{name}'")
    term = vocabulary.parameter(name)
    other = part.get("greater_of")
    letter = letter_of(part.get("confidence"), here)
    sources = _ids(part)
    if other is not None:
        letter = max(letter, letter_of(other.get("confidence"), here))
        sources += tuple(s for s in _ids(other) if s not in sources)
    return Scalar(
        parameter=name,
        value=number_of(part.get("value"), "value", here),
        unit=term.unit,
        sense=term.sense,
        confidence=letter,
        sources=sources,
        role=str(part.get("role", "required")),
        at_mhz=float(part["at_mhz"]) if "at_mhz" in part else None,
        tolerance_percent=float(part.get("tolerance_percent", 0.0)),
        greater_of=(str(other["quantity"]), float(other["value"])) if other else None,
        per=str(part.get("per", term.per)),
        clause=str(part.get("clause", "")),
        note=str(part.get("note", "")),
        confirmed=str(part.get("confirmed", "")),
    )


def known(part: Any, keys: frozenset[str], where: str) -> None:
    """Refuses a table with a key that nobody reads. Errors: Trouble."""
    if not isinstance(part, Mapping):
        raise Trouble("a table was expected here", where=where, found=f"'{part}'")
    for key in part:
        if key not in keys:
            raise Trouble("unknown key", where=where, found=f"'{key}'", expected=", ".join(sorted(keys)))


def number_of(value: Any, what: str, where: str) -> float:
    """A finite number. Errors: Trouble."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not np.isfinite(value):
        raise Trouble(f"{what} is missing or not a number", where=where, found=f"{value}", expected="a number")
    return float(value)


def letter_of(value: Any, where: str) -> str:
    """A confidence letter. Errors: Trouble."""
    if value not in ("A", "B", "C"):
        raise Trouble("a confidence letter is missing", where=where, found=f"{value}", expected="A, B or C")
    return str(value)


def _ids(part: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(part.get("source", ()))
