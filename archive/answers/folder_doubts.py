"""Doubts that the folders of files raise about where their links are, and what a person settles of them.

A folder never decides: nothing is changed until a person says that it tells the place (an amendment), or that the
records are right as they are (an event of the ledger).
"""

from __future__ import annotations

import hashlib
import re
import shlex
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from archive.errors import Trouble
from archive.formats.base.words import meanings
from archive.near_names import offered
from archive.store import Archive, identity
from archive.store.events import Correction, amend
from archive.store.events.settle_aside import settle_aside
from archive.store.ledger.entry import Sign
from archive.store.records import COUNTED
from archive.vocabulary.ranges import ranges

Row = Mapping[str, Any]
PLACES = ("building", "floor", "space", "panel", "port")
"""What a folder may tell of the links of its files."""
KEEP = "keep"
"""Said of a folder: its records are right as they are."""
_NAMED = ("building", "floor", "space")
_SHOWN = 3
_NUMBERED = re.compile(r"([^\W\d]+)[\s._-]*0*(\w{1,3})|0*(\d{1,3})(?:st|nd|rd|th|\.)?[\s._-]*([^\W\d]+)")
"""A word and a number, in either order."""


@dataclass(frozen=True)
class FolderDoubt:
    """folders: that raise it; part, value: what the folder says, where it is named so; key: names it for settling."""

    deposit: str
    folders: tuple[str, ...]
    text: str
    part: str = ""
    value: str = ""

    @property
    def key(self) -> str:
        """The same as long as the folders raise the same doubt."""
        said = "\n".join(("folder", self.deposit, *self.folders, self.part, self.value))
        return hashlib.sha256(said.encode()).hexdigest()[:16]

    def settling(self) -> str:
        """The options that settle it."""
        told = f"{self.part}={self.value}" if self.part else "floor=..."
        return f"--folder {shlex.quote(self.folders[0])} {shlex.quote(told) if self.part else told}"


def folder_doubts(archive: Archive, deposit: str) -> list[FolderDoubt]:
    """What the folders of a deposit's files say against its records, and nobody has settled.

    A folder that is named as another building, floor or space than the record says (a building or space that the
    archive knows at the site; a floor in words); and one label of no stated place in several folders.
    """
    rows = _rows(archive, deposit)
    settled = {r[0] for r in archive.db.execute("SELECT item FROM settled_aside")}
    found = [*_named_otherwise(archive, deposit, rows), *_in_several(deposit, rows)]
    return [doubt for doubt in found if doubt.key not in settled]


def all_folder_doubts(archive: Archive, job: str | None = None) -> list[FolderDoubt]:
    """Of all deposits, or of those of one job."""
    archive.catch_up()
    listed = archive.db.execute(
        "SELECT deposit FROM deposits WHERE NOT withdrawn AND (?1 IS NULL OR job_id = ?1) ORDER BY number", (job,)
    ).fetchall()
    return [doubt for (deposit,) in listed for doubt in folder_doubts(archive, deposit)]


def check_folders(folders: Sequence[tuple[str, str]], names: Iterable[str]) -> None:
    """Errors: Trouble for a folder that is in none of the names of files, or what is no FIELD=VALUE of a place."""
    paths = [tuple(n.replace("\\", "/").split("/")[:-1]) for n in names]
    for folder, said in folders:
        _said(said)
        if not any(_in(folder, path) for path in paths):
            raise Trouble(
                "no file lies in such a folder",
                code="folders.none-named",
                where="--folder",
                found=folder,
                expected=offered(folder, sorted({part for path in paths for part in path})),
            )


def settle(
    archive: Archive,
    folders: Sequence[tuple[str, str]],
    *,
    deposits: Sequence[str] | None = None,
    job: str | None = None,
    by: str | None,
    reason: str | None,
    sign: Sign | None = None,
) -> list[str]:
    """Commits a person's word on folders, each with FIELD=VALUE or KEEP; gives what was done, in sentences.

    FIELD=VALUE corrects that part of the place of every record of the folder that says otherwise or nothing. deposits:
    those that are meant; else all (of one job) with a doubt about the folder. Errors: Trouble where none is meant.
    """
    archive.catch_up()
    told = []
    for folder, said in folders:
        of = _said(said)
        if deposits is None:
            found = all_folder_doubts(archive, job)
        else:
            found = [d for deposit in deposits for d in folder_doubts(archive, deposit)]
        meant = [d for d in found if any(_in(folder, _parts(f)) for f in d.folders)]
        if not meant and deposits is None:
            raise _no_doubt(archive, folder, sorted({f for d in found for f in d.folders}))
        if of is None:
            entry = settle_aside(archive, [d.key for d in meant], by=by, reason=reason, sign=sign) if meant else None
            how = f", by ledger entry {entry.number}" if entry is not None else ": it raises no doubt"
            told.append(f"{folder}: its records stay as they are{how}")
            continue
        name, value = of
        changes = [
            Correction(r["address"], name, value)
            for deposit in deposits or dict.fromkeys(d.deposit for d in meant)
            for r in _rows(archive, deposit)
            if _in(folder, r["folder"]) and r[name] != value
        ]
        made_by, made = amend(archive, changes, by=by, reason=reason or f"the folder {folder}", sign=sign)
        number = "1 record" if len(made) == 1 else f"{len(made)} records"
        how = f", by ledger entry {made_by.number}" if made_by is not None else ""
        told.append(f"{folder}: {name} {value} for {number}{how}")
    return told


