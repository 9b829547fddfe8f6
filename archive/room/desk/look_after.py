"""The page of all acts, with what waits for each."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.responses import Response

from archive.answers import cases
from archive.answers.setaside import set_aside
from archive.room.app import PageRequest, RoomPage
from archive.room.desk.acts import Act, command_for, done, pages
from archive.room.desk.case_acts import case_acts
from archive.room.desk.job_acts import job_acts
from archive.room.desk.record_acts import record_acts
from archive.room.desk.schedules import page as schedule_page
from archive.store.events.hold import holds

ACTS: tuple[Act, ...] = (*job_acts(), *record_acts(), *case_acts())


def page(asked: PageRequest) -> Response:
    """All acts that this person may do."""
    archive, words = asked.look.archive, asked.words
    waits = {
        "set-aside": words.counted(
            sum(not r["settled"] for r in set_aside(archive)), "{count} thing is open", "{count} things are open"
        ),
        "hold": words.counted(len(holds(archive)), "{count} job is under a hold", "{count} jobs are under a hold"),
        "case-step": words.counted(
            sum(c.state != "closed" for c in cases.cases(archive)), "{count} case is open", "{count} cases are open"
        ),
    }
    acts = [(act.title(words), act.path, waits.get(act.name, ""), asked.may(act.needs), act.needs) for act in ACTS]
    return asked.page("look_after.html", words("Look after"), command_for("health", asked.root), exact=False, acts=acts)


def act_pages() -> Mapping[str, RoomPage]:
    """Pages of all acts."""
    found = {
        "/look-after": RoomPage("GET", page, "deposit"),
        "/look-after/schedule": RoomPage("GET", schedule_page, "deposit"),
        "/look-after/done": RoomPage("GET", done, "deposit"),
    }
    for act in ACTS:
        found |= pages(act)
    return found
