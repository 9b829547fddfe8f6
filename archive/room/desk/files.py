"""Small files of the desk in the user's cache: private, and replaced in one step."""

from __future__ import annotations

import json
import os
import re
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import IO, Any

_ID = re.compile(r"[0-9a-f]{20}")


def new_id() -> str:
    """A random name: 80 bits, hexadecimal."""
    return secrets.token_hex(10)


def is_id(text: str | None) -> bool:
    """Whether a text is such a name, so that it can stand in a path."""
    return text is not None and _ID.fullmatch(text) is not None


def private(folder: Path) -> Path:
    """The folder, made where it is not there, for this user alone."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def write_json(path: Path, value: Mapping[str, Any]) -> None:
    """Writes a document aside and renames it into place. Errors: OSError."""
    aside = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    with new_file(aside) as file:
        file.write(json.dumps(value, ensure_ascii=False, default=str).encode())
    aside.replace(path)


def new_file(path: Path) -> IO[bytes]:
    """A file that was not there, for this user alone, opened for writing. Errors: OSError."""
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb")


def read_json(path: Path) -> dict[str, Any] | None:
    """A document; None where there is none, or what is there is none."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None
