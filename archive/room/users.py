"""Users of a room that others reach: names, roles, and passwords behind a hash that is dear to guess.

The file is TOML, one table for each user. A hash is scrypt (RFC 7914) with N = 2^16, r = 8, p = 1: 64 MiB and about a
tenth of a second. At most two are computed at once, or the hash itself would be the attack. Wrong answers are slowed
down and never banned: a ban locks out the owner.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import stat
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import msgspec
import tomlkit

from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.structs import Text, convert, read_toml

Role = Literal["read", "deposit", "manage"]
ROLES: tuple[Role, ...] = ("read", "deposit", "manage")
"""Each may what the ones before it may. This room only reads; the others are for handing in and looking after."""

_N, _R, _P, _SALT = 1 << 16, 8, 1, 16
_MEMORY = 2 * 128 * _R * _N
_SHORTEST = 12
_LONGEST = 1_000
_SLOWEST = 30.0


class User(msgspec.Struct, forbid_unknown_fields=True):
    """One user. scrypt: salt and hash as hexadecimal digits, with a colon between them."""

    role: Role
    scrypt: Text


class UsersFile(msgspec.Struct, forbid_unknown_fields=True):
    """What stands in the file."""

    users: dict[str, User] = {}


@dataclass
class Users:
    """Users of one room."""

    known: dict[str, User]
    _at_once: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(2))
    _wrong: dict[str, tuple[int, float]] = field(default_factory=dict)

    def check(self, name: str, password: str) -> Role | None:
        """The role of a user with this password; None where there is no such user or it is another. The time is the
        same for both."""
        user = self.known.get(name)
        given = user.scrypt if user is not None else _NOBODY
        with self._at_once:
            same = _same(given, password[:_LONGEST])
        return user.role if user is not None and same else None

    def wait(self, name: str) -> float:
        """Seconds for which this name is not asked again: twice as long after each wrong answer, 30 at most."""
        count, since = self._wrong.get(name, (0, 0.0))
        return max(0.0, min(_SLOWEST, 2.0 ** (count - 3)) - (time.monotonic() - since)) if count > 2 else 0.0

    def note(self, name: str, right: bool) -> None:
        """Remembers how an answer was."""
        if right:
            self._wrong.pop(name, None)
            return
        if len(self._wrong) > 10_000:
            self._wrong.clear()
        self._wrong[name] = (self._wrong.get(name, (0, 0.0))[0] + 1, time.monotonic())


def load(path: Path) -> Users:
    """Users of a file. Errors: Trouble where it cannot be read, names none, or others may read it."""
    if os.name == "posix" and path.exists() and stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise Trouble(
            "others may read the file of users",
            code="room.users",
            where=str(path),
            expected="that its owner alone may (mode 0600)",
        )
    found = convert(read_toml(path, code="room.users"), UsersFile, str(path), code="room.users")
    if not found.users:
        remedy = "add one: `muniment room ARCHIVE --users FILE --add-user NAME`"
        raise Trouble("the file names no user", code="room.users", where=str(path), remedy=remedy)
    return Users(found.users)


def add(path: Path, name: str, role: Role, password: str) -> None:
    """Adds a user to a file, or gives him another password and role.

    Errors: Trouble where the name or the password is not fit, or the file is none.
    """
    if not name.strip() or not name.isprintable() or len(name) > 100:
        raise Trouble("no name of a user", code="room.users", found=name, expected="printed letters, 100 at most")
    if not _SHORTEST <= len(password) <= _LONGEST:
        expected = f"{_SHORTEST} letters or more"
        raise Trouble("the password is too short or too long", code="room.users", expected=expected)
    table = read_toml(path, code="room.users") if path.exists() else {}
    file = convert(table, UsersFile, str(path), code="room.users")
    salt = secrets.token_bytes(_SALT)
    file.users[name] = User(role, f"{salt.hex()}:{_hash(salt, password).hex()}")
    before = os.umask(0o077)
    try:
        write_bytes(path, tomlkit.dumps(msgspec.to_builtins(file)).encode())
    finally:
        os.umask(before)


def _same(stored: str, password: str) -> bool:
    salt, _, digest = stored.partition(":")
    return hmac.compare_digest(_hash(bytes.fromhex(salt), password).hex(), digest)


def _hash(salt: bytes, password: str) -> bytes:
    return hashlib.scrypt(password.encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=_MEMORY, dklen=32)


_NOBODY = f"{'00' * _SALT}:{'00' * 32}"
