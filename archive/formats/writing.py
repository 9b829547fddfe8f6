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
        if out.exists() and (out.is_dir() or temporary.is_dir()):
            _remove(out)
        temporary.replace(out)
    except OSError as error:
        _remove(temporary)
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise Trouble(
                "the disk is full; nothing was written", where=str(out), remedy="free some space or name another place"
            ) from None
        raise
    except BaseException:
        _remove(temporary)
        raise


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
