"""The room's addresses and what answers each: one table, and one form for every error."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from anyio import CapacityLimiter, to_thread
from starlette.applications import Starlette
from starlette.datastructures import FormData, UploadFile
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from archive.answers.wording import Wording
from archive.errors import Trouble
from archive.isolation import ProgramFault, attempt
from archive.room.door import Door, SignIn
from archive.room.guard import SAFE, form_token_holds
from archive.room.holder import NOBODY, Holder
from archive.room.holdings import Holdings, Looked
from archive.room.language import language_of
from archive.room.render import STATIC, address, render
from archive.room.users import ROLES, Role
from archive.store import Archive
from archive.store.ledger.entry import Sign

if TYPE_CHECKING:
    from archive.room.desk.desk import Desk

LARGEST_FORM = 32 * 1024 * 1024
MISSING = frozenset(
    (
        "link.unknown",
        "job.unknown",
        "record.unknown",
        "room.no-original",
        "room.no-document",
        "room.no-curve",
        "room.no-picture",
        "desk.no-file",
        "desk.no-plan",
        "desk.no-tray",
        "desk.no-work",
    )
)
"""Codes of what is not there: 404. Everything else that a person can fix is 422."""


@dataclass(frozen=True)
class PageRequest:
    """One question: the archive as it is now, what the address or the form gives, and who asks.

    given: names to texts; of a name given twice the last. several: all of them, in their order. files: uploads by name
    of the field, (file name, bytes). words: the language of the page. here: its address within the room. door: with all
    sign-ins. holder: whoever opened the room.
    """

    look: Looked
    base: str
    root: Path
    sign_in: SignIn
    given: Mapping[str, str]
    files: Mapping[str, tuple[str, bytes]]
    partial: bool
    """Whether only the part that changes is asked for."""
    words: Wording
    here: str
    door: Door
    holder: Holder
    several: tuple[tuple[str, str], ...] = ()
    desk: Desk | None = None

    @property
    def at_desk(self) -> Desk:
        """The desk, for pages that there are with one alone."""
        assert self.desk is not None
        return self.desk

    def may(self, role: Role) -> bool:
        """Whether the sign-in may do what a role may, in this room."""
        return (role == "read" or self.desk is not None) and _may(self.sign_in, role)

    def text(self, name: str) -> str | None:
        """A text that was given; None where it is absent or blank."""
        return self.given.get(name, "").strip() or None

    @property
    def made_by(self) -> str:
        """Who makes a document: the user who signed in, or whoever opened the room; "" where nobody is named."""
        return self.sign_in.name or self.holder.by or ""

    def sign(self, archive: Archive) -> Sign | None:
        """What signs documents: the key of whoever opened the room, for that person alone."""
        return None if self.sign_in.name else self.holder.sign(archive)

    def all(self, name: str) -> list[str]:
        """All texts that were given under a name."""
        return [value.strip() for key, value in self.several if key == name and value.strip()]

    def needed(self, name: str) -> str:
        """A text that has to be given. Errors: Trouble."""
        found = self.text(name)
        if found is None:
            raise Trouble(f"the address says no {name}", code="room.address", remedy="go back and choose it there")
        return found

    def address(self, path: str, **query: str | int | list[str] | None) -> str:
        """An address of this room."""
        return address(self.base, path, **query)

    def page(self, template: str, title: str, command: str, **values: Any) -> Response:
        """A whole page. command: does the same at a terminal; with exact=False among the values only the nearest."""
        return HTMLResponse(
            render(
                template,
                asked=self,
                title=title,
                command=command,
                head=self.look.head,
                to_know=self.look.to_know,
                w=self.words,
                **{"exact": True, **values},
            )
        )

    def part(self, template: str, **values: Any) -> Response:
        """A part of a page."""
        return HTMLResponse(render(template, asked=self, w=self.words, **values))


Page = Callable[[PageRequest], Response]


@dataclass(frozen=True)
class RoomPage:
    """What stands at an address. needs: what somebody must be allowed at least."""

    method: str
    answer: Page
    needs: Role = "read"


@dataclass(frozen=True)
class RoomUpload:
    """Where files come in: the body is taken as it comes, and its form token is looked at by whoever takes it."""

    answer: Callable[[Request, Desk], Awaitable[Response]]
    needs: Role = "deposit"
    method: str = "POST"


def _may(sign_in: SignIn, needs: Role) -> bool:
    return ROLES.index(sign_in.role) >= ROLES.index(needs)


QUICK = frozenset(("/find/rows", "/find/narrow"))
"""What is asked at each key: answered by threads of its own, which no long work can hold."""

_QUICK_THREADS, _THREADS = 3, 8
_Given = tuple[tuple[tuple[str, str], ...], dict[str, tuple[str, bytes]]]


def application(
    root: Path,
    pages: Mapping[str, RoomPage | RoomUpload],
    log: Callable[[str], None],
    holder: Holder = NOBODY,
    desk: Desk | None = None,
) -> Starlette:
    """The room as an ASGI application, without its guard.

    root: the archive. pages: by path. log: called with a line for each fault and refusal. holder: whoever opens it.
    desk: for handing in, where there is one.
    """
    holdings = Holdings(root, holder)
    holdings.warm()
    limits = CapacityLimiter(_QUICK_THREADS), CapacityLimiter(_THREADS)
    kept = _Kept(holdings, desk, log)

    def route(path: str, page: RoomPage | RoomUpload) -> Route:
        async def answer(request: Request) -> Response:
            sign_in = request.scope["sign_in"]
            if not _may(sign_in, page.needs):
                log(f"refused 403 role: {page.method} {path} needs {page.needs}, and {sign_in.role} was given")
                text = f"Nothing was done. It needs a user who may {page.needs}."
                return _told(request, 403, "This sign-in may not do that", text)
            if isinstance(page, RoomUpload):
                return await _taken_in(request, page, kept)
            several, files = await _given(request)
            given = dict(several)
            if page.method == "POST" and not form_token_holds(sign_in, given.get("form_token")):
                log(f"refused 403 form token: POST {path}")
                return _told(request, 403, "The form is not of this sign-in", "Nothing was done. Open the page again.")
            limiter = limits[path not in QUICK]
            return await to_thread.run_sync(_answered, request, page.answer, kept, several, files, limiter=limiter)

        return Route(path, answer, methods=[page.method])

    async def nowhere(request: Request, _: Exception) -> Response:
        return _told(request, 404, "Nothing stands at this address", "It is no page of this room. Go back.")

    async def unlike(request: Request, _: Exception) -> Response:
        return _told(request, 405, "Not understood here", "Nothing was done. Go back.")

    app = Starlette(
        routes=[
            *(route(path, page) for path, page in pages.items()),
            Mount("/static", StaticFiles(directory=STATIC)),
        ],
        exception_handlers={404: nowhere, 405: unlike},
    )
    app.add_middleware(GZipMiddleware, minimum_size=2_000, compresslevel=4)
    return app


async def _given(request: Request) -> _Given:
    """Texts and files of the query, or of the form."""
    if request.method != "POST":
        return tuple(request.query_params.multi_items()), {}
    files: dict[str, tuple[str, bytes]] = {}
    async with request.form(max_files=8, max_fields=4_000, max_part_size=1024 * 1024) as form:
        assert isinstance(form, FormData)
        texts = tuple((name, value) for name, value in form.multi_items() if isinstance(value, str))
        for name, value in form.multi_items():
            if isinstance(value, UploadFile) and value.filename:
                files[name] = (value.filename, await value.read(LARGEST_FORM + 1))
    return texts, files


@dataclass(frozen=True)
class _Kept:
    """What every answer needs."""

    holdings: Holdings
    desk: Desk | None
    log: Callable[[str], None]


async def _taken_in(request: Request, page: RoomUpload, kept: _Kept) -> Response:
    """What comes of files that come in."""
    assert kept.desk is not None
    try:
        return await page.answer(request, kept.desk)
    except Trouble as trouble:
        kept.log(f"refused upload: {trouble.code}, {trouble.message}")
        status = 403 if trouble.code == "desk.form-token" else 404 if trouble.code in MISSING else 413
        return _told(request, 409 if trouble.code == "desk.one-upload" else status, trouble.message, _sentence(trouble))
    except OSError as error:
        kept.log(f"the system, at an upload: {error.strerror or error}")
        return _told(request, 507, "It could not be kept", f"The system says: {error.strerror}.")


def _answered(
    request: Request,
    page: Page,
    kept: _Kept,
    several: tuple[tuple[str, str], ...],
    files: Mapping[str, tuple[str, bytes]],
) -> Response:
    scope, log = request.scope, kept.log
    path, query = scope["path"], scope["query_string"].decode("latin-1")

    def answer() -> Response:
        if any(len(data) > LARGEST_FORM for _, data in files.values()):
            raise Trouble("the file is too large", code="room.upload", expected=f"{LARGEST_FORM >> 20} MiB at most")
        partial = request.headers.get("hx-request") == "true"
        holdings = kept.holdings
        looked = holdings.look(quick=path in QUICK)
        here = path + ("?" + query if query else "")
        words = Wording(language_of(request.cookies, request.headers.get("accept-language", "")))
        place = (looked, scope["base"], holdings.root, scope["sign_in"])
        around = (words, here, scope["door"], holdings.holder)
        return page(PageRequest(*place, dict(several), files, partial, *around, several, kept.desk))

    try:
        found = attempt(answer, scope["path"])
    except Trouble as trouble:
        status = 404 if trouble.code in MISSING else 409 if trouble.code.endswith("ambiguous") else 422
        return _told(request, status, trouble.message, _sentence(trouble), found=trouble.found)
    except OSError as error:
        log(f"the system, at {scope['path'][:80]!a}: {error.strerror or error}")
        return _told(request, 503, "The archive cannot be read just now", f"The system says: {error.strerror}.")
    if not isinstance(found, ProgramFault):
        return found
    number = secrets.token_hex(4)
    log(f"fault {number} at {scope['path'][:80]!a}: {found.what}")
    done = (
        "Nothing was changed."
        if request.method in SAFE
        else "Whether the ledger has a new entry, the foot of each page tells; what was asked may be done or not."
    )
    text = f"{done} The fault has the number {number}, which is also in the log. Please report it."
    return _told(request, 500, "A fault of this program, not yours", text)


def _sentence(trouble: Trouble) -> str:
    parts = [
        "" if Path(trouble.where).is_dir() else trouble.where,
        f"expected {trouble.expected}" if trouble.expected else "",
        trouble.remedy,
    ]
    return ". ".join(part[:1].upper() + part[1:] for part in parts if part)


def _told(request: Request, status: int, title: str, text: str, found: str = "") -> Response:
    if request.headers.get("hx-request") == "true" or "sign_in" not in request.scope:
        return PlainTextResponse(f"{title}. {text}", status)
    values = {"title": title, "text": text, "found": found, "base": request.scope["base"], "forward": False}
    return HTMLResponse(render("told.html", **values), status)
