"""A book on disk: one PDF and one HTML per volume, written aside and renamed."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterable
from pathlib import Path

from archive.answers.book.compose import Volume
from archive.answers.documents import html, pdf
from archive.errors import Trouble


def write(volumes: Iterable[Volume], out: Path) -> list[str]:
    """Writes volume after volume into the folder `out`, which must not be there or be empty; gives the file names."""
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise Trouble("the folder is not empty", where=str(out), remedy="name a folder that is not there yet")
    out.parent.mkdir(parents=True, exist_ok=True)
    aside = Path(tempfile.mkdtemp(prefix=f".{out.name}.", dir=out.parent))
    names: list[str] = []
    try:
        taken: set[str] = set()
        for volume in volumes:
            name = _free(volume.name, taken)
            (aside / f"{name}.pdf").write_bytes(pdf(volume.document))
            (aside / f"{name}.html").write_text(html(volume.document), encoding="utf-8")
            names += [f"{name}.pdf", f"{name}.html"]
        aside.chmod(0o755)
        if out.exists():
            out.rmdir()
        aside.rename(out)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    return names


def _free(name: str, taken: set[str]) -> str:
    """The name, or with a number where two labels make the same one; upper and lower case are one on some disks."""
    free, number = name, 2
    while free.casefold() in taken:
        free, number = f"{name}-{number}", number + 1
    taken.add(free.casefold())
    return free
