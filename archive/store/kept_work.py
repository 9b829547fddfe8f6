"""Work over an archive that goes on where it was interrupted: what was made of each piece is kept until all is done.

It lies in the user's cache, and each part with its digest. A run is the same run where the work, the pieces, the
program and its declared files are the same; what was kept for longer than a day is made again.
"""

from __future__ import annotations

import hashlib
import pickle
import shutil
import tempfile
import time
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Generic, TypeVar

from archive.atomic import write_bytes
from archive.errors import Trouble
from archive.spread import Lost, Worked, Workforce, fingerprint
from archive.store import memory

Given = TypeVar("Given")
Made = TypeVar("Made")

LASTS = 86_400.0
"""Seconds for which the parts of an interrupted run are taken over."""
_FOLDER = "work"


@dataclass
class BagWork(Generic[Given, Made]):
    """What is made of each of some pieces, in their order; its length is their number.

    what: says which run this is; work: of a module, so that other processes find it; given: small things whose repr
    says all of them; name: of one, for a person. before: how many were made in a run that was interrupted, the first of
    them at `since`.
    """

    archive_id: str
    force: Workforce
    what: str
    work: Callable[[Given], Made]
    given: Sequence[Given]
    name: Callable[[Given], str]
    before: int = field(default=0, init=False)
    since: datetime | None = field(default=None, init=False)

    def __len__(self) -> int:
        return len(self.given)

    def __iter__(self) -> Iterator[tuple[Given, Made | Lost]]:
        """Each piece with what was made of it, or Lost. What was warned of elsewhere is warned of here."""
        for number, worked in self._elsewhere() if self.force.workers.elsewhere else self._here():
            if isinstance(worked, Lost):
                yield self.given[number], worked
                continue
            for warning in worked.heard:
                warnings.warn(warning, stacklevel=2)
            yield self.given[number], worked.made

    def watched(self) -> Iterable[tuple[Given, Made | Lost]]:
        """The same, passed through by whoever watches."""
        return self.force.watch(self)

    def sure(self) -> Iterator[tuple[Given, Made]]:
        """The same, where nothing may be lost.

        Errors: what the work raises; Trouble for a piece that ended every worker that tried it, once the others are
        done and kept.
        """
        for one, made in self.watched():
            if isinstance(made, Lost):
                raise lost(self.name(one))
            yield one, made

    def _here(self) -> Iterator[tuple[int, Worked | Lost]]:
        return self.force.workers.finished(self.work, enumerate(self.given))

    def _elsewhere(self) -> Iterator[tuple[int, Worked | Lost]]:
        parts = _Parts.of(self.archive_id, self._key())
        there = {n: made for n in range(len(self.given)) if (made := parts.made_at(n))}
        self.before = len(there)
        self.since = datetime.fromtimestamp(min(there.values()), UTC) if there else None
        wanted = [(n, one) for n, one in enumerate(self.given) if n not in there]
        done, given_up = set(there), set[int]()
        following = 0
        for number, worked in self.force.workers.finished(self.work, wanted):
            if isinstance(worked, Lost):
                given_up.add(number)
                continue
            parts.keep(number, worked)
            done.add(number)
            while following in done:
                yield following, parts.read(following)
                following += 1
        for number in range(following, len(self.given)):
            yield number, Lost() if number in given_up else parts.read(number)
        parts.forget()

    def _key(self) -> str:
        work = f"{self.work.__module__}.{self.work.__qualname__}"
        digest = hashlib.sha256("\n".join([self.what, work, fingerprint()]).encode())
        for one in self.given:
            digest.update(b"\n" + repr(one).encode())
        return digest.hexdigest()


def lost(name: str) -> Trouble:
    """What to say of a piece of work that was given up."""
    return Trouble(
        "every worker that had this ended: it took too much memory, or a library failed",
        code="archive.worker-lost",
        where=name,
        remedy="give the workers more memory, or leave this out; what else was done is kept for a day",
    )


@dataclass(frozen=True)
class _Parts:
    """Files, one for each piece. passing: of this process alone, where there is no cache to write to."""

    folder: Path
    passing: Any = None

    @classmethod
    def of(cls, archive_id: str, key: str) -> _Parts:
        place = memory.folder(archive_id)
        if place is None:
            passing = tempfile.TemporaryDirectory(prefix="muniment-")
            return cls(Path(passing.name), passing)
        _tidy(place / _FOLDER)
        folder = place / _FOLDER / key[:32]
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        return cls(folder)

    def made_at(self, number: int) -> float:
        """When a part was made, seconds since 1970; 0 where it is not there, not whole or too old."""
        path = self._path(number)
        try:
            made = path.stat().st_mtime
            data = path.read_bytes()
        except OSError:
            return 0.0
        whole = hashlib.sha256(data[_DIGEST:]).digest() == data[:_DIGEST]
        return made if whole and time.time() - made <= LASTS else 0.0

    def keep(self, number: int, worked: Worked) -> None:
        data = pickle.dumps(worked, protocol=5)
        write_bytes(self._path(number), hashlib.sha256(data).digest() + data, durable=False)

    def read(self, number: int) -> Worked:
        found: Worked = pickle.loads(self._path(number).read_bytes()[_DIGEST:])
        return found

    def forget(self) -> None:
        with suppress(OSError):
            shutil.rmtree(self.folder)

    def _path(self, number: int) -> Path:
        return self.folder / f"{number:07d}"


_DIGEST = hashlib.sha256().digest_size


def _tidy(folder: Path) -> None:
    """Takes away runs of which nothing was made for longer than their parts last."""
    for run in folder.glob("*"):
        with suppress(OSError):
            if time.time() - max(p.stat().st_mtime for p in [run, *run.iterdir()]) > LASTS:
                shutil.rmtree(run)
