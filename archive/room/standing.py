"""What to look after: links of one unit, curves under more than one link, and the state of the archive."""

from __future__ import annotations

import shlex
from typing import Any

from starlette.responses import Response

from archive import store
from archive.answers.copies import copies
from archive.room.app import PageRequest
from archive.store.catalogue.filters import Filters
from archive.store.catalogue.search import find
from archive.store.fixity import fixity

_MOST = 1_000
_MOST_COMPARED = 5_000
"""Records whose curves are compared while a page waits."""


def recall(asked: PageRequest) -> Response:
    """Links whose accepted or current record came from one unit."""
    serial, db = asked.text("serial"), asked.look.archive.db
    days = {name: asked.text(name) for name in ("since", "until")}
    found: list[dict[str, Any]] = []
    if serial is not None:
        rows = (dict(r) for r in find(db, Filters(serial=serial, **days)))
        found = [r for r in rows if r["current"] or r["accepted"]]
    command = ["muniment", "recall", str(asked.root), "--serial", serial or "N"]
    command += [word for name, value in days.items() if value for word in (f"--{name}", value)]
    values = {"found": found[:_MOST], "count": len(found), "serial": serial, "days": days, "most": _MOST}
    return asked.page("recall.html", asked.words("Recall"), shlex.join(command), **values)


def copied(asked: PageRequest) -> Response:
    """Links of a job with the same curves."""
    job, archive = asked.text("job"), asked.look.archive
    found, too_many = None, False
    if job is not None:
        count = archive.db.execute("SELECT count(*) FROM records WHERE job_id = ?", (job,)).fetchone()[0]
        too_many = count > _MOST_COMPARED
        found = None if too_many else copies(archive, Filters(job=job))
    command = shlex.join(["muniment", "copies", str(asked.root), "--job", job or "J"])
    values = {"job": job, "found": found, "too_many": too_many, "most": _MOST_COMPARED}
    return asked.page("copies.html", asked.words("Copies"), command, **values)


def health(asked: PageRequest) -> Response:
    """What is known of the archive's state, and, where it is asked for, names and sizes looked at now."""
    looked = None
    if asked.text("look") == "count":
        looked = fixity(store.open_damaged(asked.root), "count").plain()
    archive = asked.look.archive
    rows = archive.db.execute("SELECT count(*), coalesce(sum(withdrawn), 0) FROM deposits").fetchone()
    holds = [r[0] for r in archive.db.execute("SELECT job_id FROM holds ORDER BY job_id")]
    indexed = int(archive.db.execute("SELECT value FROM meta WHERE key = 'next'").fetchone()[0])
    last = archive.db.execute("SELECT at FROM entries ORDER BY number DESC LIMIT 1").fetchone()
    return asked.page(
        "health.html",
        asked.words("Health"),
        shlex.join(["muniment", "fixity", str(asked.root), "--depth", "count"]),
        looked=looked,
        deposits=rows[0],
        withdrawn=rows[1],
        holds=holds,
        indexed=indexed,
        last=last["at"] if last else None,
        cautions=[c.text for c in asked.look.cautions()],
        exact=looked is not None,
    )
