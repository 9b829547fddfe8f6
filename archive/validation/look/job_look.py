"""Records gathered by link: which tests are of one link, which test of a link is the latest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from archive.tables.arrow import Ints, Words
from archive.validation.look.job_facts import JobFacts
from archive.validation.look.labels import plain
from archive.validation.look.scheduled_links import LineKey, ScheduledLinks
from archive.validation.look.tested_links import TestedLinks, tested_links
from archive.vocabulary.link_counts import REGRADED
from archive.vocabulary.places import PLACE, Place, place, said

_TRACE = "optical-trace"
_RANK = {**dict.fromkeys(REGRADED, 3), _TRACE: 2, "worst-points": 1}


class JobLook:
    """What rules across records look at. Arrays are as long as there are records, unless they say otherwise.

    facts: columns by name. schedule: what was to be built, or None. today: datetime64[D].
    """

    def __init__(self, facts: JobFacts, schedule: ScheduledLinks | None, today: date) -> None:
        self.facts, self.schedule, self.today = facts, schedule, np.datetime64(today, "D")
        self.size = len(facts)

    def __getitem__(self, name: str) -> npt.NDArray[Any]:
        return self.facts[name]

    def labels(self, rows: list[int]) -> list[str]:
        """Link labels of rows."""
        column = self["link_label"]
        return [column[row] for row in rows]

    @cached_property
    def plain(self) -> Words:
        """Labels in the form in which they are compared; look-alikes that the schedule tells apart stay apart."""
        key = self.schedule.key if self.schedule else plain
        return np.array([key(x) for x in self["link_label"]], dtype=object)

    @cached_property
    def links(self) -> TestedLinks:
        """The links of the records: those of one job differ by more than case, blanks and dashes, or by place."""
        return tested_links(self["job_id"], self.plain, self["at"], self._places)

    @property
    def link(self) -> Ints:
        """Number of the link of each record, -1 without a label."""
        return self.links.number

    @cached_property
    def _places(self) -> list[Place]:
        return [place(dict(zip(PLACE, names, strict=True))) for names in self.facts.places]

    @cached_property
    def test(self) -> Ints:
        """Number of the test of each record: records of one link, time and unit are one test. Without a time of day
        every record is a test of its own."""
        if not self.size:
            return np.zeros(0, dtype=np.int64)
        unit = np.unique(self["unit"].astype(str), return_inverse=True)[1]
        alone = np.where((self["time"] < 0) | (self.link < 0), np.arange(self.size), -1)
        keys = np.stack([self.link, self["time"], unit, alone], axis=1)
        return np.unique(keys, axis=0, return_inverse=True)[1].reshape(-1)

    @cached_property
    def when(self) -> Ints:
        """Seconds by which tests are ordered: the time, or noon of the day, -1 where there is no date."""
        if not self.size:
            return np.zeros(0, dtype=np.int64)
        noon = self["day"].astype("datetime64[s]").astype(np.int64) + 43200
        return np.where(self["time"] >= 0, self["time"], np.where(np.isnat(self["day"]), -1, noon))

    @cached_property
    def first_of_test(self) -> Ints:
        """One row for each test."""
        return np.unique(self.test, return_index=True)[1]

    @cached_property
    def by_link(self) -> list[Ints]:
        """For each link, by its number, the rows of its tests (one row per test), in the order of time."""
        rows = self.first_of_test[self.link[self.first_of_test] >= 0]
        order = rows[np.lexsort((rows, self.when[rows], self.link[rows]))]
        edges = np.flatnonzero(np.diff(self.link[order])) + 1
        return np.split(order, edges) if len(order) else []

    @cached_property
    def latest(self) -> list[int]:
        """Row of the latest test of each link."""
        return [int(tests[-1]) for tests in self.by_link]

    @cached_property
    def verdict(self) -> Words:
        """Of each record the instrument's verdict, else our own. What either of them fails does not pass: a job is not
        handed over on a verdict that its own curves contradict."""
        said = self["reported_verdict"]
        known = np.where(np.isin(said.astype(str), ("pass", "fail")), said, self["verdict"])
        return np.where(self["verdict"] == "fail", "fail", known)

    @cached_property
    def label(self) -> list[str]:
        """Label of each link: as scheduled, else as its latest test has it."""
        written = self.labels(self.latest)
        return [self.schedule.label_of(x) or x for x in written] if self.schedule is not None else written

    @cached_property
    def counting(self) -> list[list[int]]:
        """Of each link's tests the latest of those with most evidence, one of each family of limits.

        A trace counts only where nothing else is: it stands beside a loss test.
        """
        return [self._counting(tests.tolist()) for tests in self.by_link]

    def _counting(self, tests: list[int]) -> list[int]:
        families: dict[tuple[str, ...], list[int]] = {}
        for row in tests:
            families.setdefault(tuple(str(self["limit_id"][row]).split("/")[1:]), []).append(row)
        latest = [
            max(rows, key=lambda r: (self.rank(r), self["verdict"][r] != "not graded", self.when[r]))
            for rows in families.values()
        ]
        return [r for r in latest if self["evidence"][r] != _TRACE] or latest

    def rank(self, row: int) -> int:
        """How much a record proves: whole curves or losses, then traces, worst points, a verdict alone."""
        return _RANK.get(str(self["evidence"][row]), 0)

    @cached_property
    def lines(self) -> list[list[LineKey]]:
        """Lines of the schedule that each link may be."""
        if self.schedule is None:
            return [[]] * len(self.label)
        return [self.schedule.candidates(x, at) for x, at in zip(self.label, self.links.places, strict=True)]

    def lines_of(self, row: int | np.integer[Any]) -> list[LineKey]:
        """Lines of the schedule that the link of a record may be, none without a label."""
        return self.lines[self.link[row]] if self.link[row] >= 0 else []

    @cached_property
    def at_line(self) -> dict[LineKey, int]:
        """Number of the link that is a line of the schedule. A label that is there to the letter goes before one that
        means it, else the later link."""
        if self.schedule is None:
            return {}
        exact = [self.schedule.has(x) for x in self.labels(self.latest)]
        order = sorted(range(len(exact)), key=exact.__getitem__)
        return {self.lines[i][0]: i for i in order if len(self.lines[i]) == 1}

    @cached_property
    def open_lines(self) -> dict[int, int]:
        """Links that may be of several scheduled places, by their tests or by one that counts, and of how many."""
        if self.schedule is None:
            return {}
        found = {}
        for i, label in enumerate(self.label):
            if self.schedule.places(label) > 1:
                own = [len(self.schedule.candidates(label, self._places[self["at"][r]])) for r in self.counting[i]]
                if (several := max(len(self.lines[i]), *own)) > 1:
                    found[i] = several
        return found

    def required(self, row: int, column: str) -> str:
        """What the schedule says of the link of a record, "" where it says nothing."""
        return self.schedule.value(self.lines_of(row), column) if self.schedule is not None else ""

    @cached_property
    def _several(self) -> set[tuple[str, str]]:
        """Jobs and labels of which there are several links."""
        count = Counter((self["job_id"][r], self.plain[r]) for r in self.latest)
        return {key for key, n in count.items() if n > 1}

    def named(self, row: int | np.integer[Any]) -> str:
        """The label of a record, with its place where the label alone does not tell links apart."""
        label = str(self["link_label"][row])
        scheduled = self.schedule.places(label) if self.schedule is not None else 0
        if scheduled < 2 and (self["job_id"][row], self.plain[row]) not in self._several:
            return label
        return _at(label, dict(zip(PLACE, self.facts.places[self["at"][row]], strict=True)))

    def line_named(self, line: LineKey) -> str:
        """The label of a line of the schedule, with its place where the label is scheduled at several."""
        if self.schedule is None or self.schedule.places(line[0]) < 2:
            return line[0]
        return _at(line[0], self.schedule.lines[line])

    @cached_property
    def missing(self) -> list[LineKey]:
        """Lines of the schedule without a test, in its order."""
        return [key for key in self.schedule.lines if key not in self.at_line] if self.schedule is not None else []

    @cached_property
    def unexpected(self) -> list[int]:
        """Links that the schedule does not have, in the order of the records."""
        return [i for i, lines in enumerate(self.lines) if not lines] if self.schedule is not None else []

    @cached_property
    def late(self) -> dict[LineKey, tuple[np.datetime64 | None, np.datetime64]]:
        """Lines of the schedule whose first test, or today where there is none, is after the day they were due: the day
        of that test, and the day they were due."""
        found = {}
        for key, row in self.schedule.lines.items() if self.schedule is not None else ():
            last, link = _day(row["due_on"]), self.at_line.get(key)
            days = self["day"][self.by_link[link]] if link is not None else np.zeros(0, "datetime64[D]")
            first = min(days[~np.isnat(days)], default=None)
            if last is not None and (self.today if first is None else first) > last:
                found[key] = first, last
        return found

    def names(self, rows: Ints) -> tuple[pa.Array, pa.Array]:
        """Record ids and link labels of rows, two text arrays."""
        ids, labels = self["record_id"][rows], self["link_label"][rows]
        return pa.array(list(ids), type=pa.string()), pa.array([x or None for x in labels], type=pa.string())


def _at(label: str, row: Mapping[str, Any]) -> str:
    return f"{label} at {said(row) or 'no stated place'}"


def _day(text: str | None) -> np.datetime64 | None:
    try:
        return np.datetime64(text[:10], "D") if text else None
    except ValueError:
        return None