def _no_doubt(archive: Archive, folder: str, known: Sequence[str]) -> Trouble:
    return Trouble(
        "no doubt about such a folder is open",
        code="folders.no-doubt",
        where=str(archive.root),
        found=folder,
        expected=offered(folder, known) or ", ".join(known[:_SHOWN]),
        remedy="see `muniment identity`; the place of single records is corrected with `muniment amend`",
    )


def _said(text: str) -> tuple[str, str] | None:
    """Field and value; None for KEEP. Errors: Trouble."""
    if text == KEEP:
        return None
    name, equals, value = text.partition("=")
    if not equals or name.strip() not in PLACES or not value.strip() or value.strip() == "...":
        raise Trouble(
            "what does the folder tell?",
            code="folders.not-a-place",
            where="--folder",
            found=text,
            expected=f"{KEEP}, or FIELD=VALUE with one of {', '.join(PLACES)}",
        )
    return name.strip(), value.strip()


def _rows(archive: Archive, deposit: str) -> list[dict[str, Any]]:
    """Records of a deposit with the folder of their file, as parts of its path."""
    sources = archive.tables(deposit).table("sources").select(["source_id", "path"]).to_pylist()
    folder = {s["source_id"]: _parts(str(s["path"] or ""))[:-1] for s in sources}
    if not any(folder.values()):
        return []
    return [
        {**dict(r), "folder": folder.get(r["source_id"], ())}
        for r in archive.db.execute(
            "SELECT link_label, site, job_id, building, floor, space, panel, port, source_id, "
            f"deposit || '/' || position AS address FROM records WHERE deposit = ? AND link_label IS NOT NULL AND "
            f"{COUNTED} ORDER BY row",
            (deposit,),
        )
    ]


def _parts(path: str) -> tuple[str, ...]:
    return tuple(path.replace("\\", "/").split("/"))


def _in(folder: str, path: tuple[str, ...]) -> bool:
    """Whether a folder, one name or several, is part of a path."""
    wanted = _parts(folder.strip("/"))
    return any(path[i : i + len(wanted)] == wanted for i in range(len(path) - len(wanted) + 1))


def _named_otherwise(archive: Archive, deposit: str, rows: Iterable[Row]) -> list[FolderDoubt]:
    found = []
    for (site, job), members in groupby(rows, key=lambda r: (r["site"], r["job_id"])):
        listed = list(members)
        for part in _NAMED:
            known = _known(archive, part, site, job) if part != "floor" else {}
            said: dict[tuple[str, str, str], list[str]] = defaultdict(list)
            for r in listed:
                names = [(name, _value(part, name, known)) for name in r["folder"]]
                told = [(name, value) for name, value in names if value is not None]
                if r[part] and told and not any(_plain(r[part]) == _plain(value) for _, value in told):
                    said[r[part], *told[-1]].append(r["link_label"])
            found += [
                FolderDoubt(
                    deposit,
                    (folder,),
                    f"{_few(labels)}: the record says {part} {own}, and its file lies in a folder named as {part} "
                    f"{other}",
                    part,
                    other,
                )
                for (own, folder, other), labels in said.items()
            ]
    return found


def _value(part: str, name: str, known: Mapping[str, str]) -> str | None:
    """What the name of a folder says of a part of the place; None where it says nothing."""
    if part != "floor":
        return known.get(_plain(name))
    said = _NUMBERED.fullmatch(name.strip())
    if said is None:
        return None
    word, number = (said[1], said[2]) if said[1] else (said[4], said[3])
    is_floor = any(m.kind == "field" and m.id == "floor" for m in meanings(word))
    return number if is_floor else None


def _in_several(deposit: str, rows: Iterable[Row]) -> list[FolderDoubt]:
    at: dict[tuple[Any, ...], set[str]] = defaultdict(set)
    for r in rows:
        if not any(r[name] for name in identity.PLACE):
            at[r["site"], r["job_id"], r["link_label"]].add("/".join(r["folder"]) or ".")
    alike: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for (_, _, label), folders in at.items():
        if len(folders) > 1:
            alike[tuple(sorted(folders))].append(label)
    return [
        FolderDoubt(
            deposit,
            folders,
            f"{_few(labels)}: tests that state no place lie in several folders ({', '.join(folders[:_SHOWN])}"
            f"{', ...' if len(folders) > _SHOWN else ''}), and are not told apart by them; they may be two links",
        )
        for folders, labels in alike.items()
    ]


def _known(archive: Archive, part: str, site: str | None, job: str | None) -> dict[str, str]:
    """Names of buildings or spaces that records of the site, or else of the job, state; by the form for comparison."""
    where, value = ("site = ?", site) if site is not None else ("site IS NULL AND job_id IS ?", job)
    rows = archive.db.execute(f"SELECT DISTINCT {part} FROM records WHERE {where} AND {part} IS NOT NULL", (value,))
    return {_plain(name): str(name) for (name,) in rows if _plain(name)}


def _few(labels: list[str]) -> str:
    named = ranges(dict.fromkeys(labels))
    more = f" and {len(named) - _SHOWN} more" if len(named) > _SHOWN else ""
    return ", ".join(named[:_SHOWN]) + more


def _plain(name: str) -> str:
    return " ".join(str(name).split()).casefold()
