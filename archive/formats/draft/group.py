"""Files that belong together: identities in one, curves in others beside it, joined by a key.

A file belongs to another where it says nothing of its records but a key and measurements, and where its keys are
those of the other. A file with dates, limits or verdicts of its own stands alone.
"""

from __future__ import annotations

import re
from bisect import bisect
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from archive.errors import Trouble
from archive.formats.draft.answers import Answers
from archive.formats.draft.columns import look
from archive.formats.draft.hypotheses import SURE, score_of
from archive.formats.draft.interpret import place
from archive.formats.draft.layout import Column, Layout, nameless
from archive.formats.draft.placing import Placed, Placing
from archive.formats.draft.search import WAY, Files, best, copied
from archive.formats.draft.structure import structure
from archive.formats.draft.write import Draft, layout_name
from archive.formats.mapping.target import Target
from archive.formats.recognition import Entry

MOST_FILES = 12
"""Files of one folder that are looked at together."""

_KEYS = ("link_label", "sequence")
_WIRED = ("t568a", "t568b")
_SHARED = frozenset((*_KEYS, "reported_verdict", "maker", "model", "software", "comment"))
"""Facts that rows of measurements may have beside their key: none of them says which test it was."""


@dataclass(frozen=True)
class _Seen:
    layout: Layout
    placing: Placing


def is_export(entry: Entry) -> bool:
    """Whether a file says anything of cabling that a draft could place: something measured, or links by their label."""
    placed = _placed(_look(entry.path, entry.name))
    return (len(placed) > 1 or bool(_group(entry))) and any(
        p.to is not None
        and (p.to.table in _MEASURED or (p.to.name == "link_label" and p.confidence >= 0.85) or p.to.name == "value")
        for p in placed
    )


_MEASURED = ("sweeps", "readings", "reported")


def others(entry: Entry) -> list[Entry]:
    """The files beside an entry that are read together with it, where it is the one that holds the identities."""
    return [Entry(p, name_beside(entry, p)) for p in _group(entry)]


def drafted(entry: Entry, least: float = 0.0, answers: Answers | None = None) -> Draft:
    """The draft of a file, together with the files that belong to it. answers: to what an earlier draft asked.

    Errors: Trouble, as structure.
    """
    said = tuple(sorted((answers or {}).items()))
    return _drafted(entry.path, entry.name, state_of(entry.path), least, said)


def state_of(path: Path) -> tuple[int, int]:
    """Size of a file, and the time of its last change: what was found out of it holds as long as they stay."""
    stat = path.stat()
    return stat.st_size, stat.st_mtime_ns


@lru_cache(maxsize=32)
def _drafted(path: Path, name: str, state: tuple[int, int], least: float, answers: Said) -> Draft:
    del state
    entry = Entry(path, name)
    return best(lambda said: _files(entry, said), entry, dict(answers), layout_name(name), least)


def _files(entry: Entry, answers: Answers) -> Files:
    """The files of a layout as they are placed by some answers, with placings of their own."""
    said = tuple(sorted(answers.items()))
    mine = _own(_look(entry.path, entry.name, said))
    group = _group(entry)
    scheme = mine.placing.scheme
    if group and "pairs" not in answers and scheme.name in _WIRED and scheme.confidence >= SURE:
        # What one file says of the names of pairs holds for those that belong to it.
        said = tuple(sorted({**answers, "pairs": scheme.name}.items()))
    named = _named_files(mine, group)
    if named is not None:
        # A file per link: one of them stands for all.
        column, source = named
        seen = _own(_look(group[0], name_beside(entry, group[0]), said))
        _join_by_name(column, source, seen.placing, group[0])
        patterns = {pattern_of(p, entry.path.parent) for p in group}
        folder = group[0].parent.relative_to(entry.path.parent).as_posix()
        within = "" if folder == "." else f"{folder}/"
        pattern = patterns.pop() if len(patterns) == 1 else f"{within}*{group[0].suffix}"
        return [(mine.layout, mine.placing, entry.path.name), (seen.layout, seen.placing, pattern)]
    if not group:
        _label_by_name(entry, mine)
    files = [(mine.layout, mine.placing, pattern_of(entry.path, entry.path.parent) if group else "")]
    for pattern, paths in _patterns(group, entry.path.parent).items():
        # Of files that differ by their numbers one stands for all.
        seen = _own(_look(paths[0], name_beside(entry, paths[0]), said))
        _join(mine.placing, seen.placing)
        files.append((seen.layout, seen.placing, pattern))
    return files


def _own(seen: _Seen) -> _Seen:
    return _Seen(seen.layout, copied(seen.placing))


Said = tuple[tuple[str, str], ...]
"""Answers by name, in order."""


def _look(path: Path, name: str, answers: Said = ()) -> _Seen:
    return _looked(path, name, state_of(path), answers)


@lru_cache(maxsize=32)
def _looked(path: Path, name: str, state: tuple[int, int], answers: Said) -> _Seen:
    del state
    said = dict(answers)
    layout = structure(Entry(path, name), said.get(WAY, ""))
    return _Seen(layout, place(layout, said))


