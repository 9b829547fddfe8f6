"""Names of files that every file system of today, and every reader of bags, takes as they are; names of jobs."""

from __future__ import annotations

import re

from archive.errors import Trouble

_PLAIN = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.+=-]{0,99}")
_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")


def portable(name: str) -> bool:
    """Whether a single name is one of those."""
    return bool(_PLAIN.fullmatch(name)) and not _DEVICES.fullmatch(name) and not name.endswith(".")


def plain(name: str) -> str:
    """A portable name that still reads like the given one."""
    kept = re.sub(r"[^A-Za-z0-9_.+=-]+", "-", name).strip("-.")[-80:].lstrip("-.")
    return kept if portable(kept) else f"file-{kept}" if portable(f"file-{kept}") else "file"


def check_job_name(name: str | None, where: str) -> None:
    """Errors: Trouble where the name of a job is empty or not printable. where: the option that gives it."""
    if name is None or not name.strip() or not name.isprintable():
        raise Trouble(
            "no name of a job", code="job.no-name", where=where, found=repr(name or ""), expected="printable text"
        )
