"""Which link each record of a job is of: one label at one place, as an archive counts them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from archive.tables.arrow import Ints
from archive.vocabulary.places import Place, grouped, joined


@dataclass(frozen=True)
class TestedLinks:
    """number: of the link of each record, -1 without a label. places: of each link, each part as any of its records
    gives it. unsure: links whose records may be of others of their label, by number: how many others."""

    number: Ints
    places: Sequence[Place]
    unsure: dict[int, int]


def tested_links(jobs: Iterable[str], labels: Iterable[str], at: Ints, places: Sequence[Place]) -> TestedLinks:
    """The links of records.

    labels: in the form in which they are compared. at: number of each record's place among places. A record that gives
    less of its place joins the one link that it can be of; where it could be of several it is a link by itself.
    """
    keys = list(zip(jobs, labels, at.tolist(), strict=True))
    given: dict[tuple[str, str], list[int]] = {}
    for job, label, n in dict.fromkeys(keys):
        if label:
            given.setdefault((job, label), []).append(n)
    numbers: dict[tuple[str, str, int], int] = {}
    of_link: list[Place] = []
    unsure: dict[int, int] = {}
    for (job, label), spots in given.items():
        groups, doubtful = grouped(places[n] for n in spots)
        home = {p: len(of_link) + i for i, group in enumerate(groups) for p in group}
        of_link += [joined(group) for group in groups]
        for p in (places[n] for n in spots):
            if p in doubtful and p not in home:
                home[p] = len(of_link)
                unsure[len(of_link)] = len(groups)
                of_link.append(p)
        numbers.update({(job, label, n): home[places[n]] for n in spots})
    return TestedLinks(np.array([numbers.get(k, -1) for k in keys], dtype=np.int64), of_link, unsure)
