"""The guard before every page: host, sign-in, origin, size, rate and headers; a line for each refusal.

Other programs and pages on the same machine may send requests here, and a name of a stranger may resolve to it. So:
the host is compared first of all; a cookie counts only where the browser says that the request is our own page's; and
nothing of a request is trusted because a header is absent.
"""

from __future__ import annotations

import math
import secrets
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field, replace
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request, cookie_parser
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from archive.room.door import Door, SignIn
from archive.room.render import render
from archive.room.users import Users

SAFE = frozenset(("GET", "HEAD"))
METHODS = SAFE | {"POST"}

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    "cache-control": "no-store",
}
"""On every answer, unless it sets its own."""

LARGEST_BODY = 64 * 1024 * 1024
LARGEST_UPLOAD = 80 << 30
"""Bytes of the body of a request; of one that hands in whole exports. What a tray holds is less (room.desk.tray)."""
LONGEST_TARGET = 8_000
"""Bytes of a path with its query."""


@dataclass(frozen=True)
class Refusal:
    """Why a request was refused: the rule, the status, and what a person reads."""

    rule: str
    status: int
    title: str
    text: str
    remedy: str
    forward: bool = False
    retry_after: int = 0


@dataclass
class Rate:
    """A bucket of requests for each peer: `burst` at once, `per_second` after that."""

    per_second: float = 250.0
    burst: float = 1_000.0
    _left: dict[str, tuple[float, float]] = field(default_factory=dict)

    def take(self, who: str) -> bool:
        """Whether one more request is within the rate."""
        now = time.monotonic()
        left, then = self._left.get(who, (self.burst, now))
        left = min(self.burst, left + (now - then) * self.per_second)
        if len(self._left) > 10_000:
            self._left.clear()
        self._left[who] = (max(0.0, left - 1.0), now)
        return left >= 1.0


@dataclass(frozen=True)
class RoomAddress:
    """Where a room is. hosts: values of Host that are ours, with the port. base: the secret path before every address,
    "/r/...". secure: it is behind TLS. uploads: paths at which exports come in, and are counted."""

    hosts: frozenset[str]
    base: str
    secure: bool = False
    uploads: frozenset[str] = frozenset()

    @property
    def cookie(self) -> str:
        """Name of its cookie: cookies know no ports, so the name does."""
        return f"muniment-{next(iter(self.hosts)).rpartition(':')[2]}"


