"""Looking after: one form for every act on what is archived. A page of its own with the list that it is about, then the
same with count, consequence and reason, then the entry; what an entry says is never undone, so that the entry which
counters it is offered."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.responses import HTMLResponse, RedirectResponse, Response

from archive.answers.wording import Wording
from archive.errors import Trouble
from archive.room.app import PageRequest, RoomPage
from archive.room.desk.files import is_id, new_file, new_id, private, read_json, write_json
from archive.room.users import Role

MOST = 500
"""Rows of a list that are shown at once."""
SHOWN = 200
"""Lines of what is meant that are shown before it is confirmed; all of them are counted."""

_CARRIED = ("form_token", "token", "meant", "back")


@dataclass(frozen=True)
class ActField:
    """A field of a form. kind: text, date, select, check or long. options: values of a select with their texts."""

    name: str
    label: str
    kind: str = "text"
    options: Sequence[tuple[str, str]] = ()
    value: str = ""
    required: bool = False
    size: int = 24


@dataclass(frozen=True)
class ActRow:
    """A row that can be chosen. value: what is sent; cells: in the order of the heads. link: address behind the first
    cell, "" for none."""

    value: str
    cells: Sequence[str]
    link: str = ""


@dataclass(frozen=True)
class ActChoice:
    """What a page offers. lead: sentences. filters: of the list, sent with GET. rows: under `name`; none where it is
    about no list. fields: what is stated. hidden: names and values that go along. count: of all that fit."""

    lead: Sequence[str] = ()
    filters: Sequence[ActField] = ()
    heads: Sequence[str] = ()
    name: str = ""
    rows: Sequence[ActRow] = ()
    count: int = 0
    fields: Sequence[ActField] = ()
    hidden: Mapping[str, str] | None = None
    reason: bool = True
    ready: bool = True
    """Whether it can go on; False where something has to be chosen first."""


@dataclass(frozen=True)
class Meant:
    """What an act comes to. lines: one for each thing, in words. does: does it, and gives the number of the ledger
    entry, None where nothing was left to do. counter: what counters it, in words; counter_at: where, as an address
    within the room."""

    sentence: str
    lines: Sequence[str]
    consequence: str
    does: Callable[[], int | None]
    counter: str
    counter_at: str = ""


@dataclass(frozen=True)
class Act:
    """One act. reason: whether one has to be given."""

    name: str
    title: Callable[[Wording], str]
    needs: Role
    choice: Callable[[PageRequest], ActChoice]
    meant: Callable[[PageRequest], Meant]
    command: Callable[[PageRequest], str]
    reason: bool = True

    @property
    def path(self) -> str:
        """Its address."""
        return f"/look-after/{self.name}"


def pages(act: Act) -> dict[str, RoomPage]:
    """The pages of an act."""
    return {
        act.path: RoomPage("GET", lambda asked: _choose(asked, act), act.needs),
        f"{act.path}/check": RoomPage("POST", lambda asked: _check(asked, act), act.needs),
        f"{act.path}/do": RoomPage("POST", lambda asked: _do(asked, act), act.needs),
    }


def _choose(asked: PageRequest, act: Act, wrong: Trouble | None = None) -> Response:
    """The page with the list and the form; with what was wrong, and every entry kept, where something was."""
    page = asked.page(
        "act.html",
        act.title(asked.words),
        act.command(asked),
        exact=False,
        act=act,
        choice=act.choice(asked),
        given=asked.given,
        ticked=set(asked.all(_rows_name(asked, act))),
        wrong=wrong,
        by=asked.made_by,
        most=MOST,
    )
    return page if wrong is None else HTMLResponse(page.body, 422)


def _rows_name(asked: PageRequest, act: Act) -> str:
    return act.choice(asked).name or "none"


def _check(asked: PageRequest, act: Act, changed: bool = False) -> Response:
    """What it comes to, before it is done."""
    try:
        if act.reason and asked.text("reason") is None:
            raise Trouble("a reason is needed", code="desk.no-reason", remedy="say why; it is kept with the entry")
        meant = act.meant(asked)
    except Trouble as trouble:
        return _choose(asked, act, trouble)
    return asked.page(
        "act_check.html",
        act.title(asked.words),
        act.command(asked),
        exact=False,
        act=act,
        meant=meant,
        lines=meant.lines[:SHOWN],
        digest=_digest(meant),
        token=new_id(),
        back=back(asked, act.path, *(f.name for f in act.choice(asked).filters)),
        changed=changed,
        carried=[(name, value) for name, value in asked.several if name not in _CARRIED],
        by=asked.made_by,
    )


def _do(asked: PageRequest, act: Act) -> Response:
    """Does it, once for each page that was shown."""
    token = asked.text("token")
    if token is None or not is_id(token):
        raise Trouble(
            "the page does not say which act it is", code="desk.no-act", remedy="go back and look at it again"
        )
    note = private(asked.at_desk.place / "acts") / token
    try:
        new_file(note).close()
    except FileExistsError:
        return _done_at(asked, note)
    try:
        meant = act.meant(asked)
        if _digest(meant) != asked.text("meant"):
            note.unlink()
            return _check(asked, act, changed=True)
        entry = meant.does()
    except Trouble as trouble:
        note.unlink(missing_ok=True)
        return _choose(asked, act, trouble)
    except BaseException:
        note.unlink(missing_ok=True)
        raise
    told = {"entry": entry, "sentence": meant.sentence, "lines": meant.lines[:SHOWN], "count": len(meant.lines)}
    write_json(
        note, {**told, "counter": meant.counter, "counter_at": meant.counter_at, "back": asked.text("back") or ""}
    )
    return _done_at(asked, note)


def _done_at(asked: PageRequest, note: Path) -> Response:
    for _ in range(100):  # a double click: the first is still at it
        if read_json(note) is not None:
            break
        time.sleep(0.1)
    return RedirectResponse(asked.address("/look-after/done", id=note.name), 303)


def done(asked: PageRequest) -> Response:
    """What was done, with what counters it, and the way back to where one was."""
    number = asked.text("id")
    told = read_json(asked.at_desk.place / "acts" / number) if number is not None and is_id(number) else None
    if told is None:
        raise Trouble("nothing is known of such an act", code="desk.no-act", remedy="see the ledger entries")
    command = "muniment head ARCHIVE"
    return asked.page("act_done.html", asked.words("Done"), command, exact=False, told=told)


def _digest(meant: Meant) -> str:
    return hashlib.sha256("\n".join([meant.sentence, *meant.lines]).encode()).hexdigest()[:24]


def back(asked: PageRequest, path: str, *names: str) -> str:
    """The address of a list with its filters, as a person left it."""
    return asked.address(path, **{name: asked.text(name) for name in names})[len(asked.base) :]


def command_for(*words: Any) -> str:
    """A command to be shown."""
    import shlex

    return shlex.join(["muniment", *(str(w) for w in words if w is not None)])
