"""The guard before every page, by requests written out byte for byte."""

from __future__ import annotations

import socket

import pytest

from archive.room import guard
from archive.room.door import Door
from archive.room.pages import PAGES
from tests.room.serving import Room

OURS = {"sec_fetch_site": "same-origin"}


def test_the_first_line_is_the_address_and_its_token_is_good_once(room: Room):
    assert room.address.startswith(f"http://127.0.0.1:{room.port}/open?t=") and len(room.token) >= 43
    first, second = room.ask(f"/open?t={room.token}"), room.ask(f"/open?t={room.token}")
    assert first.status == 303 and "httponly" in first.headers["set-cookie"].casefold()
    assert "samesite=strict" in first.headers["set-cookie"].casefold()
    assert room.token not in first.headers["location"] and room.token not in first.headers["set-cookie"]
    assert second.status == 401 and "--again" in second.body and "set-cookie" not in second.headers


def test_nothing_is_shown_without_a_sign_in(room: Room, inside: tuple[str, str]):
    base, _ = inside
    assert len(PAGES) > 10
    for path, page in PAGES.items():
        for cookie in ({}, {"cookie": f"muniment-{room.port}=made-up"}):
            answer = room.ask(base + path, page.method, sec_fetch_site="same-origin", **cookie)
            assert answer.status == 401 and "token stands in the terminal" in answer.body, path
            assert "1A-A01" not in answer.body


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.localhost:{port}",
        "127.0.0.1",
        "127.0.0.1:1",
        "127.0.0.1:{port}.evil.example",
        "",
        "{ours}\n{ours}",
    ],
)
def test_a_name_that_is_not_ours_is_refused_before_anything_else(room: Room, inside: tuple[str, str], host: str):
    base, cookie = inside
    given = host.format(port=room.port, ours=room.host)
    for target in (base + "/", "/static/room.css", "/open?t=x"):
        answer = room.ask(target, host=given, cookie=cookie)
        assert answer.status == 400 and "1A-A01" not in answer.body


@pytest.mark.parametrize(
    ("site", "origin", "status"),
    [
        ("same-origin", None, 200),
        ("none", None, 200),
        (None, None, 200),
        ("same-site", None, 403),
        ("cross-site", "http://evil.example", 403),
        ("cross-site", None, 403),
        ("same-origin\ncross-site", None, 403),
    ],
)
def test_a_page_is_shown_to_our_own_pages_and_to_typed_addresses(
    room: Room, inside: tuple[str, str], site: str | None, origin: str | None, status: int
):
    base, cookie = inside
    headers = {"sec_fetch_site": site, "origin": origin}
    answer = room.ask(base + "/", cookie=cookie, **{k: v for k, v in headers.items() if v is not None})
    assert answer.status == status and ("1A-A01" in answer.body) is (status == 200)


@pytest.mark.parametrize(
    ("site", "origin", "passes"),
    [
        ("same-origin", "{ours}", True),
        ("same-origin", None, True),
        (None, "{ours}", True),
        (None, None, False),
        ("none", None, False),
        ("same-site", "http://127.0.0.1:1", False),
        ("same-origin", "null", False),
        (None, "null", False),
        (None, "http://evil.example", False),
    ],
)
def test_what_changes_or_makes_something_comes_from_our_own_form(
    room: Room, inside: tuple[str, str], site: str | None, origin: str | None, passes: bool
):
    base, cookie = inside
    ours = f"http://{room.host}"
    headers = {"sec_fetch_site": site, "origin": origin and origin.format(ours=ours)}
    given = {k: v for k, v in headers.items() if v is not None}
    kind = "application/x-www-form-urlencoded"
    answer = room.ask(base + "/claim.zip", "POST", b"label=1A-A01", cookie=cookie, content_type=kind, **given)
    assert answer.status == 403  # what passes the guard has no form token yet
    assert ("not of this sign-in" in answer.body) is passes


