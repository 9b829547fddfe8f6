"""How many of the links that are counted have a cable of which an asked part is not known, or open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from archive.answers.count_text import percent
from archive.answers.rates.fields import FIELDS, chosen
from archive.answers.rates.source import Choice, CountingSource
from archive.store.counting.columns import BITS, CABLE
from archive.vocabulary import cables
from archive.vocabulary.counted import counted

_UNDECIDED = (cables.OPEN, cables.CONTRADICTED)


@dataclass(frozen=True)
class CableShare:
    """Of links: those of which one part of the cable is unknown, and open or contradicted."""

    part: str
    links: int
    unknown: int
    open: int

    @property
    def text(self) -> str:
        """The shares in a sentence."""
        unknown, undecided = percent(self.unknown / self.links), percent(self.open / self.links)
        return (
            f"{self.part} of the cable: not known for {unknown} of {counted(self.links, 'link')}, open for "
            f"{undecided}; these are in no other group"
        )


def cable_notes(source: CountingSource, choice: Choice, fields: Iterable[str]) -> list[str]:
    """The sentences of `cable_shares`, of parts that are unknown or open anywhere."""
    return [s.text for s in cable_shares(source, choice, fields) if s.unknown or s.open]


def cable_shares(source: CountingSource, choice: Choice, fields: Iterable[str]) -> list[CableShare]:
    """Shares of the parts of cables that links are grouped or chosen by, over the links chosen by everything else."""
    only = [(chosen([name])[0].name, text) for name, text in choice.only]
    asked = {*fields, *(name for name, _ in only)}
    if "cable_type" in asked or choice.filters.cable_type is not None:
        asked |= {"category", "construction"}
    parts = [name for name in CABLE if name in asked]
    if not parts or not source.files.records:
        return []
    others = [(name, text) for name, text in choice.only if chosen([name])[0].name not in (*CABLE, "cable_type")]
    every = replace(choice, filters=replace(choice.filters, cable_type=None), only=others)
    where, values = every.where()
    table, number = source.table(every)
    decides = f"{every.state} & {BITS['current']} > 0 AND {every.state} & {BITS['passed'] | BITS['failed']} > 0"
    counts = ", ".join(
        f"coalesce(sum({number}) FILTER ({FIELDS[p].sql} = 'unknown'), 0)::BIGINT, "
        f"coalesce(sum({number}) FILTER ({FIELDS[p].sql} IN {_UNDECIDED}), 0)::BIGINT"
        for p in parts
    )
    ((links, *found),) = source.rows(
        f"SELECT coalesce(sum({number}), 0)::BIGINT, {counts} FROM {table} r WHERE {where} AND {decides}", values
    )
    pairs = zip(found[::2], found[1::2], strict=True)
    return (
        [CableShare(p, links, unknown, undecided) for p, (unknown, undecided) in zip(parts, pairs, strict=True)]
        if links
        else []
    )
