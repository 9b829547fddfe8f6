"""Links that several units tested: what each unit found there, job by job."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from archive.answers.inference.same_links import LinkPairs, PairSlope, paired_slopes
from archive.answers.rates.source import Choice, CountingSource
from archive.store.counting.columns import BITS

LEADING = "leading"
LEAST_LINKS = 3
"""Fewer links of two jobs are not compared: one odd link would be half of their median (own choice)."""


def margin_column(parameter: str) -> str:
    """Name of the column of margins of records. parameter: or LEADING, for the leading margin."""
    return "leading_margin_db" if parameter == LEADING else f"margin_{parameter}"


def month_of(day: str | None) -> int | None:
    """Months since year 0 of a day in ISO 8601; None where it is none."""
    try:
        return int(day[:4]) * 12 + int(day[5:7]) - 1 if day else None
    except ValueError:
        return None


class SameLinks:
    """Tests of one link by two units, of which the earlier passed: what failed may have been mended in between.

    serials: of the units that are compared, in the order of their numbers. links: of each, how many were tested by
    another of them, too.
    """

    def __init__(self, source: CountingSource, choice: Choice, parameter: str, serials: Sequence[str]) -> None:
        self._rows = _rows(source, choice, margin_column(parameter), serials)
        self._number = {s: i for i, s in enumerate(serials)}
        self.links = [0] * len(serials)
        for row in self._rows:
            for serial in (row["serial"], row["other"]):
                self.links[self._number[serial]] += row["n"]

    def pairs(self, by_calibration: set[str]) -> LinkPairs | None:
        """The rows, or None. by_calibration: units whose months count since their calibration, others by date."""

        def months(serial: str, month: int, calibrated_on: str | None) -> float | None:
            since = month_of(calibrated_on) if serial in by_calibration else 0
            return None if since is None else float(max(0, month - since))

        listed = []
        for r in self._rows:
            at = months(r["serial"], r["month"], r["calibrated_on"])
            other = months(r["other"], r["other_month"], r["other_calibrated_on"])
            if at is not None and other is not None:
                listed.append((r["difference"], self._number[r["serial"]], self._number[r["other"]], at, other))
        if not listed:
            return None
        difference, unit, by, at_months, other_months = (np.array(column) for column in zip(*listed, strict=True))
        return LinkPairs(difference, unit.astype(np.int64), by.astype(np.int64), at_months, other_months)

    def slopes(self, pairs: LinkPairs | None) -> list[PairSlope | None]:
        """What the pairs alone say of each unit."""
        found = None if pairs is None else paired_slopes(pairs, len(self.links))
        return [None] * len(self.links) if found is None else found.against_others()


def _rows(source: CountingSource, choice: Choice, margin: str, serials: Sequence[str]) -> list[dict[str, Any]]:
    """Median difference by the units and jobs of the earlier and the later test."""
    where, values = choice.where()
    listed = f"${len(values) + 1}"
    other = (
        f"SELECT unit, local_serial, job_id, calibrated_on, limit_id, year * 12 + month - 1 AS month, "
        f"coalesce(tested_local, tested_at) AS time, {margin} AS margin FROM {source.records} WHERE "
        f"state & {BITS['live']} > 0 AND state & {BITS['copied']} = 0 AND {margin} IS NOT NULL AND month IS NOT NULL "
        f"AND list_contains({listed}, local_serial)"
    )
    return source.arrow(  # type: ignore[no-any-return]
        f"SELECT r.local_serial AS serial, o.local_serial AS other, coalesce({source.job}, '') AS job, "
        "coalesce(o.job_id, '') AS other_job, r.calibrated_on AS calibrated_on, "
        "o.calibrated_on AS other_calibrated_on, median(r.year * 12 + r.month - 1)::INTEGER AS month, "
        f"median(o.month)::INTEGER AS other_month, median(r.{margin} - o.margin)::DOUBLE AS difference, "
        f"count(DISTINCT r.unit) AS n FROM {source.records} r JOIN ({other}) o ON o.unit = r.unit "
        "AND o.local_serial <> r.local_serial AND o.limit_id IS NOT DISTINCT FROM r.limit_id "
        f"AND coalesce(r.tested_local, r.tested_at) < o.time WHERE {where} AND r.state & {BITS['copied']} = 0 "
        f"AND {choice.state} & {BITS['passed']} > 0 AND r.{margin} IS NOT NULL AND r.month IS NOT NULL "
        f"AND list_contains({listed}, r.local_serial) GROUP BY ALL HAVING n >= {LEAST_LINKS} ORDER BY ALL",
        [*values, list(serials)],
    ).to_pylist()