class Guard:
    """ASGI middleware. Lets in what passes, with scope["sign_in"] set, and answers everything else itself.

    users: who may sign in with a password; None: tokens alone. log: called with one line for each refusal. page: makes
    the page of a refusal.
    """

    def __init__(
        self,
        app: ASGIApp,
        door: Door,
        address: RoomAddress,
        users: Users | None,
        log: Callable[[str], None],
        page: Callable[[Refusal], str],
    ) -> None:
        self.app, self.door, self.hosts, self.base = app, door, address.hosts, address.base
        self._secure, self._users, self._log, self._page = address.secure, users, log, page
        self._uploads = frozenset(self.base + path for path in address.uploads)
        self._scheme = "https" if address.secure else "http"
        self.cookie = address.cookie
        self._rate = Rate()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answers one request; only HTTP is spoken."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # a socket that nothing of ours opens
            await send({"type": "websocket.close", "code": 1008})
            return
        answered = _with_headers(send)
        found = await self._looked_at(scope, receive)
        if isinstance(found, Refusal):
            self._tell(scope, found)
            await self._refused(found)(scope, receive, answered)
        elif isinstance(found, Response):
            await found(scope, receive, answered)
        elif found is None:
            await self.app(scope, receive, answered)
        else:
            path = scope["path"][len(self.base) :]
            inside = {
                **scope,
                "sign_in": found,
                "door": self.door,
                "base": self.base,
                "path": path,
                "raw_path": path.encode(),
            }
            await self.app(inside, _bounded(receive, self._largest(scope)), answered)

    async def _looked_at(self, scope: Scope, receive: Receive) -> Refusal | Response | SignIn | None:
        """Why a request is refused, or what answers it, or the sign-in that it comes in by; None for static files."""
        headers = Headers(scope=scope)
        for look in (self._host, self._form, self._rated, self._origin):
            refused = look(scope, headers)
            if refused is not None:
                return refused
        if scope["path"] == "/open":
            return self._opened(scope)
        if scope["path"].startswith("/static/"):  # of this program, and no secret
            return None
        if scope["path"] == "/sign-in" and self._users is not None:
            return await self._let_in(self._users, scope, receive)
        key, signed_in = self._signed_in(headers)
        if signed_in is None:
            return _NOT_SIGNED_IN if self._users is None else RedirectResponse("/sign-in", 303)
        if scope["path"] == self.base + "/sign-out" and scope["method"] == "POST":
            self.door.end(key)
            return RedirectResponse("/", 303)
        if scope["path"] in ("/", self.base):
            return RedirectResponse(self.base + "/", 303)
        return signed_in if scope["path"].startswith(self.base + "/") else _NOT_HERE

    def _host(self, _: Scope, headers: Headers) -> Refusal | None:
        hosts = headers.getlist("host")
        return None if len(hosts) == 1 and hosts[0].casefold() in self.hosts else _FOREIGN_HOST

    def _form(self, scope: Scope, headers: Headers) -> Refusal | None:
        """Method, length of the address, size of the body."""
        if scope["method"] not in METHODS:
            return Refusal("method", 405, "Not understood", f"{scope['method'][:20]} is not answered here.", "Go back.")
        if len(scope.get("raw_path") or b"") + len(scope["query_string"]) > LONGEST_TARGET:
            return Refusal("address too long", 414, "The address is too long", "It was not read.", "Shorten it.")
        size = headers.get("content-length", "0")
        if not size.isascii() or not size.isdigit() or int(size) > self._largest(scope):
            mib = self._largest(scope) >> 20
            text = f"Nothing was read. At most {mib} MiB are taken at once."
            return Refusal("body too large", 413, "Too much at once", text, "Hand in less at a time.")
        return None

    def _largest(self, scope: Scope) -> int:
        """Bytes of a body at this address. What is not signed in hands in nothing: it is refused before its body."""
        return LARGEST_UPLOAD if scope["path"] in self._uploads else LARGEST_BODY

    def _rated(self, scope: Scope, _: Headers) -> Refusal | None:
        client = scope.get("client")
        return None if self._rate.take(client[0] if client else "") else _TOO_FAST

    def _origin(self, scope: Scope, headers: Headers) -> Refusal | None:
        """A request that changes something is our own page's; one that reads is no other page's."""
        site, origin = headers.getlist("sec-fetch-site"), headers.getlist("origin")
        if len(site) > 1 or len(origin) > 1:
            return _FOREIGN_PAGE
        ours = f"{self._scheme}://{headers['host'].casefold()}"
        if scope["method"] in SAFE:
            foreign = bool(site) and site[0] not in ("same-origin", "none")
            return _FOREIGN_LINK if foreign and not self._may_come_from_elsewhere(scope) else None
        same = site[0] == "same-origin" if site else bool(origin) and origin[0] == ours
        return None if same and origin in ([], [ours]) else _FOREIGN_PAGE

    def _may_come_from_elsewhere(self, scope: Scope) -> bool:
        """The page that spends a token is opened from a file that sends the browser here."""
        return bool(scope["path"] == "/open")

    def _opened(self, scope: Scope) -> Refusal | Response:
        from urllib.parse import parse_qs

        tokens = parse_qs(scope["query_string"].decode("latin-1"), max_num_fields=4).get("t", [])
        key = self.door.spend(tokens[0]) if len(tokens) == 1 and scope["method"] == "GET" else None
        if key is None:
            return _SPENT
        return self._inside(key)

    async def _let_in(self, users: Users, scope: Scope, receive: Receive) -> Refusal | Response:
        """The page that asks for name and password, or what came of them."""
        if scope["method"] != "POST":
            return HTMLResponse(render("sign_in.html", wrong=""))
        async with Request(scope, _bounded(receive)).form(max_files=0, max_fields=4) as form:
            name, password = str(form.get("name", ""))[:100], str(form.get("password", ""))
        if (wait := users.wait(name)) > 0:
            return replace(_TOO_SOON, retry_after=math.ceil(wait))
        role = await run_in_threadpool(users.check, name, password)
        users.note(name, role is not None)
        if role is None:
            self._tell(scope, _WRONG)
            return HTMLResponse(render("sign_in.html", wrong=_WRONG.title), _WRONG.status)
        return self._inside(self.door.sign_in(name, role))

    def _inside(self, key: str) -> Response:
        answer = RedirectResponse(self.base + "/", 303)
        answer.set_cookie(self.cookie, key, path=self.base + "/", httponly=True, samesite="strict", secure=self._secure)
        return answer

    def _signed_in(self, headers: Headers) -> tuple[str, SignIn | None]:
        """The key that the browser holds, "" for none, and the sign-in of it."""
        keys = [cookie_parser(line).get(self.cookie, "") for line in headers.getlist("cookie")]
        key = keys[0] if len(keys) == 1 else ""
        return key, self.door.known(key) if key else None

    def _refused(self, refusal: Refusal) -> Response:
        answer = HTMLResponse(self._page(refusal), refusal.status)
        if refusal.retry_after:
            answer.headers["retry-after"] = str(refusal.retry_after)
        return answer

    def _tell(self, scope: Scope, refusal: Refusal) -> None:
        client = scope.get("client") or ("unknown", 0)
        route = scope["path"]
        route = "/r/..." + route[len(self.base) :] if route.startswith(self.base) else route
        shown = "".join(c if c.isprintable() and c.isascii() else "?" for c in route[:80])
        when = time.strftime("%Y-%m-%dT%H:%M:%S%z")
        self._log(f"{when} refused {refusal.status} {refusal.rule}: {scope['method'][:20]} {shown} from {client[0]}")


