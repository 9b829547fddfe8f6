"""Records gathered by link: which tests are of one link, which test of a link is the latest."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
import pyarrow as pa

from archive.validation.job.facts import Facts
from archive.validation.job.schedule import Schedule
from archive.validation.labels import plain


class JobLook:
    """What rules across records look at.

    facts: columns by name. link: number of the link of each record, -1 without a label: records of one job whose
    labels differ by no more than case, blanks and kinds of dashes. schedule: what was to be built, or None.
    today: datetime64[D].
    """

    def __init__(self, facts: Facts, schedule: Schedule | None, today: Any) -> None:
        self.facts, self.schedule, self.today = facts, schedule, np.datetime64(today, "D")
        self.size = len(facts)

    def __getitem__(self, name: str) -> Any:
        return self.facts[name]

    @cached_property
    def plain(self) -> Any:
        """Labels in the form in which they are compared; look-alikes that the schedule tells apart stay apart."""
        key = self.schedule.key if self.schedule else plain
        return np.array([key(x) for x in self["link_label"]], dtype=object)

    @cached_property
    def link(self) -> Any:
        """Number of the link of each record."""
        keys = list(zip(self["job_id"], self.plain, strict=True))
        numbers = {k: i for i, k in enumerate(dict.fromkeys(k for k in keys if k[1]))}
        return np.array([numbers.get(k, -1) for k in keys], dtype=np.int64)

    @cached_property
    def test(self) -> Any:
        """Number of the test of each record: records of one link, time and unit are one test. Without a time of day
        every record is a test of its own."""
        keys = np.stack([self.link, self["time"], self._unit], axis=1) if self.size else np.zeros((0, 3), np.int64)
        alone = (self["time"] < 0) | (self.link < 0) if self.size else np.zeros(0, bool)
        keys = np.concatenate([keys, np.where(alone, np.arange(self.size), -1)[:, None]], axis=1)
        return np.unique(keys, axis=0, return_inverse=True)[1].reshape(-1)

    @cached_property
    def _unit(self) -> Any:
        return np.unique(self["unit"].astype(str), return_inverse=True)[1]

    @cached_property
    def when(self) -> Any:
        """Seconds by which tests are ordered: the time, or noon of the day, -1 where there is no date."""
        days = self["day"].astype("datetime64[s]").astype(np.int64) + 43200
        days = np.where(np.isnat(self["day"]), -1, days) if self.size else days
        return np.where(self["time"] >= 0, self["time"], days)

    @cached_property
    def first_of_test(self) -> Any:
        """Rows that stand for their tests, one per test."""
        return np.unique(self.test, return_index=True)[1] if self.size else np.zeros(0, dtype=np.int64)

    def by_link(self) -> list[Any]:
        """For each link the rows of its tests (one row per test), in the order of time."""
        rows = self.first_of_test[self.link[self.first_of_test] >= 0]
        order = rows[np.lexsort((rows, self.when[rows], self.link[rows]))]
        edges = np.flatnonzero(np.diff(self.link[order])) + 1
        return np.split(order, edges) if len(order) else []

    @cached_property
    def verdict(self) -> Any:
        """Of each record the instrument's verdict, else our own. What either of them fails does not pass: a job is not
        handed over on a verdict that its own curves contradict."""
        said = self["reported_verdict"]
        if not self.size:
            return said
        known = np.where(np.isin(said, ("pass", "fail")), said, self["verdict"])
        return np.where(self["verdict"] == "fail", "fail", known)

    def ids(self, rows: Any) -> Any:
        """Record ids of rows, an Arrow array."""
        return pa.array(list(self["record_id"][rows]), type=pa.string())
