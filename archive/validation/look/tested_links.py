"""Which link each record of a job is of: one label at one place, as an archive counts them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

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
    keys = list(zip(jobs, labels, strict=True))
    numbers = {k: i for i, k in enumerate(dict.fromkeys(k for k in keys if k[1]))}
    key = np.array([numbers.get(k, -1) for k in keys], dtype=np.int64)
    known, size = np.flatnonzero(key >= 0), max(1, len(places))
    spots, spot = np.unique(key[known] * size + at[known].astype(np.int64), return_inverse=True)
    given = [places[n] for n in (spots % size).tolist()]
    of_spot, of_link, unsure = np.zeros(len(spots), dtype=np.int64), list[Place](), dict[int, int]()
    edges = [*np.flatnonzero(np.diff(spots // size, prepend=-1)).tolist(), len(spots)]
    for start, end in pairwise(edges):
        groups, doubtful = grouped(given[start:end])
        home = {p: len(of_link) + i for i, group in enumerate(groups) for p in group}
        of_link += [joined(group) for group in groups]
        for p in given[start:end]:
            if p in doubtful and p not in home:
                home[p] = len(of_link)
                unsure[len(of_link)] = len(groups)
                of_link.append(p)
        of_spot[start:end] = [home[p] for p in given[start:end]]
    number = np.full(len(key), -1, dtype=np.int64)
    number[known] = of_spot[spot.reshape(-1)]
    return TestedLinks(number, of_link, unsure)
