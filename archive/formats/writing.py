"""Writes batches into an open form: aside first, then renamed into place, so that nothing is ever half there."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats import FORMS
from archive.tables import Batch
from archive.tables.sound import sound

XML_NAME = "link-records.xml"


def write(batches: Iterable[Batch], out: Any, form: str = "xml", *, replace: bool = False) -> list[Path]:
    """See formats.write."""
    if form not in FORMS:
        raise Trouble("there is no such form", where=form, expected=" or ".join(FORMS))
    out = Path(out)
    single = _single(out, form)
    batches = map(sound, batches)
    _refuse_existing(out, single, replace)
    with aside(out) as temporary:
        if form == "xml":
            from archive.formats.open_xml.writer import write as put_xml

            if single:
                put_xml(batches, temporary)
            else:
                temporary.mkdir()
                put_xml(batches, temporary / XML_NAME)
        elif form == "csv":
            from archive.formats.open_csv.writer import write as put_csv

            put_csv(batches, temporary, zipped=single)
        else:
            from archive.formats.parquet import write as put_parquet

            put_parquet(batches, temporary)
    return [out] if single else sorted(out.iterdir())


def _single(out: Path, form: str) -> bool:
    """Whether the form goes into one file: by the ending of its name."""
    ending = {"xml": ".xml", "csv": ".zip"}.get(form)
    return ending is not None and out.suffix.lower() == ending and not out.is_dir()


def _refuse_existing(out: Path, single: bool, replace: bool) -> None:
    above = next((p for p in out.parents if p.exists() or p.is_symlink()), None)
    if above is not None and not above.is_dir():
        raise Trouble("cannot be written there", where=str(out), found=f"{above} is a file", expected="a folder")
    if not out.exists() and not out.is_symlink():
        return
    if out.is_dir() and not single and not any(out.iterdir()):
        return
    if not replace:
        raise Trouble(
            "exists already; nothing was written",
            where=str(out),
            expected="a new name or an empty folder",
            remedy="name another place, or say --replace",
        )
    foreign = sorted(p.name for p in out.iterdir() if p.name not in _written()) if out.is_dir() else []
    if foreign:
        raise Trouble(
            "holds more than an earlier output; nothing was written",
            where=str(out),
            found=", ".join(foreign[:3]) + (f" and {len(foreign) - 3} more" if len(foreign) > 3 else ""),
            expected="only files that this command writes",
            remedy="name another place",
        )


def _written() -> set[str]:
    """Names of the files that are written into a folder."""
    from archive.formats.open_csv import METADATA
    from archive.tables import tables

    return {XML_NAME, METADATA, *(f"{t}{ending}" for t in tables() for ending in (".csv", ".parquet"))}


@contextmanager
def aside(out: Path) -> Iterator[Path]:
    """A temporary path beside `out`; what was made there takes its place at the end, or nothing does.

    Errors: Trouble where the disk is full or the folder cannot be written.
    """
    temporary = out.parent / f".{out.name}.{os.getpid()}.part"
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        _remove(temporary)
        yield temporary
        _sync(temporary)
        _take_place(temporary, out)
    except OSError as error:
        _remove(temporary)
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise Trouble(
                "the disk is full; nothing was written", where=str(out), remedy="free some space or name another place"
            ) from None
        if error.filename is not None and Path(os.fsdecode(error.filename)) in (temporary, out.parent):
            raise Trouble(
                "cannot be written", where=str(out), found=str(error.strerror), remedy="name another place"
            ) from None
        raise
    except BaseException:
        _remove(temporary)
        raise


def _take_place(temporary: Path, out: Path) -> None:
    """A folder cannot be replaced in one step: the old one goes aside, and comes back where the new one cannot."""
    if not out.is_dir() and not temporary.is_dir():
        temporary.replace(out)
        return
    old = temporary.with_suffix(".old")
    _remove(old)
    if there := out.exists() or out.is_symlink():
        out.replace(old)
    try:
        temporary.replace(out)
    except OSError:
        if there:
            old.replace(out)
        raise
    _remove(old)


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)


def _sync(path: Path) -> None:
    """Bytes on disk before the rename."""
    for file in sorted(path.iterdir()) if path.is_dir() else [path]:
        with file.open("rb") as opened:
            os.fsync(opened.fileno())
