"""Jobs: all of them, and how far one is: by floor, what is missing, failing, in doubt, set aside."""

from __future__ import annotations

import shlex
from collections import Counter
from typing import Any

from starlette.responses import Response

from archive import vocabulary
from archive.answers.jobs import facts
from archive.answers.progress import JobLink, progress
from archive.answers.setaside import set_aside
from archive.room.app import PageRequest

_FIRST = 40
"""Links of each kind that are listed at once."""


def listed(asked: PageRequest) -> Response:
    """All jobs, the last tested first."""
    rows = asked.look.archive.db.execute(
        "SELECT job_id, max(site) AS site, count(DISTINCT link) AS links, min(tested_local) AS first, "
        "max(tested_local) AS last FROM records WHERE job_id IS NOT NULL AND NOT withdrawn AND NOT replaced "
        "GROUP BY job_id ORDER BY last DESC, job_id LIMIT 1000"
    ).fetchall()
    return asked.page("jobs.html", "Jobs", shlex.join(["muniment", "find", str(asked.root)]), rows=rows)


def _why(link: JobLink) -> str:
    """Why a link comes to what it does, as far as the catalogue knows."""
    row = link.record
    if link.why or row is None or link.result.outcome == "passing":
        return link.why
    if link.result.by_instrument:
        return "the instrument said so; no curves came along"
    named = vocabulary.parameter(row["parameter"]).name if row["parameter"] else ""
    place = " ".join(str(row[f"leading_{name}"] or "") for name in ("pairing", "end")).strip()
    if link.result.outcome == "failing" and named:
        return f"{named} {place}".strip() if row["parameter"] == row["leading_parameter"] else named
    return f"evidence: {str(row['evidence'] or 'not known').replace('-', ' ')}"


def page(asked: PageRequest) -> Response:
    """One job."""
    archive, job = asked.look.archive, asked.needed("job")
    role: Any = "current" if asked.text("role") == "current" else "accepted"
    found = progress(archive, job, role=role)
    by_outcome: dict[str, list[Any]] = {}
    for link in found.links:
        by_outcome.setdefault(link.result.outcome, []).append(link)
    floors: dict[str, Counter[str]] = {}
    for link in found.links:
        place = link.place.get("floor") or (link.record or {}).get("floor") or "not stated"
        floors.setdefault(str(place), Counter())[link.result.outcome] += 1
    return asked.page(
        "job.html",
        job,
        shlex.join(["muniment", "progress", str(asked.root), "--job", job]),
        job=job,
        facts=facts(archive, job),
        found=found,
        sums=found.plain()["sums"],
        by_outcome=by_outcome,
        floors=dict(sorted(floors.items())),
        why=_why,
        aside=[row for row in set_aside(archive, job) if not row["settled"]],
        most=_FIRST,
    )
