"""Handing in: trays, what lies in them, what a survey finds there, and the dry run that is asked for."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from starlette.responses import RedirectResponse, Response

from archive.answers.jobs import facts as job_facts
from archive.answers.known_names import jobs as known_jobs
from archive.errors import Trouble
from archive.formats.folders import path_text
from archive.room.app import PageRequest
from archive.room.desk import work as works
from archive.room.desk.running import ShownWork, shown
from archive.room.desk.tray import Tray, open_tray
from archive.room.desk.work import Work
from archive.vocabulary.ranges import ranges

READING_PAGE = False
"""Whether there is a page on which a reading is looked over: /hand-in/reading?tray&file."""

_NAMED = 6
_MOST = 200
"""Files of a tray that are listed."""

_LISTS = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".ods")
"""Endings of files that may be lists of links."""


@dataclass(frozen=True)
class SurveyedLayout:
    """Files of one layout. unread: nobody can read them. numbers: ids of them in the tray, as far as they are its
    own files."""

    layout: str
    reason: str
    files: list[str]
    count: int
    records: int
    evidence: str
    facts: list[str]
    notes: list[str]
    unmapped: list[str]
    set_aside: list[str]
    unread: bool
    draft: bool
    numbers: list[str]


def page(asked: PageRequest) -> Response:
    """Where files are put down; one's trays."""
    desk = asked.at_desk
    trays = [(t, t.files()) for t in desk.trays_of(asked.sign_in)]
    offered = [(t.number, path_text(t.name), t.is_folder) for t in desk.offered_things()]
    return asked.page(
        "hand_in.html",
        asked.words("Hand in"),
        shlex.join(["muniment", "survey", "FOLDER"]),
        exact=False,
        trays=trays,
        offered=offered,
        offered_state=desk.offered_state() if offered else "",
        by=asked.made_by,
    )


def tray_page(asked: PageRequest) -> Response:
    """One tray: its files, what the survey finds, and the form for the dry run."""
    desk, tray = asked.at_desk, _tray(asked)
    survey = _survey(asked, tray)
    if asked.partial:
        return asked.part("hand_in_survey.html", **_found(asked, tray, survey))
    files = tray.files()
    job = asked.text("job")
    return asked.page(
        "hand_in_tray.html",
        asked.words("Tray of {when}", when=tray.began[:16].replace("T", " ")),
        shlex.join(["muniment", "deposit", "FOLDER", "--into", str(asked.root), "--job", job or "JOB", "--dry-run"]),
        exact=False,
        files=files[:_MOST],
        count=len(files),
        bytes=sum(f.bytes for f in files),
        most=_MOST,
        lists=[f for f in files if PurePosixPath(f.name).suffix.lower() in _LISTS],
        jobs=known_jobs(asked.look.archive),
        given=asked.given,
        chosen=[path_text(name) for name in tray.chosen],
        offered=[
            (t.number, path_text(t.name), t.is_folder) for t in desk.offered_things() if t.name not in tray.chosen
        ],
        offered_state=desk.offered_state(),
        plans=[shown(asked, w) for w in _of_tray(asked, tray, "plan", "deposit")],
        by=asked.made_by,
        **_found(asked, tray, survey),
    )


def choose(asked: PageRequest) -> Response:
    """Puts a thing of the offered folder into a tray, by its number."""
    desk = asked.at_desk
    if asked.text("listing") != desk.offered_state():
        raise Trouble("the folder changed meanwhile", code="desk.offered", remedy="go back, look again and choose anew")
    wanted = {n for n in asked.all("number") if n.isascii() and n.isdigit()}
    names = [t.name for t in desk.offered_things() if str(t.number) in wanted]
    if not names:
        raise Trouble("nothing was chosen", code="desk.offered", remedy="go back and choose something")
    tray = desk.tray_for(asked.sign_in, asked.text("tray"))
    tray.choose(tuple(dict.fromkeys([*tray.chosen, *names])))
    desk.begin(asked.sign_in, "survey", _asked_for(asked, _again(asked, tray)))
    return _to(asked, tray)


def remove(asked: PageRequest) -> Response:
    """Takes a file out of a tray, or the tray away with all that lies in it."""
    tray = _tray(asked)
    if asked.text("file") is not None:
        tray.remove(asked.text("file"))
        return _to(asked, tray)
    tray.empty()
    return RedirectResponse(asked.address("/hand-in"), 303)


