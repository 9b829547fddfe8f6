"""A book on disk: one PDF and one HTML per volume, written aside and renamed."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from archive.answers.book.compose import Volume
from archive.answers.documents import Press, html
from archive.atomic import atomic_write, require_empty
from archive.errors import Trouble

MOST_COVER = 20_000


def write(volumes: Iterable[Volume], out: Path) -> list[str]:
    """Writes volume after volume into the folder `out`, which must not be there or be empty; gives the file names."""
    require_empty(out)
    names: list[str] = []
    with atomic_write(out) as folder, Press() as press:
        folder.mkdir()
        for volume in volumes:
            (folder / f"{volume.name}.pdf").write_bytes(press.pdf(volume.document))
            (folder / f"{volume.name}.html").write_text(html(volume.document), encoding="utf-8")
            names += [f"{volume.name}.pdf", f"{volume.name}.html"]
    return names


def cover_text(path: Path) -> str:
    """A user's text for the first page. Errors: Trouble where it is no text, or too long for a page."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise Trouble(
            "the cover text cannot be read", code="book.cover-text", where=str(path), found=str(error.strerror)
        ) from None
    except UnicodeDecodeError:
        raise Trouble(
            "the cover text is no UTF-8",
            code="book.cover-text",
            where=str(path),
            remedy="save it as plain text in UTF-8",
        ) from None
    if len(text) > MOST_COVER:
        raise Trouble(
            "the cover text is too long",
            code="book.cover-text",
            where=str(path),
            found=f"{len(text):,} letters",
            expected=f"{MOST_COVER:,}",
        )
    return text
