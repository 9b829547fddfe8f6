"""What to say where the system refuses a user something: whose the folder is, and who may grant which right."""

from __future__ import annotations

import os
import stat
from contextlib import suppress
from pathlib import Path

from archive.errors import Trouble


def not_permitted(error: PermissionError) -> Trouble:
    """One line on what was refused, by which rights, and who can grant it."""
    path = Path(os.fsdecode(error.filename)) if error.filename else Path()
    folder = next((p for p in (path, *path.parents) if p.is_dir()), path)
    try:
        held = folder.stat()
    except OSError:
        held = None
    if held is None or os.name == "nt":
        rights, who = "", "whoever administers the disk"
    else:
        owner, group, user = _user(held.st_uid), _group(held.st_gid), _user(os.getuid())
        rights = f"user {user}; {folder} is of user {owner} and group {group}, mode {stat.S_IMODE(held.st_mode):o}"
        who = f"{owner}, or whoever administers the disk,"
    return Trouble(
        "this user may not do that here",
        code="file.not-permitted",
        where=os.fspath(path),
        found=rights,
        remedy=f"{who} can grant the right to write there; to read an archive takes none",
    )


def _user(number: int) -> str:
    with suppress(ImportError, KeyError):
        import pwd

        return pwd.getpwuid(number).pw_name
    return str(number)


def _group(number: int) -> str:
    with suppress(ImportError, KeyError):
        import grp

        return grp.getgrgid(number).gr_name
    return str(number)
