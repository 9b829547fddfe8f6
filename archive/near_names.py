"""Names that somebody may have meant: what to offer where a job, deposit, command or place is not known."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

_MOST = 3
_ALIKE = 0.75


def near(given: str, known: Iterable[str]) -> list[str]:
    """Known names that are nearly the one given, the nearest first: but for case, a slip of the hand, or cut short."""
    listed = list(dict.fromkeys(known))
    folded = {name.casefold(): name for name in reversed(listed)}
    wanted = given.casefold()
    close = [folded[f] for f in difflib.get_close_matches(wanted, folded, n=_MOST, cutoff=_ALIKE)]
    begun = [name for name in listed if len(wanted) >= _MOST and name.casefold().startswith(wanted)]
    return list(dict.fromkeys([*close, *begun]))[:_MOST]


def offered(given: str, known: Iterable[str]) -> str:
    """The near names as what was expected; empty where none is near."""
    return " or ".join(near(given, known))
