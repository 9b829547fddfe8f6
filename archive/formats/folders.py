"""Every file below a folder, and nothing that could do harm or that the command itself reads otherwise or writes."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats.recognition import Entry

_ASIDE = re.compile(r"\.(.+)\.\d+\.(?:part|old)(?:\.tables)?", re.DOTALL)
"""Names under which an output is written before it takes its place (formats.writing)."""


@dataclass(frozen=True)
class Refused:
    """Something inside a folder or zip that is not looked into, with the reason."""

    path: Path
    name: str
    trouble: Trouble


def walk(root: Path, before: str = "", leave_out: Iterable[Any] = ()) -> Iterator[Entry | Refused]:
    """What is below a folder: the files of a folder in the order of their names, then those of its folders.

    before: put before the path of each, in its name. leave_out: files and folders that the command itself reads
    otherwise (a schedule, a mapping) or writes, with what is written aside for them; they are passed over.
    A link is not followed, and an archive of ours is not looked into.
    """
    left = frozenset(Path(p).resolve() for p in leave_out)
    todo = [(root, root.resolve())]
    while todo:
        folder, full = todo.pop()
        below = []
        try:
            with os.scandir(folder) as listed:
                found = sorted(listed, key=lambda e: e.name)
        except OSError as error:
            where = before + path_text(folder.relative_to(root).as_posix())
            yield Refused(
                folder,
                where,
                Trouble("cannot be opened", code="input.cannot-open", where=where, found=str(error.strerror)),
            )
            continue
        for item in found:
            at = folder / item.name
            name = before + path_text(at.relative_to(root).as_posix())
            if _left_out(full / item.name, left):
                continue
            if item.is_symlink():
                yield Refused(at, name, _link(at, name))
            elif item.is_file():
                yield Entry(at, name)
            elif not item.is_dir():
                yield Refused(
                    at,
                    name,
                    Trouble("is neither a file nor a folder", code="input.neither-file-nor-folder", where=name),
                )
            elif is_archive(at):
                yield Refused(at, name, archive(name))
            else:
                below.append((at, full / item.name))
        todo += reversed(below)


def path_text(path: str) -> str:
    """A path as text: bytes of it that are no UTF-8 are written out, since no table and no JSON can hold them."""
    return path.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def is_archive(folder: Path) -> bool:
    """True for an archive of ours (the names are those of archive.store.layout)."""
    return (folder / "archive.toml").is_file() and (folder / "ledger").is_dir()


def archive(name: str) -> Trouble:
    """Why an archive is not read as if it were an export."""
    return Trouble(
        "is an archive; what is in it is not read here",
        code="input.is-an-archive",
        where=name,
        expected="exports, open forms or bags",
        remedy="ask it with `muniment find`, or hand in the bag of one deposit",
    )


def _left_out(full: Path, left: frozenset[Path]) -> bool:
    aside = _ASIDE.fullmatch(full.name)
    return full in left or (aside is not None and full.with_name(aside[1]) in left)


def _link(path: Path, name: str) -> Trouble:
    return Trouble(
        "is a link, and links are not followed",
        code="input.link",
        where=name,
        found=f"a link to {path.readlink()}",
        expected="a file",
        remedy="hand in the file or folder that it points to",
    )
