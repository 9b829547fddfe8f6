"""A tray: what one person has put on the desk and not handed in yet.

Each file lies under a random name of ours with a small document beside it, which is written last: a file counts from
then on. The name that was given is data; it becomes a name on a disk only while a child process reads the tray, in a
folder of its own, with everything taken out of it that could lead elsewhere.
"""

from __future__ import annotations

import os
import shutil
import unicodedata
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats.folders import path_text
from archive.room.desk.files import is_id, new_id, private, read_json, write_json

MOST_FILES = 20_000
MOST_BYTES = 64 << 30
"""Files, and bytes, of one tray. What is more is handed in at a terminal, or named with --tray."""

_LONGEST_PART = 200
"""Bytes of one part of a path, so that every file system takes it."""
_MOST_PARTS = 32
_WINDOWS = frozenset('<>:"|?*' if os.name == "nt" else "")
"""What that system takes in no name."""


@dataclass(frozen=True)
class TrayFile:
    """One file. name: as it was given. path: where it lies, under a name of ours."""

    id: str
    name: str
    bytes: int
    sha256: str
    path: Path


@dataclass(frozen=True)
class LaidOut:
    """A folder with the files of a tray, and where each of them stands in it, by its id."""

    folder: Path
    paths: Mapping[str, Path]


@dataclass(frozen=True)
class Tray:
    """folder: of the tray, named by its id. owner: name of the sign-in, "" for whoever opened the room. purpose: what
    it was begun for. began: ISO 8601, UTC. chosen: names in the folder that the desk was started with."""

    folder: Path
    owner: str
    purpose: str
    began: str
    chosen: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """Its random name."""
        return self.folder.name

    def files(self) -> list[TrayFile]:
        """Its files in the order of their names."""
        found = []
        for about in self.folder.glob("*.json"):
            told = read_json(about) if is_id(about.stem) else None
            if told is not None and (path := about.with_suffix("")).exists():
                found.append(TrayFile(about.stem, told["name"], told["bytes"], told["sha256"], path))
        return sorted(found, key=lambda f: (f.name, f.id))

    def file(self, number: str | None) -> TrayFile:
        """One of them. Errors: Trouble where there is none of this id."""
        found = next((f for f in self.files() if f.id == number), None)
        if found is None:
            raise Trouble("no such file lies in this tray", code="desk.no-file", remedy="go back to the tray")
        return found

    def bytes(self) -> int:
        """Bytes of its files."""
        return sum(f.bytes for f in self.files())

    def remove(self, number: str | None) -> None:
        """Takes a file out. Errors: Trouble where it is not there."""
        found = self.file(number)
        found.path.with_suffix(".json").unlink(missing_ok=True)  # what has no document beside it does not count
        found.path.unlink(missing_ok=True)

    def choose(self, names: tuple[str, ...]) -> None:
        """Keeps which things of the offered folder belong to it."""
        write_json(self.folder / "tray", {**_said(self), "chosen": list(names)})

    def empty(self) -> None:
        """Takes the whole tray away."""
        (self.folder / "tray").unlink(missing_ok=True)
        shutil.rmtree(self.folder, ignore_errors=True)

    @contextmanager
    def laid_out(self) -> Iterator[LaidOut]:
        """A folder in which its files stand under their given names, as far as those are safe, for the time of the
        context; the same bytes, not a copy, where the disk can do it."""
        place, paths = private(self.folder / f"out-{new_id()}"), dict[str, Path]()
        try:
            for file in self.files():
                paths[file.id] = _free(place, safe_parts(file.name))
                _place(file.path, paths[file.id])
            yield LaidOut(place, paths)
        finally:
            shutil.rmtree(place, ignore_errors=True)


def begin(trays: Path, owner: str, purpose: str, began: str) -> Tray:
    """A new, empty tray."""
    made = Tray(private(trays / new_id()), owner, purpose, began)
    write_json(made.folder / "tray", _said(made))
    return made


def open_tray(trays: Path, number: str | None, owner: str) -> Tray:
    """A tray of one person. Errors: Trouble where there is none, or it is somebody else's."""
    found = _read(trays / number) if number is not None and is_id(number) else None
    if found is None or found.owner != owner:
        raise Trouble("there is no such tray of yours", code="desk.no-tray", remedy="begin another")
    return found


def listed(trays: Path, owner: str) -> list[Tray]:
    """Trays of one person, the newest first."""
    folders = trays.iterdir() if trays.is_dir() else ()
    found = [t for f in folders if is_id(f.name) and (t := _read(f)) is not None and t.owner == owner]
    return sorted(found, key=lambda t: t.began, reverse=True)


def safe_parts(name: str) -> list[str]:
    """The parts of a given name as they may stand on a disk: nothing that leads up or elsewhere, no control character,
    nothing that a system reserves, none too long."""
    parts = [_safe(part) for part in path_text(name).split("/") if part not in ("", ".")]
    return parts[-_MOST_PARTS:] or ["unnamed"]


def _safe(part: str) -> str:
    shown = "".join("_" if unicodedata.category(c) in ("Cc", "Cs") or c in _WINDOWS or c == "\\" else c for c in part)
    if not shown.strip(". "):
        return "_" * max(1, len(shown))
    stem, dot, ending = shown.rpartition(".")
    ending = dot + ending if stem and len(ending) <= 12 else ""
    whole = shown.encode()
    if len(whole) > _LONGEST_PART:
        kept = whole[: _LONGEST_PART - len(ending.encode())].decode(errors="ignore")
        return kept + ending
    return shown


def _free(place: Path, parts: list[str]) -> Path:
    """Where a file goes below a folder; beside one of the same name under a name with a number."""
    wanted = place.joinpath(*parts)
    if place.resolve() not in wanted.resolve().parents:  # no part leads up; said once more, by the system itself
        raise Trouble("the name leads out of the tray", code="desk.no-file", found="/".join(parts))
    number = 1
    while True:
        try:
            wanted.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            if not wanted.exists():
                return wanted
        except (FileExistsError, NotADirectoryError):  # a file has the name of a folder
            parts = [f"{parts[0]} (folder)", *parts[1:]]
            wanted = place.joinpath(*parts)
            continue
        number += 1
        stem, dot, ending = parts[-1].rpartition(".")
        named = f"{stem} ({number}){dot}{ending}" if stem else f"{ending} ({number})"
        wanted = place.joinpath(*parts[:-1], named)


def _place(stored: Path, wanted: Path) -> None:
    try:
        os.link(stored, wanted)
    except OSError:
        shutil.copyfile(stored, wanted)


def _said(tray: Tray) -> dict[str, Any]:
    return {"owner": tray.owner, "purpose": tray.purpose, "began": tray.began, "chosen": list(tray.chosen)}


def _read(folder: Path) -> Tray | None:
    told = read_json(folder / "tray")
    if told is None:
        return None
    return Tray(folder, told["owner"], told["purpose"], told["began"], tuple(told["chosen"]))
