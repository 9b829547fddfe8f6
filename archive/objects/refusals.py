"""What to say where a store answers with an error or not at all: one line in our own words, no secret in it."""

from __future__ import annotations

import errno
import re

from archive.errors import Trouble

_STATUS = re.compile(r"status code: (\d{3})|status client error \((\d{3})|status server error \((\d{3})")
_ENVIRONMENT = "the variables AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, or a profile named by AWS_PROFILE"


class StoreTrouble(Trouble):
    """The store did not do what was asked, for a reason outside the archive: nothing is said of what lies there."""


class NotAllowed(StoreTrouble):
    """The store refuses this user what was asked for."""


def missing(address: str) -> FileNotFoundError:
    """There is no such key."""
    return FileNotFoundError(errno.ENOENT, "there is no such object", address)


def told(error: Exception, address: str) -> Exception:
    """What is raised in place of an error of the library. address: of the key that was asked for."""
    text, kind = str(error), type(error).__name__
    if isinstance(error, FileNotFoundError):
        return _no_bucket(address) if "NoSuchBucket" in text else missing(address)
    if kind == "PreconditionError":
        return StoreTrouble(
            "the object was changed while it was read", code="store.changed-meanwhile", where=address, remedy=_AGAIN
        )
    if kind in ("PermissionDeniedError", "UnauthenticatedError") or _status(text) in ("401", "403"):
        return NotAllowed(
            "the store refuses this user what was asked for",
            code="store.refused",
            where=address,
            found=f"HTTP status {_status(text)}" if _status(text) else "",
            remedy="whoever administers the bucket can grant it: reading takes the rights to list and to get, writing "
            "those to put and to delete too",
        )
    if "169.254.169.254" in text or "redentials" in text:
        return StoreTrouble(
            "no credentials for the store were found", code="store.no-credentials", where=address, expected=_ENVIRONMENT
        )
    return StoreTrouble(
        "the store does not answer as it should",
        code="store.no-answer",
        where=address,
        found=_reason(text),
        remedy="look whether the network and the store are up, and run it again",
    )


_AGAIN = "run it again"


def _no_bucket(address: str) -> Trouble:
    return StoreTrouble(
        "there is no such bucket",
        code="store.no-bucket",
        where=address,
        remedy="check the name, the region and the account",
    )


def _status(text: str) -> str:
    found = _STATUS.search(text)
    return next(filter(None, found.groups()), "") if found else ""


def _reason(text: str) -> str:
    lowered = text.lower()
    if status := _status(text):
        return f"HTTP status {status}"
    if "kind: timeout" in lowered or "timedout" in lowered:
        return "no answer in time"
    if "sending request" in lowered or "connect" in lowered:
        return "no connection"
    return "an answer that cannot be read"


def not_known(address: str, why: Exception) -> Trouble:
    """Whether a create was done cannot be told: the store answers neither that nor what stands there now."""
    return StoreTrouble(
        "whether this was committed cannot be told, for the store does not answer",
        code="store.commit-unknown",
        where=address,
        found=why.found if isinstance(why, Trouble) else "",
        remedy="once it answers, look with `muniment history` or `muniment receipt` whether it is there before you do "
        "it again; nothing of it is half there",
    )


def unconditional(address: str) -> Trouble:
    """The store overwrote a key that was to be created only where there is none."""
    return StoreTrouble(
        "this store cannot hold an archive that is written to: it ignores the condition of a write (If-None-Match)",
        code="store.no-conditions",
        where=address,
        found="a second create of one key was accepted",
        expected="that it is refused, so that two writers never take one number of the ledger",
        remedy="update the store, or keep the archive on a disk and send a copy",
    )
