"""Regular expressions that a person writes in a mapping: those that could try for ever are refused.

Python's engine goes back and tries again where a pattern fits in several ways, and a repetition within a repetition, as
in (a+)+, fits in as many ways as there are divisions of the text: 50 letters take years. Such a pattern is refused.
Repetitions one after the other, as in .*,.*,.* fit in a number of ways that grows with a power of the length of the
text; nothing interrupts the engine while it tries them. So such a pattern is tried here on texts that are short enough
for it, and on longer ones in a process of its own, within the bounds of a file (archive.confined).
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass

from archive.confined import Confined

_TOKEN = re.compile(
    r"\\(?:x[0-9a-fA-F]{2}|u[0-9a-fA-F]{4}|U[0-9a-fA-F]{8}|N\{[^}]*\}|.)|\[\^?\]?(?:\\.|[^\]\\])*\]|\((?:\?(?:P<\w+>|P=\w+\)|[:=!>]|<[=!]|[aiLmsux-]+[:)]|#[^)]*\)))?|\)|"
    r"[*+?][?+]?|\{\d*(?:,\d*)?\}[?+]?|.",
    re.DOTALL,
)
_COUNTS = re.compile(r"\{(\d*)(,?)(\d*)\}")

_MOST_STEPS = 500_000_000
"""Of the engine on one text in this process: some seconds at most."""


@dataclass
class _Atom:
    """What a part of a pattern may be: of varying length, or one of several alternatives."""

    varies: bool = False
    alternatives: bool = False


@dataclass(frozen=True)
class PatternMatch:
    """Where a pattern was found: its groups in their order, and those with names."""

    numbered: tuple[str | None, ...]
    named: dict[str, str | None]

    def groups(self) -> tuple[str | None, ...]:
        """As of a match of re."""
        return self.numbered

    def __getitem__(self, name: str) -> str | None:
        return self.named[name]


class BoundedPattern:
    """Patterns of a mapping that no text makes try for ever. sources: several are alternatives of each other."""

    def __init__(self, *sources: str) -> None:
        self.source = sources[0] if len(sources) == 1 else "|".join(f"(?:{s})" for s in sources)
        self._compiled = re.compile(self.source)
        self.longest = min(map(longest, sources)) // len(sources)

    @property
    def names(self) -> list[str]:
        """Names of its groups."""
        return list(self._compiled.groupindex)

    def search(self, text: str) -> re.Match[str] | PatternMatch | None:
        """The first place in a text. Errors: Trouble where a long text takes more time or memory than a file may."""
        return self._compiled.search(text) if len(text) <= self.longest else self._elsewhere("search", text)

    def match(self, text: str) -> re.Match[str] | PatternMatch | None:
        """The same at the beginning of a text."""
        return self._compiled.match(text) if len(text) <= self.longest else self._elsewhere("match", text)

    def _elsewhere(self, how: str, text: str) -> PatternMatch | None:
        with Confined(f"{len(text):,} characters, on which {self.source[:80]!r} is tried", len(text)) as process:
            found = next(process.stream(tried, how, self.source, text), None)
        return None if found is None else PatternMatch(tuple(found[0]), dict(found[1]))


def tried(how: str, pattern: str, text: str) -> Iterator[list[object]]:
    """Groups of a match by number and by name. Runs in the other process."""
    found = getattr(re.compile(pattern), how)(text)
    if found is not None:
        yield [list(found.groups()), [list(pair) for pair in found.groupdict().items()]]


def longest(pattern: str) -> int:
    """Characters of the longest text on which a pattern, which has no fault, ends within _MOST_STEPS steps.

    An upper bound of the steps is: starting places x ways in which the repetitions share out the text x the ways of
    optional parts and alternatives x tokens. A repetition of characters of which none can begin what must follow, as
    in [^,]*, gives nothing back, and adds to the steps instead of multiplying them.
    """
    tokens = _TOKEN.findall(pattern)
    ways, power, adds, branches = 1.0, 0, False, [1]
    for i, token in enumerate(tokens):
        times = _times(token)
        if token.startswith("(") and not token.endswith(")"):
            branches.append(1)
        elif token == "|":
            branches[-1] += 1
        elif token == ")":
            ways *= branches.pop()
        elif times is None or times[0] == times[1]:
            continue
        elif not math.isinf(times[1]):
            ways *= times[1] - times[0] + 1
        elif i + 1 < len(tokens) or len(branches) > 1:  # after one that ends the pattern nothing can fail
            alone = _gives_nothing_back(tokens, i, pattern)
            power, adds = power + (not alone), adds or alone
    anchored = branches[0] == 1 and tokens[:1] in (["^"], [r"\A"])
    power += adds + (not anchored)
    most = _MOST_STEPS / (ways * branches[0] * max(len(tokens), 1))
    return int(most ** (1 / power)) if power else sys.maxsize if most >= 1 else 0


def _gives_nothing_back(tokens: list[str], at: int, pattern: str) -> bool:
    """Whether the repetition at a place is of single characters, of which none can begin what must follow it."""
    repeated, following = tokens[at - 1], tokens[at + 1 : at + 3]
    if following == ["$"]:
        return "(" not in pattern
    optional = len(following) > 1 and (times := _times(following[1])) is not None and times[0] == 0
    if optional or _VERBOSE.search(pattern) or not (_is_set(repeated) and _is_set(following[0])):
        return False
    samples = {*_SAMPLES, *pattern, *(chr(int(code, 16)) for code in _CODES.findall(pattern))}
    return not _members(repeated, samples) & _members(following[0], samples)


def _members(token: str, samples: set[str]) -> set[str]:
    """Those of some characters for which a token may stand, under any flags."""
    either = [re.compile(token, re.DOTALL | flag) for flag in (re.NOFLAG, re.IGNORECASE)]
    return {c for c in samples if any(one.fullmatch(c) for one in either)}


_SAMPLES = [*map(chr, range(256)), *"\u0130\u0394\u0416\u0660\u2003\u20ac\u3042\u4e2d"]
"""Beside the characters of the pattern itself: one or more of each kind that a class may be of."""
_VERBOSE = re.compile(r"\(\?[a-wyzA-Z]*x")
_CODES = re.compile(r"\\(?:x|u|U000)([0-9a-fA-F]{5}|[0-9a-fA-F]{4}|[0-9a-fA-F]{2})")


def _is_set(token: str) -> bool:
    """Whether a token stands for one character out of some."""
    return token[0] not in "()|^$*+?{" and not re.fullmatch(r"\\[ABbZ0-9]", token)


def fault(pattern: str) -> str:
    """Why a pattern is not used, in words; "" where it can be. Errors: none."""
    try:
        re.compile(pattern)
    except re.error as error:
        return f"it is no regular expression: {error}"
    groups, last = [_Atom()], _Atom()
    for token in _TOKEN.findall(pattern):
        if token.startswith("(") and not token.endswith(")"):
            groups.append(_Atom())
            last = _Atom()
        elif token == ")":
            last = groups.pop()
            groups[-1].varies |= last.varies or last.alternatives
        elif token == "|":
            groups[-1].alternatives, last = True, _Atom()
        elif (times := _times(token)) is not None:
            if times[1] > 1 and (last.varies or last.alternatives):
                return f"a repetition ({token}) of a part that itself repeats or has alternatives could try for ever"
            last = _Atom(varies=last.varies or times[0] != times[1])
            groups[-1].varies |= last.varies
        elif re.fullmatch(r"\\[1-9]|\(\?P=\w+\)", token):
            return f"a reference back ({token}) could try for ever"
        else:
            last = _Atom()
    if longest(pattern) < 10:
        return "its optional parts and alternatives fit in too many ways"
    return ""


def _times(token: str) -> tuple[float, float] | None:
    """How often a part stands at least and at most, where the token is a repetition; None where it is none."""
    if token[0] in "*+":
        return (0 if token[0] == "*" else 1), math.inf
    if token[0] == "?":
        return 0, 1
    counts = _COUNTS.match(token)
    if counts is None or not (counts[1] or counts[3]):
        return None
    least = float(counts[1] or 0)
    return least, (float(counts[3] or math.inf) if counts[2] else least)