def name_beside(entry: Entry, path: Path) -> str:
    """The name of a file beside an entry, as Entry.name."""
    return entry.name.removesuffix(entry.path.name) + path.relative_to(entry.path.parent).as_posix()


def pattern_of(path: Path, folder: Path) -> str:
    """A file's name with its numbers left open; within a folder below `folder`, with that folder's name."""
    within = path.parent.relative_to(folder).as_posix()
    return ("" if within == "." else f"{within}/") + re.sub(r"\d+", "*", path.name)


def _patterns(paths: list[Path], folder: Path) -> dict[str, list[Path]]:
    """Files by their names with the numbers left open."""
    out: dict[str, list[Path]] = {}
    for path in paths:
        out.setdefault(pattern_of(path, folder), []).append(path)
    return out


def first_alike(entry: Entry) -> Path | None:
    """The first text beside an entry, or itself, whose name is alike but for its numbers; None where it is no text."""
    if entry.suffix not in _TEXTS:
        return None
    folder = entry.path.parent
    mine = pattern_of(entry.path, folder)
    return next((p for p in _texts_in(folder, folder.stat().st_mtime_ns) if pattern_of(p, folder) == mine), None)


def _near(entry: Entry) -> list[Path]:
    """Texts beside an entry, and in the folders beside it."""
    folder = entry.path.parent
    below = (_texts_in(d, d.stat().st_mtime_ns) for d in folder.iterdir() if d.is_dir() and not d.is_symlink())
    return sorted([*_beside_it(entry), *(p for texts in below for p in texts)])


def _beside_it(entry: Entry) -> list[Path]:
    """Texts in the folder of an entry, in the order of their names."""
    folder = entry.path.parent
    return [p for p in _texts_in(folder, folder.stat().st_mtime_ns) if p != entry.path]


@lru_cache(maxsize=32)
def _texts_in(folder: Path, time: int) -> tuple[Path, ...]:
    """Texts in a folder; listed once for all of its files, until one comes or goes. None where it cannot be read."""
    del time
    try:
        found = [p for p in folder.iterdir() if p.suffix.lower() in _TEXTS and p.is_file() and not p.is_symlink()]
    except OSError:
        return ()
    return tuple(sorted(found))


def _group(entry: Entry) -> list[Path]:
    """The files that belong to an entry, in order; none where it is no file of identities."""
    if entry.suffix not in _LEADS:
        return []
    try:
        mine = _look(entry.path, entry.name)
    except Trouble:
        return []
    beside = _near(entry) if _identities(mine) else []
    if not beside:
        return []
    if named := _per_link(entry, mine, beside):
        return named
    patterns = _patterns(beside, entry.path.parent)
    if len(patterns) >= MOST_FILES:
        return []
    out: list[Path] = []
    told = _keys_told(mine)
    for paths in patterns.values():
        try:
            if not all(_holds_any(p, told) for p in (paths[0], paths[-1])):
                continue
            some = [_look(p, name_beside(entry, p)) for p in dict.fromkeys((paths[0], paths[-1]))]
        except (Trouble, OSError):
            continue
        if all(_only_measured(s) and _key(mine, s) is not None for s in some):
            out += paths
    return out


def _per_link(entry: Entry, mine: _Seen, beside: list[Path]) -> list[Path]:
    """The files beside an entry that its cells name, one for each link, where they hold measurements only."""
    found = _named_files(mine, beside)
    if found is None:
        return []
    column, source = found
    told = _cells(column)
    named = [p for p in beside if (p.stem if source == "@file" else p.name) in told]
    try:
        some = [_look(p, name_beside(entry, p)) for p in named[:3]]
    except (Trouble, OSError):
        return []
    return named if all(_only_measured(s) and _key(mine, s) is None for s in some) else []


def _named_files(mine: _Seen, paths: list[Path]) -> tuple[Placed, str] | None:
    """The column whose cells are the names of most of some files, and whether with their endings."""
    if len(paths) < 2:
        return None
    for t in mine.placing.tables:
        for p in t.placed:
            if p.to is not None and p.to.name not in _KEYS:
                continue
            told = _cells(p)
            for source, names in (("@file", [x.stem for x in paths]), ("@filename", [x.name for x in paths])):
                if sum(n in told for n in names) >= 0.8 * len(names):
                    return p, source
    return None


def _keys_told(mine: _Seen) -> list[str]:
    """Some keys of a file of identities: another that belongs to it holds them too."""
    listed = [
        sorted(_cells(p), key=len, reverse=True)[:300]
        for t in mine.placing.tables
        for p in t.placed
        if p.seen.profile.unique > 0.95 and (p.to is None or p.to.name in _KEYS) and not nameless(p.source)
    ]
    return [x for some in listed for x in some]


def _holds_any(path: Path, told: list[str]) -> bool:
    """Whether the beginning of a file holds any of some keys: without one, it need not be looked at."""
    from archive.formats.base import text as texts

    with path.open("rb") as opened:
        head = opened.read(1 << 17)
    encoding = texts.detect(head)
    text = head[encoding.mark :].decode(encoding.name, "replace")
    return any(x in text for x in told)


