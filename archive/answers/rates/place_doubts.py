"""Records that count for nothing while it is in doubt which of several scheduled places their link is at.

The files of counting know what tests say of each other; of which line of a schedule a test is, only the schedule says.
"""

from __future__ import annotations

from archive.store import Archive
from archive.store.counting.columns import BITS
from archive.store.roles import Role
from archive.vocabulary.link_counts import IN_DOUBT

ACCEPTED_IN_DOUBT = 1 << 20
"""Bit of a state: would be accepted, but which link it is of is in doubt. BITS["in_doubt"] says so of current."""
Change = tuple[int, int]
"""Bits of a state that go, and bits that come."""


def place_doubts(archive: Archive) -> dict[int, Change]:
    """What becomes of the states of records by row: those of links that `muniment progress` has in doubt because their
    label is scheduled at several places."""
    archive.catch_up()
    jobs = archive.db.execute(
        "SELECT DISTINCT job_id FROM (SELECT job_id FROM schedule GROUP BY job_id, link_label HAVING count(DISTINCT "
        "coalesce(building, '') || char(10) || coalesce(floor, '') || char(10) || coalesce(space, '')) > 1)"
    ).fetchall()
    found: dict[int, Change] = {}
    if not jobs:
        return found
    from archive.answers.progress import progress  # schedules, and the rules they are checked by, are for jobs alone

    roles: dict[Role, Change] = {
        "current": (BITS["current"] | BITS["copied"], BITS["in_doubt"]),
        "accepted": (BITS["accepted"], ACCEPTED_IN_DOUBT),
    }
    for (job,) in jobs:
        for role, (off, on) in roles.items():
            for link in progress(archive, job, role=role).links:
                record = link.record
                if link.result.outcome != IN_DOUBT or record is None or record["doubt"] or record["job_id"] != job:
                    continue
                _add(found, int(record["row"]), off, on)
                for (row,) in archive.db.execute("SELECT row FROM records WHERE link = ?", (record["link"],)):
                    _add(found, int(row), BITS["first"], 0)
    return found


def _add(found: dict[int, Change], row: int, off: int, on: int) -> None:
    before = found.get(row, (0, 0))
    found[row] = (before[0] | off, before[1] | on)
