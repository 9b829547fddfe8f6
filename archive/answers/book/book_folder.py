"""A book on disk: one PDF and one HTML per volume, written aside and renamed."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from archive.answers.book.book_facts import BookFacts
from archive.answers.book.compose import Volume
from archive.answers.documents import Press, html
from archive.answers.sealing.issue import Content, Issuer, NotEntered
from archive.answers.sealing.start_here import START_HERE, start_here
from archive.atomic import atomic_write, require_empty
from archive.errors import Trouble
from archive.store.bags.manifest import manifest
from archive.store.seals import digests

MOST_COVER = 20_000


def write(volumes: Iterable[Volume], out: Path) -> list[str]:
    """Writes volume after volume into the folder `out`, which must not be there or be empty; gives the file names."""
    require_empty(out)
    with atomic_write(out) as folder:
        return _set(volumes, folder)


def issue(
    facts: BookFacts,
    make: Callable[[BookFacts], Iterable[Volume]],
    documents: Mapping[str, bytes],
    out: Path,
    issuer: Issuer,
) -> list[str]:
    """Writes a book with its documents, manifests and seal; gives the names of its volumes' files.

    make: gives the volumes of facts that say what seal the book has; documents: files by their path in the folder.
    Errors: Trouble where `out` is taken.
    """
    require_empty(out)
    with atomic_write(out) as folder:
        names = _listed(facts, make, documents, folder, issuer)
        try:
            issuer.seal(folder, _content(facts))
        except NotEntered:
            shutil.rmtree(folder)
            names = _listed(facts, make, documents, folder, issuer)
            issuer.seal(folder, _content(facts))
    return names


def _listed(
    facts: BookFacts,
    make: Callable[[BookFacts], Iterable[Volume]],
    documents: Mapping[str, bytes],
    folder: Path,
    issuer: Issuer,
) -> list[str]:
    """The folder without its seal."""
    names = _set(make(replace(facts, seal=issuer.note)), folder)
    for path, data in {START_HERE: start_here(), **documents}.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(data)
    listed = digests(folder)
    for algorithm in ("sha256", "sha512"):
        lines = manifest({path: getattr(d, algorithm) for path, d in listed.items()})
        (folder / f"manifest-{algorithm}.txt").write_bytes(lines)
    return names


def _set(volumes: Iterable[Volume], folder: Path) -> list[str]:
    names: list[str] = []
    with Press() as press:
        folder.mkdir()
        for volume in volumes:
            (folder / f"{volume.name}.pdf").write_bytes(press.pdf(volume.document))
            (folder / f"{volume.name}.html").write_text(html(volume.document), encoding="utf-8")
            names += [f"{volume.name}.pdf", f"{volume.name}.html"]
    return names


def _content(facts: BookFacts) -> Content:
    said = {"job": facts.job.get("job_id"), "head": {"size": facts.entries, "root": facts.head}}
    filed = [d["entry"] for d in facts.documents if d.get("inside")]
    records = [x.address for x in facts.links if x.address]
    return Content("hand-over book", said, records, filed, [facts.entries, *(d["entry"] + 1 for d in facts.deposits)])


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
