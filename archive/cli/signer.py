"""Who does something: the name given with --by, else the one that this user set once with `muniment me NAME`."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

from archive.errors import Trouble

if TYPE_CHECKING:
    from archive.store import Archive
    from archive.store.ledger.entry import Sign


def folder() -> Path:
    """Folder of this user's settings; MUNIMENT_CONFIG names another one."""
    given = os.environ.get("MUNIMENT_CONFIG")
    if given:
        return Path(given)
    import platformdirs

    return Path(platformdirs.user_config_dir("muniment", appauthor=False))


def name(by: str | None) -> str | None:
    """The name to record, or None where nobody stated one: a login name alone is no evidence.

    Errors: Trouble where this user's settings are not valid TOML.
    """
    if by is not None:
        return by.strip() or None
    path = folder() / "me.toml"
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8")).get("name")
    except FileNotFoundError:
        return None
    except (ValueError, UnicodeDecodeError) as error:
        raise Trouble(
            "this user's settings are not valid TOML", code="settings.not-toml", where=str(path), found=str(error)
        ) from None
    return str(found) if found else None


def key_folder(archive_id: str) -> Path:
    """Folder of this user's signing keys for an archive."""
    return folder() / "keys" / archive_id


def sign(archive: Archive) -> Sign | None:
    """What signs this user's entries: the newest key of this user that the archive knows and has not retired."""
    place = key_folder(archive.id)
    if not place.is_dir():
        return None
    from archive.store.keys import known_keys, load

    known = known_keys(archive.entries())
    mine = [(known[p.stem]["added"], p) for p in place.glob("*.pem") if p.stem in known]
    held = [(str(added).zfill(9), p) for added, p in mine if known[p.stem]["retired"] is None]
    return load(max(held)[1]).sign if held else None


def set_name(new: str) -> Path:
    """Sets the name; returns the file that holds it."""
    import tomlkit

    place = folder()
    place.mkdir(parents=True, exist_ok=True)
    path = place / "me.toml"
    path.write_text(tomlkit.dumps({"name": new}), encoding="utf-8")
    return path
