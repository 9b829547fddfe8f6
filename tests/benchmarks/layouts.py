"""Generated layouts: how much of what stands in them arrives, by the draft and by `convert` alone.

There is no peer; figures are shares of the truth of invented documents (tests/formats/layouts), and say their seeds.
`--seeds train:0-99` is for whoever works on reading, `--seeds test:A-B` for figures of documents nobody looked at.

    drafted_right     share of the truth that the drafted mapping reads rightly, mean over documents
    drafted_wrong     what it reads wrongly or invents, as a share of the truth, at most 1 per document
    alone_right       the same for `convert` without a mapping, which uses a draft only where it is sure
    alone_wrong       so this is wrongly sure
    ..._of_items      the same over all items together
    below_half        documents of which `convert` alone read less than half
    silent            those of them where it ended with 0
    broke             commands that ended with a traceback
    lost: ...         what the draft did not read, by kind of item, with the documents that lost most of it
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from typing import Any

from tests.formats.layouts import Outcome, make, score_file, seeds_of
from tests.formats.layouts.scoring import endings, figures

SEEDS = "train:0-59"


def run(quick: bool = False, seeds: str = SEEDS) -> list[dict[str, Any]]:
    """Rows of figures: all documents of a split, then by container, shape, language and habit, then what is lost.

    quick: six documents. seeds: see layouts.seeds_of.
    """
    chosen = seeds_of(seeds)[: 6 if quick else None]
    outcomes = [score_file(make(seed, split)) for split, seed in chosen]
    rows = []
    for split in dict.fromkeys(split for split, _ in chosen):
        of = [o for o in outcomes if o.layout.traits.split == split]
        numbers = [seed for s, seed in chosen if s == split]
        rows.append(
            {"what": f"{split}, {len(of)} seeds from {min(numbers)} to {max(numbers)}", **figures(of), **endings(of)}
        )
        rows += [
            {"what": f"{split}, {name}", **figures(group)}
            for by in (_container, _shape, _language, _outside)
            for name, group in _groups(of, by)
        ]
        rows += _lost(split, of)
    return rows


def _lost(split: str, outcomes: list[Outcome]) -> list[dict[str, Any]]:
    """What is lost by the draft, by what it is of, the most first: items, documents, and the worst three of these."""
    found: dict[str, Counter[int]] = defaultdict(Counter)
    for outcome in outcomes:
        for key, became in outcome.drafted.by_key.items():
            if became["missing"]:
                found[" ".join(key[:2])][outcome.layout.traits.seed] += became["missing"]
    every = sum(o.drafted.of for o in outcomes) or 1
    return [
        {
            "what": f"{split}, lost: {name}",
            "documents": len(seeds),
            "items": seeds.total(),
            "lost_of_items": seeds.total() / every,
            "worst": ", ".join(str(seed) for seed, _ in seeds.most_common(3)),
        }
        for name, seeds in sorted(found.items(), key=lambda x: -x[1].total())
    ]


def _container(outcome: Outcome) -> str:
    return outcome.layout.traits.container


def _shape(outcome: Outcome) -> str:
    return outcome.layout.traits.shape


def _language(outcome: Outcome) -> str:
    return outcome.layout.traits.language


def _outside(outcome: Outcome) -> str:
    return f"habit {outcome.layout.traits.outside}" if outcome.layout.traits.outside else "no habit of its own"


def _groups(outcomes: list[Outcome], by: Callable[[Outcome], str]) -> Iterator[tuple[str, list[Outcome]]]:
    for name in sorted({by(o) for o in outcomes}):
        yield name, [o for o in outcomes if by(o) == name]
