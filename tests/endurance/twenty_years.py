"""Twenty simulated years with everything planted, and twenty with nothing, asked what an analyst asks, and scored.

The seeds were not looked at while the methods or their sentences were made. One archive of each kind takes about a
minute; tests/rates/scored.py says what is right, wrong or cannot be told.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.rates import scored
from tests.rates import twenty_years as planted

TOUR = Path(__file__).parents[2] / "schemas/analyst-tour.md"
SEEDS = (7001, 7002, 7003)
_SMALL = planted.Size(years=10, jobs_a_month=5.0, links=10)


def tour(folder: Path, quick: bool) -> Iterator[dict[str, Any]]:
    """Scores by archive, then over all. Errors: AssertionError where a promise is broken."""
    whole: dict[bool, list[scored.Scores]] = {True: [], False: []}
    for seed in SEEDS[:1] if quick else SEEDS:
        for everything in (True, False):
            path = folder / f"{seed}-{'planted' if everything else 'nothing'}"
            truth = planted.build(path, seed, everything, _SMALL if quick else None)
            questions = scored.QUESTIONS + (() if quick else scored.OTHERS)
            found = scored.scored(path, truth, questions)
            whole[everything].append(found)
            if everything and seed == SEEDS[0] and not quick:
                printed = [s for _, _, s in found.sentences]
                missing = [q for q in quoted() if not any(q in s for s in printed)]
                assert not missing, missing
            yield {"what": f"twenty years, seed {seed}", "planted": everything, "links": len(truth.links)} | told(found)
    for everything, listed in whole.items():
        alarms = sum(len(s.alarms) for s in listed)
        wrong = sum(len(s.of(scored.WRONG)) for s in listed)
        expected = sum(s.expected for s in listed)
        held, asked = (sum(getattr(s, n) for s in listed) for n in ("held", "asked"))
        yield {"what": "all", "planted": everything, "alarms": alarms, "wrong": wrong, "expected": round(expected, 2)}
        assert held >= 0.93 * asked, (held, asked)
        assert wrong <= expected + 2 * expected**0.5, (wrong, expected)


def quoted() -> list[str]:
    """Sentences that schemas/analyst-tour.md says are printed."""
    return [line[2:] for line in TOUR.read_text(encoding="utf-8").splitlines() if line.startswith("> ")]


def told(found: scored.Scores) -> dict[str, Any]:
    """Scores in numbers, with the sentences that are wrong."""
    number = Counter(score for score, _, _ in found.sentences)
    scores = {s: number[s] for s in (scored.RIGHT, scored.WRONG, scored.UNTOLD)}
    what = Counter(kind for score, kind, _ in found.sentences if kind in scored.ALARMS and score == scored.RIGHT)
    return scores | {
        "rightly told": dict(what),
        "intervals that hold": f"{found.held} of {found.asked}",
        "false alarms expected": round(found.expected, 2),
        "wrong sentences": found.of(scored.WRONG),
    }
