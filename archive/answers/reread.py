"""Reads stored originals again, with a better mapping or by the readers of today."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from fnmatch import fnmatch
from pathlib import Path

from archive.answers import intake
from archive.answers.rederive import unpacked
from archive.answers.shelf import offered_by
from archive.errors import Trouble
from archive.formats.folders import walk
from archive.formats.link_list import LAYOUT as LINK_LIST
from archive.formats.mapping.offered import Offered
from archive.formats.reading import ReadingTask, tasks
from archive.formats.recognition import Entry
from archive.store import Archive, aside, clock, layout
from archive.store.deposits import DepositFacts, Receipt
from archive.store.received import received


def reread(
    archive: Archive,
    deposit: str,
    mapping: Path | Sequence[Path] | None,
    *,
    files: Sequence[str] = (),
    by: str | None,
    reason: str | None,
    how: intake.Choices | None = None,
) -> Receipt:
    """A new deposit from the originals of another, with the job, site and zone of that one.

    The originals are not stored again: the entry names the deposit that holds them. With a mapping only files that it
    recognises are read; files: patterns of their names that narrow that. Lists of links are left alone. Nothing that
    was read before is set aside: it stays as it was read. how: sign and workers, and nothing else.

    Errors: Trouble where that deposit has no originals of its own, or none of them is to be read, or they cannot be
    read.
    """
    entry = archive.deposit_entry(deposit)
    schedules = {o["sha256"] for o in archive.texts(entry).get("originals", []) if o.get("schedule")}
    chosen = replace(how or intake.Choices(), mapping=mapping, keep_originals=False, rereading=True)
    with _room(archive, chosen) as temporary:
        folder = unpacked(received(archive, deposit), temporary)
        if folder is None:
            at = entry.get("originals_in")
            raise Trouble(
                "this deposit has no originals of its own",
                code="deposit.no-originals",
                where=deposit,
                remedy=f"read those of {at}" if at else "they were redacted, or the records came without files",
            )
        wanted = temporary / "wanted"
        _choose(folder, wanted, files, schedules, offered_by(archive, mapping))
        recorded = {name: entry.get(name) for name in (("job",) if entry.get("job") else ("site", "zone"))}
        facts = DepositFacts(**recorded, by=by, reason=reason, more={"originals_in": deposit})
        return intake.ingest(archive, [wanted], facts, chosen)


@contextmanager
def _room(archive: Archive, chosen: intake.Choices) -> Iterator[Path]:
    """A folder for the originals, which all workers reach."""
    made = aside.begin(archive, layout.new_id(clock.now())) if chosen.workers.elsewhere else aside.elsewhere()
    try:
        yield made.folder
    finally:
        made.end()


def _choose(folder: Path, wanted: Path, patterns: Sequence[str], schedules: set[str], offered: Offered) -> None:
    """Copies the originals that are to be read, under their names. Errors: Trouble where there is none."""
    wanted.mkdir()
    named = [u for u in walk(folder) if isinstance(u, Entry) and u.sha256 not in schedules]
    if patterns:
        named = [u for u in named if any(fnmatch(u.name, p) or fnmatch(u.path.name, p) for p in patterns)]
    for unit in named:
        copy = wanted / unit.name
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(unit.path, copy)
    if named:
        keep = _names(wanted, offered)
        named = [u for u in named if any(name == u.name or name.startswith(f"{u.name}/") for name in keep)]
        for unit in (u for u in walk(wanted) if isinstance(u, Entry)):
            if unit.name not in {u.name for u in named}:
                unit.path.unlink()
    if not named:
        raise Trouble(
            "none of the originals is to be read again",
            code="reread.no-file",
            found=f"{', '.join(patterns)}" if patterns else "lists of links alone",
            expected="a name, or a pattern such as week2/*.csv, of a file that was handed in",
        )


def _names(folder: Path, offered: Offered) -> set[str]:
    """Names of the files that are read, with those that are read together with them. Errors: as tasks."""
    with tempfile.TemporaryDirectory(prefix="muniment-") as temporary:
        found = tasks([folder], Path(temporary), (), offered)
        if not offered.named:
            return {t.entry.name for t in found if t.found is None or t.found.layout != LINK_LIST}
        mine = [t for t in found if _by_named(t, offered)]
        taken = {path for t in mine if t.found is not None for path in t.found.takes}
        return {t.entry.name for t in found if t.entry.path in taken} | {t.entry.name for t in mine}


def _by_named(task: ReadingTask, offered: Offered) -> bool:
    return any(task.mapping is m for m in offered.named) or (
        offered.port_map is not None and task.mapping == offered.port_map
    )
