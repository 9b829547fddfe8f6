"""The counts of one group, with every number that a share rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from archive.store.counting.columns import BITS

Key = tuple[Any, ...]


@dataclass
class RateGroup:
    """Counts of one group. links: graded, each once per configuration and limit family; first_links: links whose
    first complete test is in this group and graded; sure: passing links that are neither provisional nor have a later
    fail of less evidence; shaky_fails: failing links whose verdict is provisional; copied, in_doubt: links that would
    count but for that; None: nothing says."""

    key: Key
    tests: int = 0
    links: int = 0
    passed: int = 0
    not_graded: int = 0
    first_links: int = 0
    first_passed: int = 0
    fixed: int | None = 0
    retested: int | None = 0
    marginal: int | None = 0
    marginal_known: int | None = 0
    provisional: int = 0
    by_instrument: int = 0
    copied: int = 0
    in_doubt: int = 0
    later_lesser_fails: int = 0
    sure: int = 0
    shaky_fails: int = 0
    median: float | None = None
    p5: float | None = None

    def add(self, state: int, number: int) -> None:
        """Counts some records of one state."""
        s = {word for word, bit in BITS.items() if state & bit}
        decided = bool(s & {"passed", "failed"})
        self.tests += number
        if "first" in s and decided:
            self.first_links += number
            self.first_passed += number * ("passed" in s)
        self.copied += number * ("copied" in s)
        self.in_doubt += number * ("in_doubt" in s)
        if "current" not in s:
            return
        self.later_lesser_fails += number * ("lesser_fails" in s)
        if not decided:
            self.not_graded += number
            return
        self.links += number
        self.passed += number * ("passed" in s)
        self.sure += number * ("passed" in s and not s & {"provisional", "lesser_fails"})
        self.shaky_fails += number * ("failed" in s and "provisional" in s)
        for word in ("fixed", "retested", "provisional", "by_instrument"):
            setattr(self, word, getattr(self, word) + number * (word in s))
        if "passed" in s:
            for word in ("marginal", "marginal_known"):
                setattr(self, word, getattr(self, word) + number * (word in s))

    @property
    def uncounted(self) -> int:
        """Links that stand in no rate: not graded, copied, in doubt."""
        return self.not_graded + self.copied + self.in_doubt

    @property
    def bounds(self) -> tuple[float, float] | None:
        """The lowest and the highest rate, if all that is uncertain went one way; None where there is no link.

        Uncertain are links not graded, copied or in doubt, provisional verdicts, and passes with a later lesser fail.
        """
        whole = self.links + self.uncounted
        return (self.sure / whole, (self.passed + self.shaky_fails + self.uncounted) / whole) if whole else None


def total(groups: Sequence[RateGroup]) -> RateGroup:
    """All groups together; margins are not summed."""
    out = RateGroup(())
    for name in (f.name for f in fields(RateGroup) if f.name not in ("key", "median", "p5")):
        setattr(out, name, sum(getattr(g, name) or 0 for g in groups))
    return out
