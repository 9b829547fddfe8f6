"""The limit that each record of a batch names, resolved once per distinct wording, configuration and day of test."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property, lru_cache

import numpy as np

from archive import limits
from archive.limits import fiber
from archive.tables.arrow import Bools, Reals, Words


class LimitsOf:
    """ids: limit id of each record, "" where none was resolved. Arrays are as long as the records table.

    words: the words for the limit; configuration and connections: as the record gives them apart from the words; days:
    the day of the test, ISO 8601: an edition that came out later is not meant. optical: of records of optical links the
    class of fiber ("-" where none is known), a blank and the grade of the test cords' plugs; "" for others.
    """

    def __init__(
        self, words: Words, configuration: Words, days: Words, connections: Reals, optical: Words | None = None
    ) -> None:
        self.ids, self.reasons, self.candidates = (np.full(len(words), "", dtype=object) for _ in range(3))
        places: dict[tuple[str, str, str, int], list[int]] = {}
        count = np.nan_to_num(connections, nan=-1).astype(np.int64).tolist()
        for row, key in enumerate(zip(words, configuration, days, count, strict=True)):
            places.setdefault(key, []).append(row)
        for key, rows in places.items():
            limit_id, candidates, reason = resolve(*key)
            self.ids[rows], self.candidates[rows], self.reasons[rows] = limit_id, ", ".join(candidates), reason
        for row, said in enumerate(optical.tolist()) if optical is not None else ():
            if not said:
                continue
            kind, _, grade = said.partition(" ")
            found = fiber.find(words[row], kind.removeprefix("-"), days[row], grade == "reference-grade")
            self.ids[row], self.reasons[row] = found.limit_id or "", found.reason
            self.candidates[row] = ", ".join(found.candidates)

    @cached_property
    def known(self) -> Bools:
        """True where the limit was resolved."""
        return np.asarray(self.ids != "")

    def groups(self) -> Iterator[tuple[limits.Limit, Bools]]:
        """Pairs of limit and mask of the records that name it; limits of optical links are not among them."""
        for limit_id in sorted(set(self.ids[self.known])):
            if limit_id in limits.ids():
                yield limits.get(limit_id), self.ids == limit_id


@lru_cache(maxsize=4096)
def resolve(
    words: str, configuration: str = "", day: str = "", connections: int = -1
) -> tuple[str, tuple[str, ...], str]:
    """Limit id ("" where not resolved), candidates and the reason, for the words of an export.

    What the export says of the configuration apart from the limit helps where the words alone leave it open, in the
    same way as when it is graded. connections: inside the test, -1 where unknown.
    """
    if not words.strip():
        return "", (), "no limit is named"
    found = limits.find(words, day or None)
    if found.limit_id is not None:
        return found.limit_id, (), ""
    wanted = (configuration, f"{configuration}-{connections}")
    nearer = tuple(c for c in found.candidates if configuration and limits.get(c).configuration in wanted)
    if len(nearer) == 1:
        return nearer[0], (), ""
    return "", nearer or tuple(found.candidates), found.reason or "unknown limit"


def meant(words: str) -> tuple[str, ...]:
    """Limits that the words of a contract may mean; none where they are not known."""
    limit_id, candidates, _ = resolve(words)
    optical = fiber.find(words)
    if not limit_id and (optical.limit_id or (optical.candidates and not candidates)):
        return (optical.limit_id,) if optical.limit_id else optical.candidates
    return (limit_id,) if limit_id else candidates
