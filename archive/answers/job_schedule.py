"""What was to be built in a job: the lines of its schedule as it is now, each one label at one place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from typing import Any

from archive.store import Archive
from archive.validation.look.scheduled_links import LineKey, line_key

Row = Mapping[str, Any]
_DECLARED = 2
"""In the column whole of the catalogue: a person said that the list is all that is to be built."""


def latest_schedule(archive: Archive, job: str) -> dict[LineKey, dict[str, Any]]:
    """Lines of a job's schedule as it is now, in order of label and place; empty where none was deposited.

    A list that names labels of the schedule replaces it; one that names none of them adds to it, unless it was declared
    whole. Earlier versions of this program stored only the lines that were new, so theirs always add.
    """
    archive.catch_up()
    held: dict[LineKey, dict[str, Any]] = {}
    rows = archive.db.execute(
        "SELECT s.* FROM schedule s JOIN (SELECT number, max(coalesce(version, '')) AS version FROM schedule "
        "WHERE job_id = ?1 GROUP BY number) l ON l.number = s.number AND l.version = coalesce(s.version, '') "
        "WHERE s.job_id = ?1 ORDER BY s.number, s.link_label",
        (job,),
    )
    for _, lines in groupby(rows, key=lambda r: r["number"]):
        listed = [dict(r) for r in lines]
        held = revised(held, listed, stored_whole=listed[0]["whole"] > 0, declared=listed[0]["whole"] == _DECLARED)
    return dict(sorted(held.items()))


def revised(
    held: Mapping[LineKey, dict[str, Any]], lines: Sequence[dict[str, Any]], *, stored_whole: bool, declared: bool
) -> dict[LineKey, dict[str, Any]]:
    """A schedule after a list came in. stored_whole: every line of the list is there; declared: a person said that
    it is all that is to be built."""
    listed = {line_key(r): r for r in lines}
    named = {r["link_label"] for r in listed.values()}
    kept = {k: r for k, r in held.items() if r["link_label"] not in named}
    replaces = declared or (stored_whole and len(kept) < len(held))
    return listed if replaces else kept | listed


def changes(before: Mapping[LineKey, Row], after: Mapping[LineKey, Row]) -> dict[str, Any]:
    """What became of a job's schedule: the labels of lines that came and that went, once for each line, and labels of
    which a line says something else now."""
    said = ("required_limit", "cable_type", "due_on", "bundle", "building", "floor", "space", "panel", "port")
    added, removed = _labels(after, after.keys() - before.keys()), _labels(before, before.keys() - after.keys())
    both = before.keys() & after.keys()
    other = _labels(after, (k for k in both if any(before[k][c] != after[k][c] for c in said)))
    found = {
        "added": sorted(k[0] for k in after.keys() - before.keys() if k[0] not in removed),
        "removed": sorted(k[0] for k in before.keys() - after.keys() if k[0] not in added),
        "changed": sorted(other | (added & removed)),
    }
    return {"links": len(after), **found} if any(found.values()) else {}


def _labels(lines: Mapping[LineKey, Row], keys: Iterable[LineKey]) -> set[str]:
    return {str(lines[k]["link_label"]) for k in keys}
