"""Who may come in: tokens that are good once, and sign-ins after them.

A token lies in a private folder as a file named by its SHA-256, so that a second command can issue one to a room that
runs, and removing the file spends it: whoever removes it is let in, nobody else. The sign-in that follows is another
secret, known to this process alone.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import time
from dataclasses import dataclass, field
from pathlib import Path

from archive.room.users import Role

TOKEN_SECONDS = 24 * 3600
"""For so long a token that nobody used is good."""

SIGN_IN_SECONDS = 7 * 24 * 3600
"""After so long without a request a sign-in ends."""

MOST_SIGN_INS = 1_000


@dataclass
class SignIn:
    """One browser that was let in. name, role: of the user, "" where a token opened. form_token: what its forms carry.
    seen: seconds of the monotonic clock. number: by which it is listed and ended; no secret. began: ISO 8601, to the
    minute, UTC."""

    name: str = ""
    role: Role = "read"
    form_token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    seen: float = field(default_factory=time.monotonic)
    number: str = field(default_factory=lambda: secrets.token_hex(6))
    began: str = field(default_factory=lambda: time.strftime("%Y-%m-%d %H:%M", time.gmtime()))

    @property
    def minutes_ago(self) -> int:
        """Minutes since it asked for something."""
        return int((time.monotonic() - self.seen) // 60)


class Door:
    """Tokens and sign-ins of one room. folder: a private folder, made where it is not there. role: of whoever comes in
    by a token."""

    def __init__(self, folder: Path, role: Role = "read") -> None:
        self._folder, self._role = folder, role
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._signed_in: dict[str, SignIn] = {}

    def issue(self) -> str:
        """A new token of 256 bits. Errors: OSError where the folder cannot be written."""
        token = secrets.token_urlsafe(32)
        os.close(os.open(self._place(token), os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        return token

    def spend(self, token: str) -> str | None:
        """The key of a new sign-in for a token; None where it is unknown, spent or too old."""
        place = self._place(token)
        try:
            age = time.time() - place.stat().st_mtime
            place.unlink()
        except OSError:
            return None
        return self.sign_in(role=self._role) if age <= TOKEN_SECONDS else None

    def sign_in(self, name: str = "", role: Role = "read") -> str:
        """The key of a new sign-in."""
        self._forget()
        key = secrets.token_urlsafe(32)
        self._signed_in[key] = SignIn(name, role)
        return key

    def known(self, key: str) -> SignIn | None:
        """The sign-in of a key; None where there is none, or it ended."""
        found = self._signed_in.get(key)
        if found is None or time.monotonic() - found.seen > SIGN_IN_SECONDS:
            return None
        found.seen = time.monotonic()
        return found

    def end(self, key: str) -> None:
        """Ends a sign-in."""
        self._signed_in.pop(key, None)

    def listed(self) -> list[SignIn]:
        """Sign-ins that have not ended, the one seen last first."""
        now = time.monotonic()
        kept = [s for s in list(self._signed_in.values()) if now - s.seen <= SIGN_IN_SECONDS]
        return sorted(kept, key=lambda s: s.seen, reverse=True)

    def end_number(self, number: str) -> None:
        """Ends the sign-in of a number."""
        for key in [k for k, s in list(self._signed_in.items()) if s.number == number]:
            self.end(key)

    def _forget(self) -> None:
        """Drops what ended, and beyond MOST_SIGN_INS what was seen longest ago."""
        old = sorted(self._signed_in, key=lambda key: self._signed_in[key].seen)
        for key in old[: max(0, len(old) - MOST_SIGN_INS + 1)]:
            del self._signed_in[key]

    def _place(self, token: str) -> Path:
        return self._folder / hashlib.sha256(token.encode()).hexdigest()


def secret_path(folder: Path) -> str:
    """128 random bits for the addresses of one archive and user, the same at every start, so that saved links live on.

    Errors: OSError where the folder cannot be written.
    """
    place = folder / "path"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    try:
        with os.fdopen(os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(16))
    except FileExistsError:
        pass
    found = place.read_text(encoding="ascii")
    if len(found) < 22:  # a start that was stopped in between
        place.unlink()
        return secret_path(folder)
    return found
