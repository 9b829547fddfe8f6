"""Regular expressions that a person writes in a mapping: those that could try for ever are refused.

Python's engine goes back and tries again where a pattern fits in several ways, and a repetition within a repetition, as
in (a+)+, fits in as many ways as there are divisions of the text: 50 letters take years.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

_TOKEN = re.compile(
    r"\\.|\[\^?\]?(?:\\.|[^\]\\])*\]|\((?:\?(?:P<\w+>|P=\w+\)|[:=!>]|<[=!]|[aiLmsux-]+[:)]|#[^)]*\)))?|\)|"
    r"[*+?][?+]?|\{\d*(?:,\d*)?\}[?+]?|.",
    re.DOTALL,
)
_COUNTS = re.compile(r"\{(\d*)(,?)(\d*)\}")


@dataclass
class _Atom:
    """What a part of a pattern may be: of varying length, or one of several alternatives."""

    varies: bool = False
    alternatives: bool = False


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
