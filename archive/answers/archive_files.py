"""What several archives and their Parquet files are called in a query. Needs no Arrow."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from archive.errors import Trouble
from archive.store import Archive


def archive_names(archives: Sequence[Archive]) -> list[str]:
    """What archives are called where several are asked as one. Errors: Trouble where one is named twice."""
    names = [a.root.resolve().name for a in archives]
    twice = {n for n in names if names.count(n) > 1}
    names = [str(a.root) if n in twice else n for a, n in zip(archives, names, strict=True)]
    if len({a.id for a in archives}) < len(archives):
        raise Trouble("one archive is named twice", code="rates.archive-twice", found=", ".join(names))
    return names


def quoted(text: str | Path) -> str:
    return "'" + str(text).replace("'", "''") + "'"


def read_parquet(files: Sequence[Path], alike: bool, *, named: bool = False) -> str:
    """SQL that reads files as one table. alike: all have the same columns; named: with the name of each row's file."""
    listed = ", ".join(quoted(p) for p in files)
    return f"read_parquet([{listed}], union_by_name = {str(not alike).lower()}, filename = {str(named).lower()})"
