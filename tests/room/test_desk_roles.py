"""Who may do what at a desk: a walk over the table of routes, and what the log says of refusals."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import anyio
import pytest

from archive.room.app import application
from archive.room.desk.desk import Desk
from archive.room.door import Door, SignIn
from archive.room.holder import Holder
from archive.room.pages import DESK_PAGES, PAGES
from archive.room.users import ROLES, Role

READ_ONLY = set(PAGES)


@pytest.fixture
def asked(shelf: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Sends one request to the application behind the guard, as a user of a role: status, body, lines of the log."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(shelf.parent / "cache"))
    holder, lines = Holder("R. Ostrander"), list[str]()
    desk = Desk(shelf, tmp_path / "desk", holder)
    app = application(shelf, {**PAGES, **DESK_PAGES}, lines.append, holder, desk)

    def ask(method: str, path: str, role: Role, body: bytes = b"", kind: str = "", token: bool = True) -> Any:
        sign_in = SignIn("brume", role)
        if token and not kind:
            kind = "application/x-www-form-urlencoded"
            body = b"form_token=" + sign_in.form_token.encode() + b"&" + body
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "path": path,
            "raw_path": path.encode(),
            "root_path": "",
            "scheme": "http",
            "query_string": b"",
            "headers": [(b"content-type", kind.encode()), (b"host", b"127.0.0.1")],
            "sign_in": sign_in,
            "door": Door(tmp_path / "door"),
            "base": "/r/x",
        }
        told: dict[str, Any] = {"status": 0, "body": b""}

        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: Any) -> None:
            told["status"] = message.get("status", told["status"])
            told["body"] += message.get("body", b"")

        anyio.run(app, scope, receive, send)
        return told["status"], told["body"].decode("utf-8", "replace"), lines

    yield ask


def test_each_page_of_the_desk_is_for_its_role_alone(asked: Any) -> None:
    assert len(DESK_PAGES) > 30 and {page.needs for page in DESK_PAGES.values()} == {"deposit", "manage"}
    for path, page in DESK_PAGES.items():
        for role in ROLES:
            status, body, lines = asked(page.method, path, role)
            allowed = ROLES.index(role) >= ROLES.index(page.needs)
            assert (status == 403) is not allowed or "form is not of this sign-in" in body, (path, role, status, body)
            if not allowed:
                assert f"refused 403 role: {page.method} {path} needs {page.needs}, and {role} was given" in lines
                assert f"needs a user who may {page.needs}" in body
            else:
                assert status < 500, (path, role, body)


def test_no_form_without_its_token(asked: Any) -> None:
    for path, page in DESK_PAGES.items():
        if page.method == "POST":
            status, body, lines = asked("POST", path, "manage", b"", "application/x-www-form-urlencoded", token=False)
            assert status in (403, 413), (path, status, body)
            assert any(path in line or "refused upload" in line for line in lines), path


def test_acts_that_touch_what_is_archived_are_for_who_may_manage() -> None:
    for act in ("amend", "withdraw", "accept", "accept-records", "hold", "case-open", "case-step"):
        assert {DESK_PAGES[f"/look-after/{act}{end}"].needs for end in ("", "/check", "/do")} == {"manage"}
    assert not READ_ONLY & DESK_PAGES.keys()


def test_a_room_without_a_desk_has_none_of_its_pages(room: Any, inside: tuple[str, str]) -> None:
    base, cookie = inside
    for path, page in DESK_PAGES.items():
        answer = room.ask(base + path, page.method, cookie=cookie, sec_fetch_site="same-origin")
        assert answer.status == 404, path
    front = room.ask(base + "/", cookie=cookie)
    assert not re.search(r"Hand in|Look after", front.body)
