"""The counts of one group, with every number that a share rests on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.store.counting.columns import BITS

Key = tuple[Any, ...]


@dataclass
class RateGroup:
    """Counts of one group. links: graded, each once per configuration and limit family; first_links: links whose
    first complete test is in this group and graded; mix: links by band of length and by limit."""

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
    median: float | None = None
    p5: float | None = None
    lengths: dict[Any, int] = field(default_factory=lambda: defaultdict(int))
    limits: dict[Any, int] = field(default_factory=lambda: defaultdict(int))
    jobs: int | None = None
    effect: float | None = None
    first_effect: float | None = None

    def add(self, state: int, number: int) -> None:
        """Counts some records of one state."""
        s = {word for word, bit in BITS.items() if state & bit}
        decided = bool(s & {"passed", "failed"})
        self.tests += number
        if "first" in s and decided:
            self.first_links += number
            self.first_passed += number * ("passed" in s)
        if "current" not in s:
            return
        if not decided:
            self.not_graded += number
            return
        self.links += number
        self.passed += number * ("passed" in s)
        for word in ("fixed", "retested", "provisional", "by_instrument"):
            setattr(self, word, getattr(self, word) + number * (word in s))
        if "passed" in s:
            for word in ("marginal", "marginal_known"):
                setattr(self, word, getattr(self, word) + number * (word in s))


def total(groups: Sequence[RateGroup]) -> RateGroup:
    """All groups together; margins and jobs are not summed."""
    out = RateGroup(())
    for name in (
        "tests",
        "links",
        "passed",
        "not_graded",
        "first_links",
        "first_passed",
        "fixed",
        "retested",
        "marginal",
        "marginal_known",
        "provisional",
        "by_instrument",
    ):
        setattr(out, name, sum(getattr(g, name) or 0 for g in groups))
    return out
