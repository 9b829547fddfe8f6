"""What was set aside in all deposits, each thing once, and what became of it."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Sequence
from fnmatch import fnmatch
from typing import Any

from archive.errors import Trouble
from archive.store import Archive
from archive.store.checked_files import passed_over
from archive.store.events.settle_aside import settle_aside
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign

READ, ATTACHED, KEPT = "read by a later deposit", "attached as a document", "not a test, kept"
"""How a thing that was set aside was settled."""


def set_aside(archive: Archive, job: str | None = None) -> list[dict[str, Any]]:
    """What was set aside (of one job), oldest first, each thing once: that of the first deposit that has it.

    key: names it for settling. deposits: those that set it aside. settled: whether there is nothing left to do; how:
    one of READ (the same file, or a record of the same link, was read without trouble in a later deposit), ATTACHED
    (the same bytes are filed as a document), KEPT (a person said that it is no test), or "".
    """
    archive.catch_up()
    found: dict[tuple[Any, ...], dict[str, Any]] = {}
    db = archive.db
    rows = db.execute(
        "SELECT deposit, job_id, number FROM deposits WHERE ? IS NULL OR job_id = ? ORDER BY number", (job, job)
    ).fetchall()
    kept = {r[0] for r in db.execute("SELECT item FROM settled_aside")}
    filed = {r[0] for r in db.execute("SELECT document_id FROM documents")}
    for deposit, of_job, number in rows:
        if not archive.deposit_entry(deposit).get("set_aside"):
            continue
        aside: list[dict[str, Any]] = []
        with passed_over(deposit, "what it set aside is not listed"):
            aside = archive.tables(deposit).table("set_aside").to_pylist()
        for row in aside:
            same = (of_job, row["source_id"] or row["path"], row["place"], row["link_label"], row["reason"])
            if same in found:
                found[same]["deposits"].append(deposit)
                found[same]["number"] = number
                continue
            key = hashlib.sha256("\n".join(str(x or "") for x in same).encode()).hexdigest()[:16]
            found[same] = {
                "deposit": deposit,
                "deposits": [deposit],
                "job": of_job,
                "key": key,
                "number": number,
                **row,
            }
    made = []
    for row in found.values():
        number = row.pop("number")
        later = db.execute(
            "SELECT 1 FROM records r JOIN deposits d ON d.deposit = r.deposit WHERE d.number > ? "
            "AND r.withdrawn = 0 AND (r.source_id = ? OR (r.link_label = ? AND r.job_id IS ?)) LIMIT 1",
            (number, row["source_id"], row["link_label"], row["job"]),
        ).fetchone()
        how = KEPT if row["key"] in kept else ATTACHED if row["source_id"] in filed else READ if later else ""
        made.append({**row, "settled": bool(how), "how": how})
    return made


def by_cause(rows: Iterable[dict[str, Any]]) -> list[tuple[dict[str, Any], list[dict[str, Any]]]]:
    """Rows with one reason, expectation and remedy together, most first; the first of them speaks for all."""
    groups: dict[tuple[Any, ...], list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        groups[row["reason"], row["expected"], row["remedy"]].append(row)
    return sorted(((members[0], members) for members in groups.values()), key=lambda g: -len(g[1]))


def keep(
    archive: Archive,
    patterns: Sequence[str],
    job: str | None = None,
    *,
    by: str | None,
    reason: str | None,
    sign: Sign | None = None,
) -> tuple[LedgerEntry, list[dict[str, Any]]]:
    """Settles open things as no tests, by their key or by patterns of their path.

    Errors: Trouble where a pattern means none.
    """
    rows = [r for r in set_aside(archive, job) if not r["settled"]]
    for pattern in patterns:
        if not any(_meant(r, [pattern]) for r in rows):
            raise Trouble(
                "nothing that is set aside and open is named so",
                code="setaside.none-named",
                where=str(archive.root),
                found=pattern,
                expected="a path or a pattern as `muniment setaside` shows it",
            )
    meant = [r for r in rows if _meant(r, patterns)]
    return settle_aside(archive, [r["key"] for r in meant], by=by, reason=reason, sign=sign), meant


def _meant(row: dict[str, Any], patterns: Sequence[str]) -> bool:
    path = str(row["path"] or "")
    return any(row["key"] == p or fnmatch(path, p) or fnmatch(path.rpartition("/")[2], p) for p in patterns)
