"""Which records are one link or one test: those are no copies of each other."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from archive.tables.arrow import Bools, Ints
from archive.validation.look import RecordLook
from archive.validation.look.labels import plain
from archive.vocabulary.places import Place, agree


@dataclass
class Identities:
    """Who and when of any number of records, kept small: a number for each link, unit and time."""

    record_ids: list[str] = field(default_factory=list)
    labels: list[str] = field(default_factory=list)
    jobs: list[str] = field(default_factory=list)
    _links: list[int] = field(default_factory=list)
    _units: list[int] = field(default_factory=list)
    _times: list[int] = field(default_factory=list)
    _exact: list[bool] = field(default_factory=list)
    _link_numbers: dict[tuple[str, str, Place], int] = field(default_factory=dict)
    _unit_numbers: dict[str, int] = field(default_factory=dict)
    _made: tuple[Ints, Ints, Ints, Bools] | None = None

    def add(self, look: RecordLook, rows: Ints) -> None:
        """Takes in rows of the records table of a batch."""
        times, precision = look.tested
        serials = look.of_unit("local", "serial")
        labels, jobs, ids = look.words("link_label"), look.words("job_id"), look.ids.to_pylist()
        at = look.local_places
        for row in rows:
            link = (jobs[row], plain(labels[row]), at[row])
            self.record_ids.append(ids[row])
            self.labels.append(labels[row])
            self.jobs.append(jobs[row])
            self._links.append(self._link_numbers.setdefault(link, len(self._link_numbers)))
            self._units.append(self._unit_numbers.setdefault(serials[row], len(self._unit_numbers)))
            known = not np.isnat(times[row]) and precision[row] != "day"
            self._times.append(int(times[row].astype(np.int64)) if known else -1)
            self._exact.append(bool(known))

    def merge(self, other: Identities) -> None:
        """Takes in all records of another one, after those that are here."""
        links = [self._link_numbers.setdefault(link, len(self._link_numbers)) for link in other._link_numbers]
        units = [self._unit_numbers.setdefault(unit, len(self._unit_numbers)) for unit in other._unit_numbers]
        self.record_ids += other.record_ids
        self.labels += other.labels
        self.jobs += other.jobs
        self._links += [links[n] for n in other._links]
        self._units += [units[n] for n in other._units]
        self._times += other._times
        self._exact += other._exact

    def __len__(self) -> int:
        return len(self.record_ids)

    def same(self, a: Ints, b: Ints) -> Bools:
        """True for pairs of records (arrays of their numbers) that are one link, or one test: of the same unit at the
        same time, whatever the label (a rendition, a re-reading, a relabelled test)."""
        links, units, times, exact = self._arrays()
        one_test = exact[a] & exact[b] & (times[a] == times[b]) & (units[a] == units[b])
        return np.asarray(self._one_link(links[a], links[b]) | one_test)

    def _one_link(self, a: Ints, b: Ints) -> Bools:
        """True where two numbers are of one label at places that agree as far as they are given."""
        known = list(self._link_numbers)
        same = a == b
        label_of: dict[tuple[str, str], int] = {}
        of = np.array([label_of.setdefault(k[:2], len(label_of)) for k in known], dtype=np.int64)
        if len(of):
            for i in np.flatnonzero(~same & (of[a] == of[b])).tolist():
                same[i] = agree(known[a[i]][2], known[b[i]][2])
        return np.asarray(same)

    def _arrays(self) -> tuple[Ints, Ints, Ints, Bools]:
        """The numbers as arrays, rebuilt only after records came in."""
        if self._made is None or len(self._made[0]) != len(self._links):
            links, units, times = (np.asarray(x, dtype=np.int64) for x in (self._links, self._units, self._times))
            self._made = links, units, times, np.asarray(self._exact, dtype=bool)
        return self._made
