"""What else differs between groups: rates within cable type, limit, length and so on, and orders that turn round."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from archive import schemas
from archive.answers.count_text import percent, points
from archive.answers.inference.standardise import Estimate, Standardised
from archive.answers.rates.compare import Told, p_text
from archive.answers.rates.fields import GroupField, chosen
from archive.answers.rates.source import Choice, CountingSource
from archive.answers.rates.strata import Strata, StrataTable
from archive.answers.statistics import holm


class MixSearch:
    """Looks at the mix of the groups of a question.

    keys: of the groups, in their order; names: what they are called; rate: "final" or "first-time".
    """

    def __init__(
        self, source: CountingSource, choice: Choice, fields: Sequence[GroupField], keys: Sequence[Any], rate: str
    ) -> None:
        self._source, self._choice, self._fields, self._rate = source, choice, fields, rate
        self._keys = keys

    def strata(self, by: Sequence[GroupField]) -> Strata:
        """Links by group, job and the values of some fields."""
        return self._table(by).strata([f.name for f in by])

    def _table(self, by: Sequence[GroupField]) -> StrataTable:
        return StrataTable(self._source, self._choice, self._fields, self._keys, self._rate, by)

    def search(self, names: Sequence[str], noun: str) -> tuple[list[Told], list[str]]:
        """Reversals, and mixes that move a rate, over the fields of schemas/rates.toml; what could not be compared."""
        rules = schemas.load("rates.toml")["mix"]
        if len(names) < 2:
            return [], []
        if len(names) > rules["groups"]:
            return [], [f"{len(names)} groups are too many to search for what else differs between them"]
        own = {f.name for f in self._fields}
        for same in rules["same"]:
            own |= set(same) if own & set(same) else set()
        found: list[tuple[int, GroupField, Strata, Standardised]] = []
        apart = []
        fields = chosen([n for n in rules["fields"] if n not in own], self._choice.length_edges)
        table = self._table(fields)
        for field in fields:
            strata = table.strata([field.name])
            if strata.count < 2:
                continue
            for g, made in strata.against_rest()[: 1 if len(names) == 2 else None]:
                if made is None:
                    apart.append(f"{names[g]} ({field.name.replace('_', ' ')})")
                else:
                    found.append((g, field, strata, made))
        told = self._told(found, names, noun, rules)
        notes = [f"no link of another group is like those of {_some(apart)}: nothing can be compared within it"]
        return told, notes if apart else []

    def _told(
        self,
        found: Sequence[tuple[int, GroupField, Strata, Standardised]],
        names: Sequence[str],
        noun: str,
        rules: dict[str, Any],
    ) -> list[Told]:
        turned = holm([_p(s.within) for _, _, _, s in found])
        moved = holm([_p(s.moved) for _, _, _, s in found])
        told = []
        for (g, field, strata, made), p_turned, p_moved in zip(found, turned, moved, strict=True):
            against = names[1] if len(names) == 2 else "all others"
            within, crude = made.within, made.crude
            if made.reversed and p_turned < rules["reversal"]:
                words = _reversal(names[g], against, field, strata, made, g)
                told.append(
                    Told("reversal", noun, names[g], against, within.value, within.low, within.high, p_turned, words)
                )
            elif abs(made.moved.value) >= rules["least"] and p_moved < rules["alpha"]:
                of = field.name.replace("_", " ")
                words = (
                    f"The mix of {of} moves {names[g]} by {_signed(made.moved.value)} points: crude "
                    f"{_signed(crude.value)} against {against}, within {of} {_signed(within.value)} "
                    f"({_signed(within.low)} to {_signed(within.high)}; {percent(made.compared)} of its links "
                    f"compared; p {p_text(p_moved)} corrected)."
                )
                told.append(Told("mix", noun, names[g], against, within.value, within.low, within.high, p_moved, words))
        return sorted(told, key=lambda t: (t.kind != "reversal", t.p))


def _reversal(name: str, against: str, field: GroupField, strata: Strata, made: Standardised, group: int) -> str:
    crude, within = 100 * made.crude.value, 100 * made.within.value
    better = "better" if within > 0 else "worse"
    ends = sorted((abs(100 * made.within.low), abs(100 * made.within.high)))
    here = strata.group == group
    size = np.bincount(strata.stratum[here], strata.links[here], strata.count)
    rest = np.bincount(strata.stratum[~here], strata.links[~here], strata.count)
    apart = size / size.sum() - rest / rest.sum()
    most = int(np.argmax(apart))
    words = field.name.replace("_", " ")
    shares = percent(size[most] / size.sum()), percent(rest[most] / rest.sum())
    return (
        f"Crude, {name} is {points(abs(crude))} points {'worse' if crude < 0 else 'better'} than {against}; within "
        f"{words} it is {points(abs(within))} points {better} ({points(ends[0])} to {points(ends[1])}; "
        f"{percent(made.compared)} of the links compared). The order turns round because {shares[0]} of the links of "
        f"{name} are of {words} {strata.name(most)}, of the others {shares[1]}."
    )


def _p(of: Estimate) -> float:
    """The p, and 1 where it is above what could be told anyway."""
    return 1.0 if of.plainly_likely else of.p


def _signed(share: float) -> str:
    return points(100 * share, signed=True)


def _some(listed: Sequence[str]) -> str:
    return ", ".join(listed[:5]) + (f" and {len(listed) - 5} more" if len(listed) > 5 else "")
