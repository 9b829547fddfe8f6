"""What a claim file is composed from, gathered once and free of any storage."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from archive.tables import Batch

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Tested:
    """One record of the link. batch: that record alone, with its grades, verdicts and findings."""

    batch: Batch
    digest: str
    deposit: str
    deposited_at: str
    deposited_by: str
    original: str
    relation: str
    standing: bool

    @property
    def record(self) -> Row:
        """Its row of records."""
        return row(self.batch["records"], 0)

    def rows(self, table: str) -> list[dict[str, Any]]:
        """Rows of one of its tables as dicts; not for tables with curves."""
        found: list[dict[str, Any]] = self.batch[table].to_pylist()
        return found

    def verdict(self, limit_id: str | None = None) -> dict[str, Any] | None:
        """Its verdict under one limit, or the first one."""
        for v in self.rows("verdicts"):
            if limit_id is None or v["limit_id"] == limit_id:
                return v
        return None


@dataclass(frozen=True)
class ClaimFacts:
    """Everything about one link. tests: newest first. state: ISO 8601 time of the newest ledger entry."""

    link: str
    job: Row
    place: Row
    tests: Sequence[Tested]
    standing: Tested | None
    why: str
    history: Sequence[Row]
    neighbours: Sequence[Row]
    documents: Sequence[Row]
    proof: Row
    head: str
    entries: int
    state: str
    archive_id: str
    signatures: Sequence[str] = ()
    retest: Tested | None = None
    reason: str = ""
    today_limit: str | None = None
    people: Mapping[str, str] = field(default_factory=dict)


def row(table: Any, index: int) -> dict[str, Any]:
    """One row of a table as a dict."""
    return {name: table.column(name)[index].as_py() for name in table.column_names}
