"""Pieces of long work: each has a folder and one child process of its own, so that no page and no server holds it up.

request.json   what was asked, written before the child begins
state.json     where it is, replaced by the child about once a second, and at every change of stage
result.json    what came of it
held           locked by the child for as long as it lives: a state that says "running" while nobody holds the lock
               is that of a piece of work that broke off
stop           made by a page: stop at the next safe point
log            what the child printed
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive import file_lock
from archive.errors import Trouble
from archive.room.desk.files import is_id, new_file, new_id, private, read_json, write_json
from archive.store import clock

GOING = ("waiting", "running", "stopping")
ENDED = ("done", "look", "stopped", "failed", "broken")
"""States. look: done, with something to look at. broken: the process is gone."""

_CODE = "from archive.cli.desk_worker import main; main()"
_BEGINNING = 30.0
"""Seconds within which a child has begun."""


@dataclass(frozen=True)
class WorkRequest:
    """What is asked. kind: of desk.tasks. owner: name of the sign-in, "" for whoever opened the room. by: name that
    entries carry. signs: whether the key of whoever opened the room signs. what: by kind."""

    kind: str
    root: str
    owner: str
    by: str | None
    signs: bool
    what: Mapping[str, Any]


@dataclass(frozen=True)
class Work:
    """One piece of work as it is now. state: stage, done, total, rate and so on, as the child wrote it last."""

    folder: Path
    request: WorkRequest
    began: str
    word: str
    state: Mapping[str, Any]

    @property
    def id(self) -> str:
        """Its random name."""
        return self.folder.name

    @property
    def going(self) -> bool:
        """Whether it has not ended."""
        return self.word in GOING

    def result(self) -> dict[str, Any]:
        """What came of it; empty where nothing did yet."""
        return read_json(self.folder / "result.json") or {}


def begin(place: Path, request: WorkRequest, key: str = "") -> Work:
    """Begins a piece of work. key: one of the same key is not begun twice. Errors: OSError."""
    number = _number(key) if key else new_id()
    folder = place / number
    if key:
        private(place)
        try:
            folder.mkdir(mode=0o700)
        except FileExistsError:
            return _once_there(folder)
    else:
        private(folder)
    write_json(folder / "state.json", {"word": "waiting"})
    write_json(folder / "request.json", {**vars(request), "began": clock.text(clock.now())})
    _start(folder)
    return work(place, number)


def work(place: Path, number: str | None) -> Work:
    """A piece of work. Errors: Trouble where there is none of this id."""
    found = _read(place / number) if number is not None and is_id(number) else None
    if found is None:
        raise Trouble("there is no such piece of work", code="desk.no-work", remedy="see the list of work in hand")
    return found


def listed(place: Path) -> list[Work]:
    """All pieces of work that are kept, the latest first."""
    folders = place.iterdir() if place.is_dir() else ()
    found = [w for f in folders if is_id(f.name) and (w := _read(f)) is not None]
    return sorted(found, key=lambda w: (w.began, w.id), reverse=True)


def stop(found: Work) -> None:
    """Asks it to stop at the next safe point."""
    (found.folder / "stop").touch(mode=0o600)


def again(place: Path, found: Work) -> Work:
    """Begins one that broke off, failed or was stopped once more, as it was asked."""
    return begin(place, found.request, f"again {found.id}")


def once(place: Path, key: str) -> Work | None:
    """The piece of work that was begun for a key, if any was."""
    return _read(place / _number(key))


def _number(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()[:20]


def _start(folder: Path) -> None:
    """One child, in a session of its own: what ends the server does not end it."""
    with new_file(folder / "log") as log:
        child = subprocess.Popen(
            [sys.executable, "-c", _CODE, str(folder)],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            start_new_session=True,
        )
    _CHILDREN.append(child)
    _CHILDREN[:] = [c for c in _CHILDREN if c.poll() is None]  # asks after those that ended, so that none stays


_CHILDREN: list[subprocess.Popen[bytes]] = []


def _once_there(folder: Path) -> Work:
    """One that another request is just beginning."""
    for _ in range(50):
        if (found := _read(folder)) is not None:
            return found
        time.sleep(0.1)
    raise Trouble("it was begun, and did not get far", code="desk.no-work", remedy="make the dry run again")


def _read(folder: Path) -> Work | None:
    asked, state = read_json(folder / "request.json"), read_json(folder / "state.json")
    if asked is None or state is None:
        return None
    began = str(asked.pop("began", ""))
    word = str(state.get("word"))
    if word in GOING and not file_lock.is_locked(folder / "held"):
        state = read_json(folder / "state.json") or state  # it may have ended between the two looks
        word = str(state.get("word"))
        if word in GOING and ("stage" in state or _old(folder)):
            word = "broken"
    if word in ("waiting", "running") and (folder / "stop").exists():
        word = "stopping"
    return Work(folder, WorkRequest(**asked), began, word, state)


def _old(folder: Path) -> bool:
    try:
        return time.time() - (folder / "state.json").stat().st_mtime > _BEGINNING
    except OSError:
        return True
