"""Gives each column one of the places it may have, each place once: greedily by score, improved by exchanges."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from archive.formats.draft.columns import Seen
from archive.formats.draft.hypotheses import doubt, weight
from archive.formats.draft.placing import Placed, nowhere

_OFTEN = frozenset(("far", "frequencies_mhz", "frequencies"))
"""Places that several columns of a table may fill."""

_EVEN = 0.3
"""Log-odds by which one column must be ahead of another to keep a place that both may have."""

BLIND = "blind"
"""What of a place for which the cells alone speak."""

Claims = Sequence[tuple[Seen, list[Placed]]]


def assigned(claims: Claims, label: Seen | None) -> list[Placed]:
    """One placing for each column. claims: of each column the places that it may have; label: the column with the
    labels of links, whose place nobody else takes."""
    _sole(claims)
    held: dict[str, Placed] = {}
    mine: dict[int, Placed] = {}
    for p in sorted((p for _, own in claims for p in own if p.score > 0), key=lambda p: _order(p, label)):
        if id(p.seen) not in mine and (_often(p) or str(p.to) not in held):
            mine[id(p.seen)] = p
            held[str(p.to)] = p
    _exchange(claims, mine, held, label)
    return [_settled(s, own, mine.get(id(s)), held, label) for s, own in claims]


def _order(p: Placed, label: Seen | None) -> tuple[Any, ...]:
    return (p.seen is not label, -p.score, p.source.startswith("/"))


def _often(p: Placed) -> bool:
    return p.to is not None and p.to.name in _OFTEN


def _sole(claims: Claims) -> None:
    """Cells that nothing else in the table has speak more clearly."""
    every = [(p, p.to.name) for _, own in claims for p in own if p.to is not None]
    times = Counter(name for _, name in every)
    for p, name in every:
        p.score += weight("own") * (p.what == BLIND and times[name] == 1)


def _exchange(claims: Claims, mine: dict[int, Placed], held: dict[str, Placed], label: Seen | None) -> None:
    """A column without a place takes that of another which has a second one, where both together are better so."""
    by = {id(s): own for s, own in claims}
    for s, own in claims:
        if id(s) in mine:
            continue
        for p in own:
            holder = held.get(str(p.to))
            if p.score <= 0 or holder is None or holder.seen is label or _often(p):
                continue
            other = max(
                (q for q in by[id(holder.seen)] if str(q.to) not in held and q.score > 0),
                key=lambda q: q.score,
                default=None,
            )
            if other is not None and p.score + other.score > holder.score:
                mine[id(s)] = held[str(p.to)] = p
                mine[id(other.seen)] = held[str(other.to)] = other
                break


def _settled(s: Seen, own: list[Placed], got: Placed | None, held: dict[str, Placed], label: Seen | None) -> Placed:
    """What became of a column; where another one might as well have its place, both are less sure."""
    if got is None:
        best = max(own, key=lambda p: p.score, default=None)
        if best is None or best.to is None:
            return best or nowhere(s)
        holder = held.get(str(best.to))
        why = f"could be {best.to}, as {holder.source!r} is" if holder is not None else best.reason
        if holder is not None and holder.seen is not label and holder.score - best.score < weight("rival"):
            outside = best.source.startswith("/") and not holder.source.startswith("/")
            if not outside:
                even = holder.score - best.score < _EVEN
                holder.at_most(doubt("even" if even else "rival"), f"{s.source!r} could be the same")
        return nowhere(s, why)
    return got
