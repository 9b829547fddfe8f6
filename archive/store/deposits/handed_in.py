"""What a receipt says of the records that were handed in, beside what dedup decided: verdicts, findings, set aside."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

_MOST_ASIDE = 2000
"""Rows of what was set aside that a receipt names; beyond it they are counted."""
_ASIDE = ("path", "place", "link_label", "reason", "found", "expected", "remedy")
_COULD_NOT_LOOK = "could not look"


class HandedIn:
    """Taken in batch by batch while a deposit is made, or from the tables of its bag: both say the same."""

    def __init__(self) -> None:
        self._findings = Counter[tuple[str, str]]()
        self._verdicts = Counter[str]()
        self._reasons = Counter[str]()
        self._aside: list[dict[str, Any]] = []
        self._aside_count = 0

    def add(self, findings: pa.Table, verdicts: pa.Table, set_aside: pa.Table) -> None:
        """Rows of these tables; of several verdicts on a record the first counts, that of the limit it names."""
        raised = findings.filter(pc.not_equal(findings["status"], _COULD_NOT_LOOK))
        self._findings.update(zip(raised["severity"].to_pylist(), raised["rule"].to_pylist(), strict=True))
        seen = set[str]()
        for row in verdicts.select(["record_id", "verdict", "reason"]).to_pylist():
            if row["record_id"] in seen:
                continue
            seen.add(row["record_id"])
            self._verdicts[row["verdict"]] += 1
            if row["verdict"] not in ("pass", "fail") and row["reason"]:
                self._reasons[row["reason"]] += 1
        self._aside_count += set_aside.num_rows
        room = max(0, _MOST_ASIDE - len(self._aside))
        self._aside += set_aside.slice(0, room).select(list(_ASIDE)).to_pylist()

    def plain(self, records: int) -> dict[str, Any]:
        """found: rules that found something, errors first; graded: records by our own verdict, and why some have none;
        aside: what was set aside, as far as it is named. records: that were handed in and are new or read again."""
        order = {"error": 0, "warning": 1, "information": 2}
        found = sorted(self._findings.items(), key=lambda x: (order.get(x[0][0], 3), -x[1], x[0][1]))
        graded = {"pass": self._verdicts["pass"], "fail": self._verdicts["fail"]}
        left = records - graded["pass"] - graded["fail"]
        reasons = [{"reason": why, "records": n} for why, n in self._reasons.most_common()]
        return {
            "found": [{"severity": s, "rule": rule, "count": n} for (s, rule), n in found],
            "graded": {**graded, "not graded": left, "reasons": reasons},
            "aside": self._aside,
        }