def test_methods_sizes_and_odd_addresses_are_refused(room: Room, inside: tuple[str, str]):
    base, cookie = inside
    assert room.ask(base + "/", "PUT", cookie=cookie, **OURS).status == 405
    assert room.ask(base + "/jobs", "POST", b"x", cookie=cookie, **OURS).status == 405
    assert room.ask(base + "/?q=" + "a" * 9000, cookie=cookie).status == 414
    assert room.ask(base + "/claim.zip", "POST", cookie=cookie, content_length=str(1 << 40), **OURS).status == 413
    assert room.ask(base + "/nowhere", cookie=cookie).status == 404
    assert room.ask("/etc/passwd", cookie=cookie).status == 404
    for path in ("/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", base + "/../../etc/passwd"):
        answer = room.ask(path, cookie=cookie)
        assert answer.status in (404, 401) and "import" not in answer.body, path


def test_every_answer_has_the_headers(room: Room, inside: tuple[str, str]):
    base, cookie = inside
    for target, given in ((base + "/", {"cookie": cookie}), ("/static/room.css", {}), (base + "/", {})):
        headers = room.ask(target, **given).headers
        assert "'unsafe-inline'" not in headers["content-security-policy"]
        assert "default-src 'none'" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff" and headers["referrer-policy"] == "same-origin"
        assert "access-control-allow-origin" not in headers and "server" not in headers


def test_each_refusal_is_one_line_without_secrets(room: Room, inside: tuple[str, str]):
    base, cookie = inside
    before = len(room.log.read_text().splitlines())
    room.ask(base + "/link?label=secret-label", cookie=cookie, sec_fetch_site="cross-site")
    room.ask("/open?t=guessed-token")
    lines = room.log.read_text().splitlines()[before:]
    assert len(lines) == 2 and "link from elsewhere" in lines[0] and "token" in lines[1]
    for line in lines:
        assert "secret-label" not in line and "guessed-token" not in line and base.rpartition("/")[2] not in line


def test_the_room_listens_on_loopback_alone(room: Room):
    own = {i[4][0] for i in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)} - {"127.0.0.1"}
    for other in own:
        if other.startswith("127."):
            continue
        with pytest.raises(OSError), socket.create_connection((other, room.port), timeout=2):
            pass


def test_tokens_age_and_are_spent_by_one_alone(tmp_path, monkeypatch):
    door = Door(tmp_path / "tokens")
    token = door.issue()
    assert oct((tmp_path / "tokens").stat().st_mode & 0o777) == "0o700"
    assert token not in {p.name for p in (tmp_path / "tokens").iterdir()}
    other = Door(tmp_path / "tokens")
    key = other.spend(token)
    assert key is not None and other.known(key) is not None and door.known(key) is None
    assert door.spend(token) is None and door.spend("../tokens") is None
    monkeypatch.setattr("archive.room.door.TOKEN_SECONDS", -1)
    assert door.spend(door.issue()) is None


def test_a_rate_is_kept_for_each_peer():
    rate = guard.Rate(per_second=0.0, burst=3.0)
    assert [rate.take("a") for _ in range(4)] == [True, True, True, False]
    assert rate.take("b")


def test_a_page_is_answered_to_those_alone_who_may(shelf):
    """The table of pages says what each needs; the one that asks for more than a sign-in has is refused and logged."""
    import asyncio

    from starlette.responses import PlainTextResponse

    from archive.room.app import RoomPage, application
    from archive.room.door import SignIn
    from archive.room.users import ROLES

    log: list[str] = []
    pages = {f"/{role}": RoomPage("GET", lambda asked: PlainTextResponse("shown"), role) for role in ROLES}
    app = application(shelf, pages, log.append)

    def status(path: str, role: str) -> int:
        sent: list[dict] = []

        async def receive() -> dict:
            return {"type": "http.request", "body": b""}

        async def send(message: dict) -> None:
            sent.append(message)

        place = {"type": "http", "method": "GET", "path": path, "raw_path": path.encode(), "query_string": b""}
        inside = {"sign_in": SignIn("x", role), "base": "/r/x", "door": None, "headers": [], "root_path": ""}
        asyncio.run(app({**place, **inside}, receive, send))
        return sent[0]["status"]

    for asked in ROLES:
        for given in ROLES:
            allowed = ROLES.index(given) >= ROLES.index(asked)
            assert status(f"/{asked}", given) == (200 if allowed else 403), (asked, given)
    assert len([line for line in log if "refused 403 role" in line]) == 3
    assert all(page.needs in ROLES for page in PAGES.values())
