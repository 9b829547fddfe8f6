"""The list of links of a job: what was to be built, and how another list is handed in."""

from __future__ import annotations

from starlette.responses import Response

from archive.answers.job_schedule import latest_schedule
from archive.answers.known_names import jobs as known_jobs
from archive.answers.progress import progress
from archive.room.app import PageRequest
from archive.room.desk.acts import command_for

_MOST = 2_000


def page(asked: PageRequest) -> Response:
    """The latest list of a job, with what each line comes to."""
    archive, job = asked.look.archive, asked.text("job")
    rows, outcome = [], {}
    if job is not None:
        rows = list(latest_schedule(archive, job).values())
        outcome = {x.label: x.result.outcome for x in progress(archive, job).links}
    return asked.page(
        "schedule.html",
        asked.words("Lists of links"),
        command_for("deposit", "--into", asked.root, "--job", job or "J", "--schedule", "LINKS.csv"),
        job=job,
        jobs=known_jobs(archive),
        rows=rows[:_MOST],
        count=len(rows),
        most=_MOST,
        outcome=outcome,
        exact=False,
    )