def form_token_holds(sign_in: SignIn, given: str | None) -> bool:
    """Whether a form carries the token of its sign-in."""
    return given is not None and secrets.compare_digest(sign_in.form_token.encode(), given.encode())


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sent


def _bounded(receive: Receive, largest: int = LARGEST_BODY) -> Callable[[], Awaitable[Message]]:
    """A body that was announced smaller than it is, or not announced, ends the request."""
    seen = 0

    async def received() -> Message:
        nonlocal seen
        message: dict[str, Any] = dict(await receive())
        seen += len(message.get("body", b""))
        return {"type": "http.disconnect"} if seen > largest else message

    return received


_FROM_TERMINAL = "The address with its token stands in the terminal in which the room was started; it is good once. "
_AGAIN = "`muniment room ARCHIVE --again`, typed there, prints a new one."
_NOT_SIGNED_IN = Refusal(
    "no sign-in", 401, "This room is not open to this browser yet", _FROM_TERMINAL, _AGAIN, forward=True
)
_SPENT = Refusal("token", 401, "This token is spent, or was never given out", _FROM_TERMINAL, _AGAIN)
_NOT_HERE = Refusal("address", 404, "Nothing stands at this address", "It is no page of this room.", "Go back.")
_FOREIGN_HOST = Refusal(
    "host",
    400,
    "This name is not one of this room's",
    "The room answers to the address that it printed, and to no other name that leads to this machine.",
    "Open the printed address. A further name is given at the start: `muniment room ARCHIVE --name NAME`.",
)
_FOREIGN_PAGE = Refusal("origin", 403, "Another page sent this", "Nothing was done.", "Open the room and do it there.")
_FOREIGN_LINK = Refusal(
    "link from elsewhere",
    403,
    "Another page leads here",
    "A page of another address asked for this one, so nothing of the archive is shown to it.",
    "Open it from here.",
    forward=True,
)
_WRONG = Refusal("password", 401, "No user has this name with this password", "Nothing was shown.", "Try again.")
_TOO_SOON = Refusal(
    "password again", 429, "Too soon after wrong answers", "This one was not looked at.", "Wait half a minute."
)
_TOO_FAST = Refusal(
    "rate", 429, "Too many requests at once", "This one was not answered.", "Wait a moment.", retry_after=2
)
