"""One run over an inbox: what rests in the folder of each job is deposited; nothing is moved, changed or deleted.

DIR/JOB/... are files of the job of that name. A file is taken once it was seen unchanged over a stated span, from one
run to another. What the archive holds is not taken again, and what was redacted or disposed of never comes back.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from archive import schemas
from archive.answers.inbox.seen import Lock, Seen, state_of
from archive.answers.intake import Choices, ingest
from archive.errors import Trouble
from archive.formats.containers import is_dropping
from archive.formats.folders import Refused, is_archive, path_text, walk
from archive.isolation import ProgramFault, attempt
from archive.store import Archive, disposed, files
from archive.store.deposits import DepositFacts, Receipt
from archive.store.received import still_holds

REST = 10.0
"""Minutes for which a file must have been seen unchanged."""


@dataclass(frozen=True)
class InboxChoices:
    """How to take uploads in. rest: minutes; others: as for a deposit. leave_out: files that the run itself writes."""

    rest: float = REST
    mapping: Sequence[Path] = ()
    accept_draft: bool = False
    zone: str | None = None
    by: str | None = None
    reason: str | None = None
    sign: Any = None
    leave_out: Sequence[Path] = ()


@dataclass
class JobTaken:
    """What came of the folder of a job. taken: files that were handed to the deposit; here: files that the archive
    held already; nothing: files that were tried before and gave nothing new, and why; waiting: files that do not rest
    yet; left: files that were not taken, and why; trouble: why nothing was."""

    job: str
    taken: list[str] = field(default_factory=list)
    here: list[str] = field(default_factory=list)
    nothing: dict[str, str] = field(default_factory=dict)
    waiting: list[str] = field(default_factory=list)
    left: dict[str, str] = field(default_factory=dict)
    receipt: Receipt | None = None
    trouble: str = ""

    @property
    def look(self) -> bool:
        """Whether there is something to look at."""
        return bool(self.trouble or self.left or (self.receipt is not None and self.receipt.look))

    def plain(self) -> dict[str, Any]:
        """As JSON."""
        told = {} if self.receipt is None else self.receipt.plain()
        kept = ("deposit", "records", "new", "conflicts", "set_aside", "findings", "ledger_entry")
        return {
            "job": self.job,
            **{name: told.get(name) for name in kept},
            "taken": self.taken,
            "here_already": self.here,
            "gave_nothing": [{"file": path, "why": why} for path, why in self.nothing.items()],
            "waiting": self.waiting,
            "not_taken": [{"file": path, "why": why} for path, why in self.left.items()],
            "trouble": self.trouble or None,
        }


@dataclass
class InboxRun:
    """One run. jobs: by name; loose: what lies in no folder of a job, and why it is not looked at."""

    jobs: list[JobTaken] = field(default_factory=list)
    loose: dict[str, str] = field(default_factory=dict)

    @property
    def look(self) -> bool:
        """Whether there is something to look at."""
        return bool(self.loose) or any(j.look for j in self.jobs)

    @property
    def waiting(self) -> int:
        """Files that do not rest yet."""
        return sum(len(j.waiting) for j in self.jobs)


def take(archive: Archive, inbox: Path, how: InboxChoices | None = None) -> InboxRun:
    """Takes in what rests. Errors: Trouble where the inbox cannot be looked at, another run is at work, or what it saw
    cannot be remembered; nothing was done then. What goes wrong with one job stands in its row."""
    how = how or InboxChoices()
    _require_folder(archive, inbox)
    archive.catch_up()
    seen, run = Seen.of(archive, inbox), InboxRun()
    with Lock(archive.id, seen.name):
        seen = Seen.of(archive, inbox)  # as the run before has left it
        folders, run.loose = _folders(inbox, how)
        for folder in folders:
            made = JobTaken(path_text(folder.name))
            run.jobs.append(made)
            try:
                failed = attempt(lambda folder=folder, made=made: _job(archive, folder, made, seen, how), "the inbox")  # type: ignore[misc]
            except (Trouble, OSError) as error:
                made.trouble = str(error)
            else:
                made.trouble = failed.what if isinstance(failed, ProgramFault) else ""
            seen.keep()
        seen.forget_others()
        seen.keep()
    return run


def _require_folder(archive: Archive, inbox: Path) -> None:
    if not inbox.is_dir():
        raise Trouble("there is no such folder", code="inbox.no-folder", where=str(inbox), remedy="check the path")
    here, there = archive.root.resolve(), inbox.resolve()
    if is_archive(inbox) or here == there or here in there.parents or there in here.parents:
        raise Trouble(
            "an inbox lies apart from the archive",
            code="inbox.in-archive",
            where=str(inbox),
            expected="a folder with a folder in it for each job",
        )


def _folders(inbox: Path, how: InboxChoices) -> tuple[list[Path], dict[str, str]]:
    """Folders of jobs, and what else lies in the inbox."""
    found, loose, written = [], {}, {p.resolve() for p in how.leave_out}
    with os.scandir(inbox) as listed:
        for item in sorted(listed, key=lambda e: e.name):
            name = path_text(item.name)
            if is_dropping(name) or is_dropping(f"{name}/x") or (inbox / item.name).resolve() in written:
                continue
            if item.is_symlink():
                loose[name] = "a link, which is not followed"
            elif item.is_dir():
                found.append(inbox / item.name)
            else:
                loose[name] = "in no folder of a job"
    return found, loose


def _job(archive: Archive, folder: Path, made: JobTaken, seen: Seen, how: InboxChoices) -> None:
    """Deposits what rests in the folder of a job."""
    if said := disposed.remedy(archive.db, made.job):
        raise Trouble(
            f"{said}, and nothing of this folder is taken",
            code="inbox.disposed-of",
            where=made.job,
            remedy="take the folder out of the inbox, or give a new job another name",
        )
    listed = list(_files(folder, made, how))
    now = time.time()
    ready = {}
    for path, place in listed:
        try:
            rests = not _unfinished(path) and seen.resting(f"{made.job}/{path}", place, how.rest * 60, now)
        except OSError as error:
            made.left[path] = str(error.strerror)
            continue
        if rests:
            ready[path] = place
        else:
            made.waiting.append(path)
    _not_torn_apart(ready, made)
    fresh = {path: place for path, place in ready.items() if _is_new(archive, path, place, made, seen)}
    if not fresh:
        return
    states = {path: state_of(place) for path, place in fresh.items()}
    beside = {_stem(path) for path in fresh}  # a port map may be here already, and is read with a new measurement
    read_too = {path for path in made.here if _stem(path) in beside}
    passed = [place for path, place in listed if path not in fresh and path not in read_too]
    facts = DepositFacts(job=made.job, zone=how.zone, by=how.by, reason=how.reason)
    choices = Choices(
        mapping=tuple(how.mapping),
        sign=how.sign,
        accept_draft=how.accept_draft,
        draft=how.accept_draft,
        leave_out=(*passed, *how.leave_out),
    )
    try:
        made.receipt = ingest(archive, [folder], facts, choices)
    except Trouble as trouble:
        _tried(archive, fresh, made, seen, str(trouble), trouble=True)
        raise
    made.taken = sorted(fresh)
    _tried(archive, fresh, made, seen, "it gave nothing that the archive did not hold", trouble=False)
    for path, state in states.items():
        if not _still(fresh[path], state):
            made.left[path] = "changed while it was read; what it is now is taken by a later run"


def _files(folder: Path, made: JobTaken, how: InboxChoices) -> Iterator[tuple[str, Path]]:
    """Path in the folder of the job, and place, of each file. What is not looked into is left, and why."""
    for unit in walk(folder, leave_out=how.leave_out):
        if isinstance(unit, Refused):
            made.left[unit.name] = unit.trouble.message
        elif not is_dropping(unit.name):
            yield unit.name, unit.path


def _unfinished(path: str) -> bool:
    """Whether a program that uploads says by the name that it is not done (schemas/files.toml)."""
    name = path.rpartition("/")[2].casefold()
    return any(fnmatchcase(name, pattern) for pattern in schemas.load("files.toml")["unfinished"])


def _not_torn_apart(ready: dict[str, Path], made: JobTaken) -> None:
    """What belongs together by name, such as a measurement and its port map, is taken together."""
    waiting = {_stem(path) for path in made.waiting}
    for path in [p for p in ready if _stem(p) in waiting]:
        del ready[path]
        made.waiting.append(path)


def _stem(path: str) -> str:
    """A path without the ending of its name."""
    folder, slash, name = path.rpartition("/")
    return folder + slash + (name.rpartition(".")[0] or name)


def _is_new(archive: Archive, path: str, place: Path, made: JobTaken, seen: Seen) -> bool:
    """Whether a file is to be handed to the deposit: what the archive says of its bytes decides."""
    held = seen.files[f"{made.job}/{path}"]
    held["sha256"] = held["sha256"] or files.fingerprint(place).sha256
    digest = str(held["sha256"])
    if archive.holding(digest) is not None:
        made.here.append(path)
        return False
    asked = "SELECT d.path, d.deposit FROM originals o JOIN deposits d ON d.deposit = o.deposit WHERE o.sha256 = ?"
    row = archive.db.execute(asked, (digest,)).fetchone()
    if row is not None and not still_holds(archive, row["path"], digest):
        made.left[path] = f"was redacted in deposit {row['deposit']}, and is not taken again: take it away from here"
        return False
    tried = seen.tried.get(digest)
    if isinstance(tried, dict) and tried.get("head") == archive.head().root:
        (made.left if tried.get("trouble") else made.nothing)[path] = str(tried.get("why"))
        return False
    return True


def _tried(archive: Archive, fresh: dict[str, Path], made: JobTaken, seen: Seen, why: str, *, trouble: bool) -> None:
    """Remembers bytes that the archive does not hold after all, by the head of the ledger."""
    head = archive.head().root
    for path in fresh:
        digest = str(seen.files[f"{made.job}/{path}"]["sha256"])
        if archive.holding(digest) is None:
            seen.tried[digest] = {"head": head, "why": why, "trouble": trouble}


def _still(place: Path, state: str) -> bool:
    try:
        return state_of(place) == state
    except OSError:
        return False
