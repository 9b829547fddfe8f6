"""Work in hand: what needs a look, what runs, what ended; and one piece of it, asked for anew as it goes."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.responses import RedirectResponse, Response

from archive.answers.wording import Wording
from archive.errors import Trouble
from archive.room.app import PageRequest
from archive.room.desk import work as works
from archive.room.desk.broken import what_stands
from archive.room.desk.work import Work

_MOST = 100
_SLOWER = 60.0
"""Seconds after which a page asks every five seconds."""

_LOOK = ("look", "failed", "broken")


@dataclass(frozen=True)
class ShownWork:
    """A piece of work in words."""

    work: Work
    name: str
    state: str
    lines: list[str]
    trouble: Mapping[str, str]
    mine: bool
    can_run_again: bool
    links: list[tuple[str, str]]


def listed(asked: PageRequest) -> Response:
    """All of it."""
    found = [shown(asked, w) for w in works.listed(asked.at_desk.works)[:_MOST]]
    sections = (
        (asked.words("Needs a look"), [s for s in found if s.work.word in _LOOK]),
        (asked.words("Running"), [s for s in found if s.work.going]),
        (asked.words("Ended"), [s for s in found if s.work.word in ("done", "stopped")]),
    )
    command = shlex.join(["muniment", "receipt", str(asked.root)])
    return asked.page("running.html", asked.words("Work in hand"), command, exact=False, sections=sections)


def page(asked: PageRequest) -> Response:
    """One piece of work; asked for as a part of the page while it goes."""
    found = shown(asked, works.work(asked.at_desk.works, asked.text("id")))
    seconds = 1 if _seconds(found.work) < _SLOWER else 5
    if asked.partial:
        return asked.part("running_state.html", one=found, seconds=seconds)
    command = _command(asked, found.work)
    title = asked.words("{what}: {state}", what=found.name, state=found.state)
    return asked.page("running_one.html", title, command, exact=False, one=found, seconds=seconds)


def stop(asked: PageRequest) -> Response:
    """Asks a piece of work to stop at its next safe point."""
    found = works.work(asked.at_desk.works, asked.text("id"))
    if not _mine(asked, found):
        raise Trouble("somebody else began it", code="desk.not-yours", expected="whoever began it, or who may manage")
    works.stop(found)
    return RedirectResponse(asked.address("/running/one", id=found.id), 303)


def again(asked: PageRequest) -> Response:
    """Begins one that broke off, failed or was stopped once more."""
    found = works.work(asked.at_desk.works, asked.text("id"))
    if not _mine(asked, found) or found.word not in ("broken", "failed", "stopped"):
        raise Trouble("it cannot be run again", code="desk.not-yours", expected="one of yours that did not end well")
    made = works.again(asked.at_desk.works, found)
    return RedirectResponse(asked.address("/running/one", id=made.id), 303)


def shown(asked: PageRequest, found: Work) -> ShownWork:
    """A piece of work in the words of the page."""
    words = asked.words
    state = {
        "waiting": words("waiting for its turn"),
        "running": words("running"),
        "stopping": words("stopping"),
        "done": words("done"),
        "look": words("done, with something to look at"),
        "stopped": words("stopped"),
        "failed": words("failed"),
        "broken": words("broken off"),
    }[found.word]
    return ShownWork(
        found,
        _name(found, words),
        state,
        _lines(asked, found),
        found.state.get("trouble", {}) if found.word == "failed" else {},
        _mine(asked, found),
        found.word in ("broken", "failed", "stopped"),
        _links(asked, found),
    )


def _name(found: Work, words: Wording) -> str:
    return {"survey": words("Survey"), "plan": words("Dry run"), "deposit": words("Deposit")}.get(
        found.request.kind, found.request.kind
    )


def _mine(asked: PageRequest, found: Work) -> bool:
    return found.request.owner == asked.sign_in.name or asked.may("manage")


def _lines(asked: PageRequest, found: Work) -> list[str]:
    """Sentences: how far it is, or what came of it."""
    words, state = asked.words, found.state
    if found.going:
        return _so_far(state, words) + (
            [words("It stops at the next safe point; what was not committed by then is not archived.")]
            if found.word == "stopping"
            else []
        )
    if found.word == "stopped":
        return [words("Nothing of it was archived; the tray is as it was.")]
    if found.word == "broken":
        return what_stands(asked.look.archive, asked.at_desk, found, words)
    if found.word == "failed":
        return what_stands(asked.look.archive, asked.at_desk, found, words) + (
            [words("It is a fault of this program, not yours; its number in the log is {number}.", number=number)]
            if (number := state.get("fault"))
            else []
        )
    return _came(found, words)


def _so_far(state: Mapping[str, Any], words: Wording) -> list[str]:
    stage = {
        "turn": words("Others run before it."),
        "recognising": words("Recognising the layouts of the files"),
        "looking": words("Looking into the files"),
        "keeping": words("Reading the originals as they came"),
        "reading": words("Reading, checking and grading"),
        "comparing": words("Comparing with the archive, and writing"),
    }.get(str(state.get("stage")), words("Beginning"))
    lines = [stage]
    done, total, unit = state.get("done") or 0, state.get("total"), state.get("unit")
    if unit == "files" and total:
        counted = words("{done} of {total} files", done=words.number(done, 0), total=words.number(total, 0))
        lines.append(counted)
    elif unit == "records" and state.get("stage") == "reading":
        count = words.counted(done, "{count} record", "{count} records")
        files, of = words.number(state.get("files") or 0, 0), words.number(total or 0, 0)
        lines.append(words("{records} out of {done} of {total} files", records=count, done=files, total=of))
    if rate := state.get("rate"):
        rated = words.number(rate, 0 if rate >= 10 else 1)
        lines.append(
            words("{rate} records a second", rate=rated)
            if unit == "records"
            else words("{rate} files a second", rate=rated)
        )
    if (left := state.get("left")) is not None:
        lines.append(_left(left, words))
    return lines


def _left(seconds: float, words: Wording) -> str:
    if seconds < 60:
        return words("less than a minute left")
    return words.counted(round(seconds / 60), "about {count} minute left", "about {count} minutes left")


def _came(found: Work, words: Wording) -> list[str]:
    state, kind = found.state, found.request.kind
    if kind == "survey":
        files = words.counted(state["files"], "{count} file", "{count} files")
        records = words.counted(state["records"], "{count} record", "{count} records")
        return [words("{files}, {records}.", files=files, records=records)]
    if kind == "plan":
        return [words("Nothing was written. Look the plan over, and confirm it.")]
    if state.get("differs"):
        return [
            words("Nothing was archived: by now it would come to something else than what was confirmed."),
            words("Look over what it would come to, and confirm that."),
        ]
    lines = []
    if state.get("deposit"):
        lines.append(words("Archived as deposit {deposit}.", deposit=state["deposit"]))
    else:
        lines.append(words("Nothing of it is new; no deposit was made."))
    if (moved := state.get("moved", 0)) > 0:
        lines.append(
            words.counted(
                moved,
                "{count} entry came to the ledger between dry run and deposit; what was archived is what was "
                "confirmed.",
                "{count} entries came to the ledger between dry run and deposit; what was archived is what was "
                "confirmed.",
            )
        )
    if state.get("late_stop"):
        lines.append(words("The stop came too late: it had been committed."))
    return lines


def _links(asked: PageRequest, found: Work) -> list[tuple[str, str]]:
    """Where it goes on: addresses with their texts."""
    words, kind, what = asked.words, found.request.kind, found.request.what
    mine = found.request.owner == asked.sign_in.name
    if found.going:
        return []
    if kind == "deposit" and found.state.get("deposit"):
        return [(asked.address("/receipt", deposit=found.state["deposit"]), words("The receipt"))]
    if not mine:
        return []
    if (kind == "plan" and found.word in ("done", "look")) or found.state.get("differs"):
        return [(asked.address("/hand-in/plan", id=found.id), words("Look over the plan"))]
    there = any(t.id == what.get("tray") for t in asked.at_desk.trays_of(asked.sign_in))
    return [(asked.address("/hand-in/tray", tray=what["tray"]), words("To the tray"))] if there else []


def _seconds(found: Work) -> float:
    from datetime import datetime

    from archive.store import clock

    try:
        return (clock.now() - datetime.fromisoformat(found.began)).total_seconds()
    except ValueError:
        return 0.0


def _command(asked: PageRequest, found: Work) -> str:
    kind, job = found.request.kind, str(found.request.what.get("job") or "JOB")
    if kind == "survey":
        return "muniment survey FOLDER"
    words = ["muniment", "deposit", "FOLDER", "--into", str(asked.root), "--job", job]
    return shlex.join([*words, *(["--dry-run"] if kind == "plan" else [])])
