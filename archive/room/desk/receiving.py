"""The two addresses at which files come in: a form of several, and one file as the body, as the page's script sends it.

One upload at a time per sign-in. What does not come for a minute ends it. What came whole before stays in the tray.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol
from urllib.parse import unquote

import anyio
from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from archive.errors import Trouble
from archive.room.desk.desk import Desk
from archive.room.desk.incoming import FormReader, into
from archive.room.desk.tray import Tray
from archive.room.guard import form_token_holds
from archive.room.render import address

_PATIENCE = 60.0
"""Seconds without a byte."""

_PIECE = 1 << 20
"""Bytes that are written at once."""


class _Taking(Protocol):
    def write(self, data: bytes) -> None: ...
    def end(self) -> None: ...
    def give_up(self) -> None: ...


async def form(request: Request, desk: Desk) -> Response:
    """Takes a form with files, and goes to the page of the tray. Errors: Trouble, OSError."""
    sign_in = request.scope["sign_in"]

    def tray(texts: dict[str, str]) -> Tray:
        _own_form(request, texts.get("form_token"))
        return desk.tray_for(sign_in, texts.get("tray"), texts.get("purpose", ""))

    with desk.uploading(sign_in.number):
        reader = FormReader(request.headers.get("content-type", ""), tray)
        await _taken(request, reader)
    _own_form(request, reader.texts.get("form_token"))
    if reader.tray is None or not (reader.count or reader.tray.files()):
        raise Trouble("no file was chosen", code="desk.upload", remedy="go back and choose files, a folder or a zip")
    where = await to_thread.run_sync(desk.arrived, sign_in, reader.tray)
    return RedirectResponse(address(request.scope["base"], where, tray=reader.tray.id), 303)


async def one(request: Request, desk: Desk) -> Response:
    """Takes one file whose bytes are the body. Headers: x-form-token, x-tray (none for a new one), x-name (UTF-8, as
    encodeURIComponent gives it), x-purpose. Gives the tray's id. Errors: Trouble, OSError."""
    sign_in = request.scope["sign_in"]
    _own_form(request, request.headers.get("x-form-token"))
    name = unquote(request.headers.get("x-name", ""), errors="replace")
    with desk.uploading(sign_in.number):
        tray = desk.tray_for(sign_in, request.headers.get("x-tray"), request.headers.get("x-purpose", ""))
        await _taken(request, into(tray, name))
    return JSONResponse({"tray": tray.id})


async def _taken(request: Request, taking: _Taking) -> None:
    """Passes the body on in pieces, from a thread that may wait for the disk."""
    whole = False
    try:
        piece = bytearray()
        async for data in _patiently(request):
            piece += data
            if len(piece) >= _PIECE:
                await to_thread.run_sync(taking.write, bytes(piece))
                piece.clear()
        await to_thread.run_sync(taking.write, bytes(piece))
        await to_thread.run_sync(taking.end)
        whole = True
    finally:
        if not whole:
            taking.give_up()


async def _patiently(request: Request) -> Any:
    """The body as it comes. Errors: Trouble where nothing comes, or the browser went away."""
    receive: Callable[[], Any] = request.receive
    while True:
        try:
            with anyio.fail_after(_PATIENCE):
                message = await receive()
        except TimeoutError:
            raise _not_whole(f"nothing for {_PATIENCE:.0f} seconds") from None
        if message["type"] == "http.disconnect":
            raise _not_whole("the connection ended")
        yield message.get("body", b"")
        if not message.get("more_body", False):
            return


def _not_whole(found: str) -> Trouble:
    return Trouble("the upload did not come whole", code="desk.upload", found=found, remedy="send it again")


def _own_form(request: Request, token: str | None) -> None:
    if not form_token_holds(request.scope["sign_in"], token):
        raise Trouble("the form is not of this sign-in", code="desk.form-token", remedy="open the page again")
