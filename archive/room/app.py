"""The room's addresses and what answers each: one table, and one form for every error."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

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
from archive.room.guard import form_token_holds
from archive.room.holder import NOBODY, Holder
from archive.room.holdings import Holdings, Looked
from archive.room.language import language_of
from archive.room.render import STATIC, address, render
from archive.room.users import ROLES, Role
from archive.store import Archive
from archive.store.ledger.entry import Sign

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


QUICK = frozenset(("/find/rows", "/find/narrow"))
"""What is asked at each key: answered by threads of its own, which no long work can hold."""

_QUICK_THREADS, _THREADS = 3, 8
_Given = tuple[tuple[tuple[str, str], ...], dict[str, tuple[str, bytes]]]


def application(
    root: Path, pages: Mapping[str, RoomPage], log: Callable[[str], None], holder: Holder = NOBODY
) -> Starlette:
    """The room as an ASGI application, without its guard.

    root: the archive. pages: by path. log: called with a line for each fault and refusal. holder: whoever opens it.
    """
    holdings = Holdings(root, holder)
    holdings.warm()
    quick, others = CapacityLimiter(_QUICK_THREADS), CapacityLimiter(_THREADS)

    def route(path: str, page: RoomPage) -> Route:
        async def answer(request: Request) -> Response:
            role = request.scope["sign_in"].role
            if ROLES.index(role) < ROLES.index(page.needs):
                log(f"refused 403 role: {page.method} {path} needs {page.needs}, and {role} was given")
                text = f"Nothing was done. It needs a user who may {page.needs}."
                return _told(request, 403, "This sign-in may not do that", text)
            several, files = await _given(request)
            given = dict(several)
            if page.method == "POST" and not form_token_holds(request.scope["sign_in"], given.get("form_token")):
                return _told(request, 403, "The form is not of this sign-in", "Nothing was done. Open the page again.")
            limiter = quick if path in QUICK else others
            return await to_thread.run_sync(
                _answered, request, page.answer, holdings, several, files, log, limiter=limiter
            )

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
    async with request.form(max_files=8, max_fields=64, max_part_size=1024 * 1024) as form:
        assert isinstance(form, FormData)
        texts = tuple((name, value) for name, value in form.multi_items() if isinstance(value, str))
        for name, value in form.multi_items():
            if isinstance(value, UploadFile) and value.filename:
                files[name] = (value.filename, await value.read(LARGEST_FORM + 1))
    return texts, files


def _answered(
    request: Request,
    page: Page,
    holdings: Holdings,
    several: tuple[tuple[str, str], ...],
    files: Mapping[str, tuple[str, bytes]],
    log: Callable[[str], None],
) -> Response:
    scope = request.scope
    path, query = scope["path"], scope["query_string"].decode("latin-1")

    def answer() -> Response:
        if any(len(data) > LARGEST_FORM for _, data in files.values()):
            raise Trouble("the file is too large", code="room.upload", expected=f"{LARGEST_FORM >> 20} MiB at most")
        partial = request.headers.get("hx-request") == "true"
        looked = holdings.look(quick=path in QUICK)
        here = path + ("?" + query if query else "")
        words = Wording(language_of(request.cookies, request.headers.get("accept-language", "")))
        place = (looked, scope["base"], holdings.root, scope["sign_in"])
        around = (words, here, scope["door"], holdings.holder)
        return page(PageRequest(*place, dict(several), files, partial, *around, several))

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
    text = f"Nothing was changed. The fault has the number {number}, which is also in the log. Please report it."
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