def _cells(p: Placed) -> set[str]:
    return {str(c).strip() for c in p.seen.column.cells if c not in (None, "")}


def _join_by_name(column: Placed, source: str, other: Placing, path: Path) -> None:
    """Gives the name of each file the place of the column that names it."""
    if column.to is None:
        column.to, column.reason = Target("records", "sequence"), "the files with the curves are named by this"
    column.score = max(column.score, score_of(0.92))
    name = path.stem if source == "@file" else path.name
    _put_name(other, source, name, column.to, column.confidence, f"each file is named as {column.seen.source!r} says")


def _label_by_name(entry: Entry, mine: _Seen) -> None:
    """A file of curves that names no link: its name does, surely where others beside it are alike but for that."""
    if any(p.to is not None and p.to.name == "link_label" for p in _placed(mine)) or mine.layout.records > 1:
        return
    if not any(t.meaning is not None and t.meaning.rows in ("points", "curves") for t in mine.placing.tables):
        return
    beside = _beside_it(entry)
    at = bisect(beside, entry.path)
    next_to = beside[max(0, at - 2) : at + 2]  # of a folder of thousands, the nearest by name say enough
    alike = entry.suffix in _TEXTS and any(_head(p) == _head(entry.path) for p in next_to)
    sure = 0.92 if alike else 0.7
    reason = "nothing in the file names the link" + ("; files beside it are alike" if alike else "")
    _put_name(mine.placing, "@file", entry.path.stem, Target("records", "link_label"), sure, reason)


def _head(path: Path) -> bytes:
    """The first line of a file, to tell files of one kind."""
    with path.open("rb") as opened:
        return opened.read(1 << 16).split(b"\n", 1)[0]


def _put_name(placing: Placing, source: str, name: str, to: Target, confidence: float, reason: str) -> None:
    """Places the name of a file in its first table of rows, once."""
    table = next(t for t in placing.tables if t.found is not None)
    if any(p.seen.source == source for p in table.placed):
        return
    cells = [name] * (table.found.rows if table.found is not None else 1)
    (seen,) = look([Column(source, (source,), list(cells))], (), ".", "")
    table.placed.insert(0, Placed(seen, to, "", score_of(confidence), reason))


_TEXTS = (".csv", ".txt", ".tsv", ".dat", ".asc", ".prn", ".tab")
_LEADS = (*_TEXTS, ".json", ".xml", ".xlsx", ".xls", ".ods")


def _placed(seen: _Seen) -> list[Placed]:
    return [p for t in seen.placing.tables for p in t.placed if p.to is not None and p.confidence >= 0.5]


def _identities(seen: _Seen) -> bool:
    """A table of links with labels, or records of XML or JSON, and no curves."""
    targets = [p.to for p in _placed(seen)]
    rows = [t.meaning.rows for t in seen.placing.tables if t.found is not None and t.meaning is not None]
    links = set(rows) <= {"links", "readings"} if seen.layout.kind in ("json", "xml") else rows == ["links"]
    return (
        links
        and any(t is not None and t.name == "link_label" for t in targets)
        and not any(t is not None and t.table == "sweeps" for t in targets)
        and not seen.layout.block
    )


def _only_measured(seen: _Seen) -> bool:
    """Curves or readings, and no fact of a record but a key."""
    tables = [t for t in seen.placing.tables if t.found is not None and t.meaning is not None]
    facts = {
        p.to.name for p in _placed(seen) if p.to is not None and p.to.table in ("records", "people", "instruments")
    }
    rows = {t.meaning.rows for t in tables if t.meaning is not None}
    several = len(tables) == 1 or seen.layout.block == "file"
    return (
        bool(rows)
        and several
        and rows <= {"points", "curves", "readings"}
        and not facts - _SHARED
        and seen.layout.block in ("", "file")
    )


def _key(mine: _Seen, other: _Seen) -> tuple[Placed, Placed] | None:
    """Columns of both files that hold the same keys: of the file of identities, of the other."""
    for q in (q for t in other.placing.tables for q in t.placed):
        cells = {str(c).strip() for c in q.seen.column.cells if c not in (None, "")}
        if not cells or (q.to is not None and q.to.table != "records") or q.seen.profile.dates or nameless(q.source):
            continue
        for t in mine.placing.tables:
            for p in t.placed:
                there = {str(c).strip() for c in p.seen.column.cells if c not in (None, "")}
                unique = p.seen.profile.unique > 0.95
                if unique and len(cells & there) >= 0.8 * len(cells) and (p.to is None or p.to.name in _KEYS):
                    return p, q
    return None


def _join(mine: Placing, other: Placing) -> None:
    """Gives the key columns of both files the same place."""
    found = _key(_Seen(Layout(""), mine), _Seen(Layout(""), other))
    if found is None:
        return
    p, q = found
    if p.to is None:
        p.to, p.score, p.reason = (
            Target("records", "sequence"),
            score_of(0.92),
            "the other file names its records by this",
        )
    q.to, q.score = p.to, max(score_of(0.92), p.score)
    q.reason = f"the same keys as {p.seen.source!r} of the file with the identities"
