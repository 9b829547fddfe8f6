"""What was set aside in all deposits, and what became of it."""

from __future__ import annotations

from typing import Any

from archive.store import Archive


def set_aside(archive: Archive, job: str | None = None) -> list[dict[str, Any]]:
    """Rows of set_aside of every deposit (of one job), oldest first, with the deposit.

    settled: the same file, or a record of the same link, was read without trouble in a later deposit.
    """
    archive.catch_up()
    found: list[dict[str, Any]] = []
    db = archive.db
    rows = db.execute(
        "SELECT deposit, job_id, number FROM deposits WHERE ? IS NULL OR job_id = ? ORDER BY number", (job, job)
    ).fetchall()
    for deposit, of_job, number in rows:
        if not archive.deposit_entry(deposit).get("set_aside"):
            continue
        for row in archive.tables(deposit).table("set_aside").to_pylist():
            later = db.execute(
                "SELECT 1 FROM records r JOIN deposits d ON d.deposit = r.deposit WHERE d.number > ? "
                "AND r.withdrawn = 0 AND (r.source_id = ? OR (r.link_label = ? AND r.job_id IS ?)) LIMIT 1",
                (number, row["source_id"], row["link_label"], of_job),
            ).fetchone()
            found.append({"deposit": deposit, "job": of_job, **row, "settled": later is not None})
    return found
