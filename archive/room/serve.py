"""The room as a server on this machine: a socket on loopback, the guard, the address with its token."""

from __future__ import annotations

import socket
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from archive import store
from archive.errors import Trouble
from archive.room.app import RoomUpload, application
from archive.room.desk.desk import Desk
from archive.room.door import Door, secret_path
from archive.room.guard import Guard, Refusal, RoomAddress
from archive.room.holder import NOBODY, Holder
from archive.room.pages import DESK_PAGES, PAGES
from archive.room.render import render
from archive.room.users import Users
from archive.store import memory

HOST = "127.0.0.1"
_SETTINGS = "room"


@dataclass(frozen=True)
class Outward:
    """How a room is reached from other machines. address: to listen at. names: by which it is reached. certificate,
    key: files for TLS. users: who may come in."""

    address: str
    names: Sequence[str]
    certificate: Path
    key: Path
    users: Users


@dataclass(frozen=True)
class Opening:
    """How a room is opened. names: further names that lead to this machine. outward: None for this machine alone.
    holder: whoever opens it. desk: with a desk for handing in and looking after. tray: a folder of this machine whose
    contents can be chosen there."""

    names: Sequence[str] = ()
    outward: Outward | None = None
    holder: Holder = NOBODY
    desk: bool = False
    tray: Path | None = None


def serve(
    root: Path, port: int, announce: Callable[[str], None], log: Callable[[str], None], how: Opening | None = None
) -> None:
    """Serves the archive at root until it is interrupted.

    port: 0 for any free one. announce: called with the address once it is answered. log: called with a line for each
    refusal and fault.

    Errors: Trouble where there is no archive, the port is taken, or the folder of the tray is none.
    """
    how = how or Opening()
    outward, holder = how.outward, how.holder
    if how.tray is not None and not how.tray.is_dir():
        raise Trouble("there is no such folder", code="desk.offered", where=str(how.tray), remedy="name a folder")
    archive = store.open(root)
    archive.catch_up()
    folder = memory.folder(archive.id)
    with tempfile.TemporaryDirectory() as passing:
        place = (folder or Path(passing)) / _SETTINGS
        base = f"/r/{secret_path(place)}"
        bound = _bound(HOST if outward is None else outward.address, port)
        port = bound.getsockname()[1]
        door = Door(place / "tokens", "manage" if how.desk else "read")
        ours = (HOST, "localhost", "[::1]", *how.names) if outward is None else outward.names
        hosts = frozenset(f"{name}:{port}".casefold() for name in ours)
        desk = Desk(root, place.parent / "desk", holder, how.tray) if how.desk else None
        pages = {**PAGES, **DESK_PAGES} if how.desk else PAGES
        uploads = frozenset(path for path, page in pages.items() if isinstance(page, RoomUpload))
        address = RoomAddress(hosts, base, outward is not None, uploads)
        users = None if outward is None else outward.users
        guard = Guard(application(root, pages, log, holder, desk), door, address, users, log, _page)
        memory.remember(archive.id, _PORTS, [*_open_ports(archive.id), *([port] if outward is None else [])])
        server = uvicorn.Server(_config(guard, outward))
        announce(
            f"http://{HOST}:{port}/open?t={door.issue()}"
            if outward is None
            else f"https://{outward.names[0]}:{port}/sign-in"
        )
        server.run(sockets=[bound])


def _config(guard: Guard, outward: Outward | None) -> uvicorn.Config:
    return uvicorn.Config(
        guard,
        log_config=None,
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        limit_concurrency=64,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=5,
        h11_max_incomplete_event_size=32 * 1024,
        lifespan="off",
        http="h11",
        ws="none",
        ssl_certfile=None if outward is None else outward.certificate,
        ssl_keyfile=None if outward is None else outward.key,
    )


def another_token(root: Path) -> str:
    """The address of a room that runs for this archive and user, with a new token.

    Errors: Trouble where none was started.
    """
    archive = store.open(root)
    folder, ports = memory.folder(archive.id), _open_ports(archive.id)
    if folder is None or not ports:
        raise Trouble(
            "no room is open for this archive", code="room.none", where=str(root), remedy="start one: `muniment room`"
        )
    return f"http://{HOST}:{ports[-1]}/open?t={Door(folder / _SETTINGS / 'tokens').issue()}"


_PORTS = "room-ports"


def _open_ports(archive_id: str) -> list[int]:
    """Ports of the rooms that this user has open for an archive, the last one last."""
    kept = memory.recall(archive_id, _PORTS)
    return [p for p in kept if isinstance(p, int) and _answers(p)] if isinstance(kept, list) else []


def _answers(port: int) -> bool:
    try:
        with socket.create_connection((HOST, port), timeout=2):
            return True
    except OSError:
        return False


def _bound(address: str, port: int) -> socket.socket:
    """A socket that listens at an address."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    bound = socket.socket(family, socket.SOCK_STREAM)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((address, port))
        bound.listen(128)  # what comes before the server does waits here
    except OSError as error:
        bound.close()
        raise Trouble(
            "the address cannot be used",
            code="room.port",
            found=f"{address}, {port}: {error.strerror}",
            remedy="give another with --port, or none",
        ) from None
    return bound


def _page(refusal: Refusal) -> str:
    text = f"{refusal.text.strip()} {refusal.remedy}"
    return render("told.html", title=refusal.title, text=text, found="", base="", forward=refusal.forward)
