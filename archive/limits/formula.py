"""Formulas of limit lines, as they stand in schemas/limits: text in, array function out.

The notation is small on purpose, so that somebody who knows a standard can read and write it:

    19                                        a number, in the unit of the parameter
    24 - 5*lg(f)                              f: frequency in MHz; lg: logarithm to base 10
    1.967*sqrt(f) + 0.023*f + 0.050/sqrt(f)   + - * / ^ and parentheses
    1.02*cable + 4*connector                  terms that the file names, and other lines of the same limit
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
RESERVED = frozenset({"f", "x", *_ONE, *_SUMS})
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
    """Recursive descent over the notation of this module."""

    def __init__(self, text: str, where: str) -> None:
        self.text, self.where, self.place = text, where, 0
        self.names: set[str] = set()
        self.advance()

    def advance(self) -> None:
        """The next token, or None at the end."""
        self.start = self.place
        if not self.text[self.place :].strip():
            self.token, self.kind = None, ""
            return
        found = _TOKEN.match(self.text, self.place)
        if found is None:
            self.token = self.text[self.place :].strip()[:1]
            raise self.trouble("a number, a name or one of + - * / ^ ( ) ,")
        self.kind = found.lastgroup or ""
        self.token, self.place = found.group(self.kind), found.end()

    def trouble(self, expected: str) -> Trouble:
        found = f"'{self.token}' at character {self.start + 1} of '{self.text}'" if self.token else f"'{self.text}'"
        return Trouble("this formula cannot be read", where=self.where, found=found, expected=expected)

    def take(self, sign: str) -> None:
        if self.token != sign:
            raise self.trouble(f"'{sign}'")
        self.advance()

    def sum(self) -> Any:
        tree = self.product()
        while self.token in ("+", "-"):
            sign = self.token
            self.advance()
            tree = (sign, tree, self.product())
        return tree

    def product(self) -> Any:
        tree = self.signed()
        while self.token in ("*", "/"):
            sign = self.token
            self.advance()
            tree = (sign, tree, self.signed())
        return tree

    def signed(self) -> Any:
        if self.token == "-":
            self.advance()
            return ("-", 0.0, self.signed())
        tree = self.atom()
        if self.token == "^":
            self.advance()
            return ("^", tree, self.signed())
        return tree

    def atom(self) -> Any:
        token, kind = self.token, self.kind
        if kind == "number" and token is not None:
            self.advance()
            return float(token)
        if token == "(":
            self.advance()
            tree = self.sum()
            self.take(")")
            return tree
        if kind == "name" and token is not None and token != "x":
            self.advance()
            if token in _ONE:
                self.take("(")
                tree = (token, self.sum())
                self.take(")")
                return tree
            if token in _SUMS:
                return (token, self.contributors())
            if token != "f":
                self.names.add(token)
            return token
        raise self.trouble("a number, a name or '('")

    def contributors(self) -> list[tuple[float, Any]]:
        """`(a, 2 x b, ...)`: how often, and what."""
        parts: list[tuple[float, Any]] = []
        while not parts or self.token == ",":
            self.advance()
            tree, often = self.sum(), 1.0
            if self.token == "x":
                if not isinstance(tree, float):
                    raise self.trouble("a number before 'x'")
                self.advance()
                often, tree = tree, self.sum()
            parts.append((often, tree))
        self.take(")")
        return parts


def _compile(tree: Any, meanings: Mapping[str, Function]) -> Function:
    if isinstance(tree, float):
        constant = tree
        return lambda f: np.full(f.shape, constant)
    if isinstance(tree, str):
        return (lambda f: f) if tree == "f" else meanings[tree]
    head = tree[0]
    if head in _ONE:
        inner, ufunc = _compile(tree[1], meanings), _ONE[head]
        return lambda f: ufunc(inner(f))
    if head in _SUMS:
        scale = _SUMS[head]
        parts = [(often, _compile(part, meanings)) for often, part in tree[1]]
        return lambda f: -scale * np.log10(sum(often * 10.0 ** (part(f) / -scale) for often, part in parts))
    left, right = _compile(tree[1], meanings), _compile(tree[2], meanings)
    operation: Any = {"+": np.add, "-": np.subtract, "*": np.multiply, "/": np.divide, "^": np.power}[head]
    return lambda f: operation(left(f), right(f))
