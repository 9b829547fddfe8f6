"""Records gathered by link: which tests are of one link, which test of a link is the latest."""

from __future__ import annotations

from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from archive.tables.arrow import Ints, Words
from archive.validation.look.job_facts import JobFacts
from archive.validation.look.labels import plain
from archive.validation.look.scheduled_links import ScheduledLinks


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
    def link(self) -> Ints:
        """Number of the link of each record, -1 without a label: records of one job whose labels differ by no more
        than case, blanks and kinds of dashes."""
        keys = list(zip(self["job_id"], self.plain, strict=True))
        numbers = {k: i for i, k in enumerate(dict.fromkeys(k for k in keys if k[1]))}
        return np.array([numbers.get(k, -1) for k in keys], dtype=np.int64)

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
        """For each link the rows of its tests (one row per test), in the order of time."""
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
    def missing(self) -> list[str]:
        """Scheduled labels without a record, in the order of the schedule."""
        return self.schedule.missing(self["link_label"]) if self.schedule is not None else []

    @cached_property
    def unexpected(self) -> list[str]:
        """Labels of records that the schedule does not have, in the order of the records."""
        return self.schedule.unexpected(self["link_label"]) if self.schedule is not None else []

    @cached_property
    def late(self) -> dict[str, tuple[np.datetime64 | None, np.datetime64]]:
        """Scheduled labels whose first test, or today where there is none, is after the day they were due: the day of
        that test, and the day they were due."""
        first: dict[str, np.datetime64] = {}
        for label, day in zip(self["link_label"], self["day"], strict=True):
            name = self.schedule.label_of(label) if self.schedule is not None else None
            if name and not np.isnat(day):
                first[name] = min(first.get(name, day), day)
        due = {label: _day(row["due_on"]) for label, row in self.schedule.rows.items()} if self.schedule else {}
        return {
            label: (first.get(label), last)
            for label, last in due.items()
            if last is not None and first.get(label, self.today) > last
        }

    def names(self, rows: Ints) -> tuple[pa.Array, pa.Array]:
        """Record ids and link labels of rows, two text arrays."""
        ids, labels = self["record_id"][rows], self["link_label"][rows]
        return pa.array(list(ids), type=pa.string()), pa.array([x or None for x in labels], type=pa.string())


def _day(text: str | None) -> np.datetime64 | None:
    try:
        return np.datetime64(text[:10], "D") if text else None
    except ValueError:
        return None
