"""Formulas of limit lines, as they stand in schemas/limits: text in, array function out.

The notation is small on purpose, so that somebody who knows a standard can read and write it:

    19                                        a number, in the unit of the parameter
    24 - 5*lg(f)                              f: frequency in MHz; lg: logarithm to base 10
    1.967*sqrt(f) + 0.023*f + 0.050/sqrt(f)   + - * / ^ and parentheses
    0.9*cable + n*connector                   terms that the file names; n: number of connections of the limit
    next - insertion_loss                     other lines of the same limit
    vsum(cable_next, 2 x connector_next)      voltage sum: -20 lg(10^(-a/20) + 2*10^(-b/20)), decibels added in phase
    psum(a, b)                                power sum:   -10 lg(10^(-a/10) + 10^(-b/10))
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from archive.errors import Trouble

Array = npt.NDArray[np.float64]
Function = Callable[[Array], Array]

_TOKEN = re.compile(r"\s*(?:(?P<number>\d+(?:\.\d*)?|\.\d+)|(?P<name>[a-z_][a-z0-9_]*)|(?P<sign>[-+*/^(),]))")
_ONE = {"sqrt": np.sqrt, "lg": np.log10}
_SUMS = {"vsum": 20.0, "psum": 10.0}
_TWO: dict[str, Any] = {"+": np.add, "-": np.subtract, "*": np.multiply, "/": np.divide, "^": np.power}
RESERVED = frozenset({"f", "n", "x", *_ONE, *_SUMS})
"""Names that a term cannot have."""


@dataclass(frozen=True)
class Formula:
    """A parsed formula: its text and the names it needs besides f."""

    text: str
    names: frozenset[str]
    tree: Any

    def function(self, meanings: Mapping[str, Function]) -> Function:
        """The formula as a function of an array of frequencies in MHz.

        meanings: a function for every name. Errors: KeyError for a name without one.
        """
        return _compile(self.tree, meanings)


def parse(text: str, where: str = "") -> Formula:
    """Reads a formula. Errors: Trouble that names the place in the text."""
    reader = _Reader(text, where)
    tree = reader.sum()
    if reader.token is not None:
        raise reader.trouble("an operator or the end of the formula")
    return Formula(text, frozenset(reader.names), tree)


class _Reader:
    """Recursive descent over the notation of this module. Trees: a number, a name, or (head, part, part)."""

    def __init__(self, text: str, where: str) -> None:
        self.text, self.where, self.place = text, where, 0
        self.names: set[str] = set()
        self.advance()

    def advance(self) -> None:
        """The next token, or None at the end."""
        rest = self.text[self.place :]
        self.start = self.place + len(rest) - len(rest.lstrip())
        if not rest.strip():
            self.token, self.kind = None, ""
            return
        found = _TOKEN.match(self.text, self.place)
        if found is None:
            self.token = rest.strip()[0]
            raise self.trouble("a number, a name or one of + - * / ^ ( ) ,")
        self.kind = found.lastgroup or ""
        self.token, self.place = found.group(self.kind), found.end()

    def trouble(self, expected: str) -> Trouble:
        """The trouble of a token: its place, and what would have fitted."""
        token = f"'{self.token}' at character {self.start + 1}" if self.token else "the end"
        return Trouble(
            "this formula cannot be read",
            code="limit.formula",
            where=self.where,
            found=f"{token} of '{self.text}'",
            expected=expected,
        )

    def take(self, sign: str) -> None:
        """Goes past a sign that must be there."""
        if self.token != sign:
            raise self.trouble(f"'{sign}'")
        self.advance()

    def sum(self) -> Any:
        """product + product - product"""
        tree = self.product()
        while self.token in ("+", "-"):
            sign = self.token
            self.advance()
            tree = (sign, tree, self.product())
        return tree

    def product(self) -> Any:
        """signed * signed / signed"""
        tree = self.signed()
        while self.token in ("*", "/"):
            sign = self.token
            self.advance()
            tree = (sign, tree, self.signed())
        return tree

    def signed(self) -> Any:
        """-signed, or atom ^ signed"""
        if self.token == "-":
            self.advance()
            return ("-", 0.0, self.signed())
        tree = self.atom()
        if self.token == "^":
            self.advance()
            return ("^", tree, self.signed())
        return tree

    def atom(self) -> Any:
        """A number, a name, a function of something, or something in parentheses."""
        token, kind = self.token, self.kind
        if token is None or token == "x" or (kind == "sign" and token != "("):
            raise self.trouble("a number, a name or '('")
        self.advance()
        if kind == "number":
            return float(token)
        if token in _SUMS:
            return (token, self.contributors())
        if token in _ONE:
            self.take("(")
        elif token != "(":
            if token != "f":
                self.names.add(token)
            return token
        tree = self.sum()
        self.take(")")
        return (token, tree) if token in _ONE else tree

    def contributors(self) -> list[tuple[Any, Any]]:
        """(a, 2 x b, n x c): how often, and what."""
        parts: list[tuple[Any, Any]] = []
        if self.token != "(":
            raise self.trouble("'('")
        while not parts or self.token == ",":
            self.advance()
            often, tree = 1.0, self.sum()
            if self.token == "x":
                if not isinstance(tree, float) and tree != "n":
                    raise self.trouble("a number or n before 'x'")
                self.advance()
                often, tree = tree, self.sum()
            parts.append((often, tree))
        self.take(")")
        return parts


def _compile(tree: Any, meanings: Mapping[str, Function]) -> Function:
    if isinstance(tree, float):
        return lambda f: np.full(f.shape, tree)
    if isinstance(tree, str):
        return (lambda f: f) if tree == "f" else meanings[tree]
    head = tree[0]
    if head in _ONE:
        inner, ufunc = _compile(tree[1], meanings), _ONE[head]
        return lambda f: ufunc(inner(f))
    if head in _SUMS:
        scale = _SUMS[head]
        parts = [(_compile(often, meanings), _compile(part, meanings)) for often, part in tree[1]]
        return lambda f: -scale * np.log10(sum(often(f) * 10.0 ** (part(f) / -scale) for often, part in parts))
    left, right, operation = _compile(tree[1], meanings), _compile(tree[2], meanings), _TWO[head]
    return lambda f: operation(left(f), right(f))
