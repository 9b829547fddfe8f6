"""Who does something: the name given with --by, else the one that this user set once with `muniment me NAME`."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

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
    found = _settings().get("name")
    return str(found) if found else None


def _settings() -> dict[str, Any]:
    """This user's settings; empty where there are none. Errors: Trouble where they are not TOML."""
    path = folder() / "me.toml"
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (ValueError, UnicodeDecodeError) as error:
        raise Trouble(
            "this user's settings are not valid TOML", code="settings.not-toml", where=str(path), found=str(error)
        ) from None


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


def settled_archive() -> str | None:
    """The archive that this user set once; None where none is."""
    found = _settings().get("archive")
    return str(found) if found else None


def archive() -> Path:
    """The archive that this user set once. Errors: Trouble where none is set."""
    found = settled_archive()
    if not found:
        raise Trouble(
            "no archive is named",
            code="settings.no-archive",
            expected="--into ARCHIVE",
            remedy="set it once with `muniment me --archive ARCHIVE`",
        )
    from archive.objects import place

    return place(found)


def set_me(**settings: str | None) -> Path:
    """Sets name or archive (absolute path), as far as they are given; returns the file that holds them."""
    import tomlkit

    place = folder()
    place.mkdir(parents=True, exist_ok=True)
    path = place / "me.toml"
    kept = {**_settings(), **{k: v for k, v in settings.items() if v is not None}}
    path.write_text(tomlkit.dumps(kept), encoding="utf-8")
    return path
