"""The folder of the demo: written anew only where nothing stands in it that the demo did not write."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

from archive.errors import Trouble

LIST = "written-by-the-demo.json"
"""Names every file that the demo wrote, with its SHA-256."""


def prepare(folder: Path) -> None:
    """An empty folder where there was nothing, or only an untouched demo of before.

    Errors: Trouble where something stands there that the demo did not write, or that was changed since.
    """
    if folder.exists() or folder.is_symlink():
        stranger = _stranger(folder)
        if stranger:
            raise Trouble(
                "this is not a demo as it was written; nothing was touched",
                code="demo.not-as-written",
                where=str(folder),
                found=stranger,
                expected="a new name, an empty folder, or an untouched demo",
                remedy="name another folder: muniment demo OTHER",
            )
        clear(folder)
    folder.mkdir(parents=True, exist_ok=True)


def clear(folder: Path) -> None:
    """Takes everything out of a folder that `prepare` gave free."""
    for path in list(folder.iterdir()):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


def sign(folder: Path) -> None:
    """Writes the list of all files, so that the next demo knows them."""
    listed = {name: _digest(folder / name) for name in _files(folder) if name != LIST}
    text = json.dumps({"files": listed}, indent=1, sort_keys=True)
    (folder / LIST).write_text(text + "\n", encoding="utf-8", newline="\n")


def _stranger(folder: Path) -> str:
    """The first thing in a folder that the demo did not write, in words; empty where there is none."""
    if folder.is_symlink() or not folder.is_dir():
        return "no folder"
    names = _files(folder)
    if not names:
        return "" if not any(p.is_symlink() for p in folder.rglob("*")) else "a link to elsewhere"
    try:
        known = json.loads((folder / LIST).read_text(encoding="utf-8"))["files"]
    except (OSError, ValueError, KeyError, TypeError):
        return f"{names[0]}, and no {LIST}"
    if not isinstance(known, dict):
        return f"{LIST}, changed"
    for name in names:
        if name == LIST:
            continue
        if name not in known:
            return f"{name}, not written by the demo"
        if _digest(folder / name) != known[name]:
            return f"{name}, changed since"
    return ""


def _files(folder: Path) -> list[str]:
    """Everything in it but folders, as paths with /."""
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_symlink() or not p.is_dir())


def _digest(path: Path) -> str:
    """SHA-256 of a file, or of the place that a link names."""
    if path.is_symlink():
        return f"link to {path.readlink()}"
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
