"""How sure a placing is: 0.9 and above only where the words are all understood and the cells speak for it."""

from __future__ import annotations

from archive.formats.draft.heading import Heading

STRONG, NEUTRAL, WEAK, AGAINST = 2, 1, 0, -1
"""What the cells say: for it, nothing against it, little, against it."""


def sure(h: Heading, cells: int, text: bool = False, cap: float = 1.0) -> float:
    """Confidence of a placing.

    cells: STRONG, NEUTRAL, WEAK or AGAINST. text: free text, of which no cell can speak for its meaning. cap: the
    most that the rest of the layout allows (names of pairs, the order of a date).
    """
    score = 0.97
    if h.joined:
        score -= 0.04
    if h.guessed:
        score -= 0.12
    score -= 0.12 * len(h.unknown)
    score -= 0.08 * min(2, len([x for x in h.letters if x not in "ldef"]))
    if cells == NEUTRAL:
        score *= 0.95 if text else 0.88
    elif cells == WEAK:
        score *= 0.75
    elif cells == AGAINST:
        score *= 0.4
    return round(max(0.05, min(score, cap)), 2)
