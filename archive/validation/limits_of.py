"""The limit that each record of a batch names, resolved once per distinct wording."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache, cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from archive import limits

if TYPE_CHECKING:
    from archive.validation.look import Look


class LimitsOf:
    """ids: limit id of each record, "" where none was resolved. Arrays are as long as the records table."""

    def __init__(self, look: Look) -> None:
        self._words = look.words("limit_found")
        self._configuration = look.words("configuration")
        self.ids = np.full(look.size, "", dtype=object)
        self.reasons = np.full(look.size, "", dtype=object)
        self.candidates = np.full(look.size, "", dtype=object)
        pairs = np.array([f"{w}\n{c}" for w, c in zip(self._words, self._configuration, strict=True)], dtype=object)
        for key in sorted(set(pairs)):
            words, _, configuration = key.partition("\n")
            same = pairs == key
            limit_id, candidates, reason = resolve(words, configuration)
            self.ids[same], self.candidates[same], self.reasons[same] = limit_id, ", ".join(candidates), reason

    @cached_property
    def known(self) -> Any:
        """True where the limit was resolved."""
        return self.ids != ""

    def groups(self) -> Iterator[tuple[Any, Any]]:
        """Pairs of limit and mask of the records that name it."""
        for limit_id in sorted(set(self.ids[self.known])):
            yield limits.get(limit_id), self.ids == limit_id


@cache
def resolve(words: str, configuration: str) -> tuple[str, tuple[str, ...], str]:
    """Limit id ("" where not resolved), candidates and the reason, for the words of an export.

    The configuration that the export gives apart from the limit helps where the words alone leave it open.
    """
    if not words.strip():
        return "", (), "no limit is named"
    found = limits.find(words)
    if found.limit_id is None and configuration:
        nearer = [c for c in found.candidates if c.split("/")[-1].startswith(configuration)]
        if len(nearer) == 1:
            return nearer[0], (), ""
    if found.limit_id is None:
        return "", tuple(found.candidates), found.reason or "unknown limit"
    return found.limit_id, (), ""
