"""Doubts that the folders of files raise about where their links are. A folder never decides: nothing is changed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Any

from archive.store import Archive, identity
from archive.store.records import COUNTED

Row = Mapping[str, Any]
_NAMED = ("building", "space")
"""Parts of a place that folders are named by; a floor's name, such as 2, means too many other things."""
_SHOWN = 3


def folder_doubts(archive: Archive, deposit: str) -> list[str]:
    """What the folders of a deposit's files say against its records, in sentences.

    A folder that is named as another building or space that the archive knows at the site than the record says; and one
    label of no stated place in several folders.
    """
    sources = archive.tables(deposit).table("sources").select(["source_id", "path"]).to_pylist()
    folder = {s["source_id"]: tuple(str(s["path"] or "").replace("\\", "/").split("/")[:-1]) for s in sources}
    if not any(folder.values()):
        return []
    rows = [
        {**dict(r), "folder": folder.get(r["source_id"], ())}
        for r in archive.db.execute(
            "SELECT link_label, site, job_id, building, floor, space, source_id FROM records "
            f"WHERE deposit = ? AND link_label IS NOT NULL AND {COUNTED} ORDER BY row",
            (deposit,),
        )
    ]
    return [*_named_otherwise(archive, rows), *_in_several(rows)]


def _named_otherwise(archive: Archive, rows: Iterable[Row]) -> list[str]:
    found = []
    for (site, job), members in groupby(rows, key=lambda r: (r["site"], r["job_id"])):
        listed = list(members)
        for part in _NAMED:
            known = _known(archive, part, site, job)
            said: dict[tuple[str, str], list[str]] = defaultdict(list)
            for r in listed:
                names = [_plain(name) for name in r["folder"]]
                other = next((n for n in reversed(names) if n in known), None)
                if r[part] and other is not None and _plain(r[part]) not in names:
                    said[r[part], known[other]].append(r["link_label"])
            found += [
                f"{_few(labels)}: the record says {part} {own}, and its file lies in a folder named as {part} {other}"
                for (own, other), labels in said.items()
            ]
    return found


def _in_several(rows: Iterable[Row]) -> list[str]:
    at: dict[tuple[Any, ...], set[str]] = defaultdict(set)
    for r in rows:
        if not any(r[name] for name in identity.PLACE):
            at[r["site"], r["job_id"], r["link_label"]].add("/".join(r["folder"]) or ".")
    alike: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for (_, _, label), folders in at.items():
        if len(folders) > 1:
            alike[tuple(sorted(folders))].append(label)
    return [
        f"{_few(labels)}: tests that state no place lie in several folders ({', '.join(folders[:_SHOWN])}"
        f"{', ...' if len(folders) > _SHOWN else ''}), and are not told apart by them"
        for folders, labels in alike.items()
    ]


def _known(archive: Archive, part: str, site: str | None, job: str | None) -> dict[str, str]:
    """Names of buildings or spaces that records of the site, or else of the job, state; by the form for comparison."""
    where, value = ("site = ?", site) if site is not None else ("site IS NULL AND job_id IS ?", job)
    rows = archive.db.execute(f"SELECT DISTINCT {part} FROM records WHERE {where} AND {part} IS NOT NULL", (value,))
    return {_plain(name): str(name) for (name,) in rows if _plain(name)}


def _few(labels: list[str]) -> str:
    named = list(dict.fromkeys(labels))
    more = f" and {len(named) - _SHOWN} more" if len(named) > _SHOWN else ""
    return ", ".join(named[:_SHOWN]) + more


def _plain(name: str) -> str:
    return " ".join(str(name).split()).casefold()
