"""Who does something: the name given with --by, else the one that this user set once with `muniment me NAME`."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

from archive.errors import Trouble


def folder() -> Path:
    """Folder of this user's settings; MUNIMENT_CONFIG names another one."""
    given = os.environ.get("MUNIMENT_CONFIG")
    if given:
        return Path(given)
    import platformdirs

    return Path(platformdirs.user_config_dir("muniment", appauthor=False))


def name(by: str | None) -> str | None:
    """The name to record, or None where nobody stated one: a login name alone is no evidence.

    Errors: Trouble where this user's settings are no TOML.
    """
    if by is not None:
        return by.strip() or None
    path = folder() / "me.toml"
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8")).get("name")
    except FileNotFoundError:
        return None
    except (ValueError, UnicodeDecodeError) as error:
        raise Trouble("this user's settings are no TOML", where=str(path), found=str(error)) from None
    return str(found) if found else None


def set_name(new: str) -> Path:
    """Sets the name; gives the file it stands in."""
    import tomlkit

    place = folder()
    place.mkdir(parents=True, exist_ok=True)
    path = place / "me.toml"
    path.write_text(tomlkit.dumps({"name": new}), encoding="utf-8")
    return path