def survey(asked: PageRequest) -> Response:
    """Looks into a tray, once more."""
    tray = _tray(asked)
    asked.at_desk.begin(asked.sign_in, "survey", _asked_for(asked, tray))
    return _to(asked, tray)


def arrived(asked: PageRequest) -> Response:
    """What follows once the page's script has sent all files."""
    tray = _tray(asked)
    return RedirectResponse(asked.address(asked.at_desk.arrived(asked.sign_in, tray), tray=tray.id), 303)


def dry_run(asked: PageRequest) -> Response:
    """Begins the dry run of a tray."""
    tray = _tray(asked)
    job = asked.text("job")
    if job is None:
        raise Trouble("of which job are they?", code="desk.no-job", remedy="go back and name the job")
    columns = {n: v for n in ("link_label",) if (v := asked.text(f"column_{n}")) is not None}
    what = {
        **_asked_for(asked, tray),
        "job": job,
        "site": asked.text("site"),
        "zone": asked.text("zone"),
        "reason": asked.text("reason"),
        "schedule": asked.text("schedule"),
        "schedule_columns": columns,
        "whole_schedule": asked.text("whole_schedule") is not None,
        "accept_draft": asked.text("accept_draft") is not None,
        "new": asked.text("new") is not None,
    }
    made = asked.at_desk.begin(asked.sign_in, "plan", what)
    return RedirectResponse(asked.address("/running/one", id=made.id), 303)


def _tray(asked: PageRequest) -> Tray:
    return open_tray(asked.at_desk.trays, asked.text("tray"), asked.sign_in.name)


def _again(asked: PageRequest, tray: Tray) -> Tray:
    return open_tray(asked.at_desk.trays, tray.id, asked.sign_in.name)


def _to(asked: PageRequest, tray: Tray) -> Response:
    return RedirectResponse(asked.address("/hand-in/tray", tray=tray.id), 303)


def _asked_for(asked: PageRequest, tray: Tray) -> dict[str, Any]:
    return {"tray": tray.id, "paths": [str(p.resolve()) for p in asked.at_desk.paths_of(tray)]}


def _of_tray(asked: PageRequest, tray: Tray, *kinds: str) -> list[Work]:
    listed = works.listed(asked.at_desk.works)
    return [w for w in listed if w.request.what.get("tray") == tray.id and w.request.kind in kinds]


def _survey(asked: PageRequest, tray: Tray) -> Work | None:
    return next(iter(_of_tray(asked, tray, "survey")), None)


def _found(asked: PageRequest, tray: Tray, survey: Work | None) -> dict[str, Any]:
    """What the survey found, as the page shows it."""
    told: ShownWork | None = None if survey is None else shown(asked, survey)
    rows = [] if survey is None else survey.result().get("files", [])
    return {"survey": told, "layouts": _layouts(rows, tray), "tray": tray, "reading": READING_PAGE}


def _layouts(rows: list[Mapping[str, Any]], tray: Tray) -> list[SurveyedLayout]:
    """Rows of one layout together, the ones that need somebody first."""
    own = {f.name: f.id for f in tray.files()}
    groups: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    for row in rows:
        if not row["read_with"]:
            groups.setdefault((row["layout"], row["reason"], row["unread"], row["draft"]), []).append(row)
    made = []
    for (layout, reason, unread, draft), members in groups.items():
        facts = list(dict.fromkeys(f"{m['encoding']} {', '.join(m['units'])}".strip() for m in members))
        made.append(
            SurveyedLayout(
                layout,
                reason,
                ranges(m["path"] for m in members)[:_NAMED],
                len(members),
                sum(m["records"] for m in members),
                ", ".join(dict.fromkeys(m["evidence"] for m in members if m["evidence"])),
                [f for f in facts if f][:_NAMED],
                _some(members, "notes"),
                _some(members, "unmapped"),
                [*_some(members, "set_aside"), *_some(members, "errors")],
                unread,
                draft,
                [own[m["path"]] for m in members if m["path"] in own],
            )
        )
    return sorted(made, key=lambda g: (not g.unread, not g.draft, not g.set_aside, g.layout))


def _some(members: list[Mapping[str, Any]], name: str) -> list[str]:
    return list(dict.fromkeys(line for m in members for line in m[name]))[:_NAMED]


def job_state(asked: PageRequest) -> Response:
    """What the archive knows of a job, beneath the field of its name."""
    job = asked.text("job") or ""
    known = job in known_jobs(asked.look.archive)
    found = job_facts(asked.look.archive, job) if known else {}
    return asked.part("hand_in_job.html", job=job, known=known, facts=found)
