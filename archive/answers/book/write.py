"""A book on disk: one PDF and one HTML per volume, written aside and renamed."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterable
from pathlib import Path

from archive.answers.book.compose import Volume
from archive.answers.documents import Press, html
from archive.errors import Trouble

MOST_COVER = 20_000


def write(volumes: Iterable[Volume], out: Path) -> list[str]:
    """Writes volume after volume into the folder `out`, which must not be there or be empty; gives the file names."""
    free(out)
    out.parent.mkdir(parents=True, exist_ok=True)
    aside = Path(tempfile.mkdtemp(prefix=f".{out.name}.", dir=out.parent))
    names: list[str] = []
    try:
        with Press() as press:
            for volume in volumes:
                (aside / f"{volume.name}.pdf").write_bytes(press.pdf(volume.document))
                (aside / f"{volume.name}.html").write_text(html(volume.document), encoding="utf-8")
                names += [f"{volume.name}.pdf", f"{volume.name}.html"]
        aside.chmod(0o755)
        if out.exists():
            out.rmdir()
        aside.rename(out)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise
    return names


def free(out: Path) -> None:
    """Looks whether the folder may be written. Errors: Trouble where something is in it."""
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise Trouble("the folder is not empty", where=str(out), remedy="name a folder that is not there yet")


def cover_text(path: Path) -> str:
    """A user's text for the first page. Errors: Trouble where it is no text, or too long for a page."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise Trouble("the cover text cannot be read", where=str(path), found=str(error.strerror)) from None
    except UnicodeDecodeError:
        raise Trouble("the cover text is no UTF-8", where=str(path), remedy="save it as plain text in UTF-8") from None
    if len(text) > MOST_COVER:
        raise Trouble(
            "the cover text is too long", where=str(path), found=f"{len(text):,} letters", expected=f"{MOST_COVER:,}"
        )
    return text
