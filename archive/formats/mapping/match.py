"""Whether a file has the layout of a mapping: by its content, never by its name."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from archive.errors import Trouble
from archive.formats.base import text as texts
from archive.formats.base.kinds import kind_of
from archive.formats.base.workbook import sheets
from archive.formats.mapping import names
from archive.formats.mapping.known import known
from archive.formats.mapping.load import load
from archive.formats.mapping.model import Mapping, SourceFile, SourceTable
from archive.formats.mapping.rows.text_rows import fixed
from archive.formats.recognition import Entry

ENOUGH = 0.75
"""Share of a mapping's names that a file must hold."""


@dataclass(frozen=True)
class Match:
    """A mapping that fits a file: names found, of how many."""

    mapping: Mapping
    file: SourceFile
    found: int
    asked: int

    @property
    def score(self) -> float:
        """0.6 to 0.97."""
        return round(0.6 + 0.37 * (self.found / self.asked), 3)

    @property
    def reason(self) -> str:
        """In words."""
        return f"{self.found} of {self.asked} names of its mapping are there"


def matches(entry: Entry) -> list[Match]:
    """The known mappings that fit a file, the best first. Several in front with equal names found fit equally."""
    words_there = content(entry)
    if words_there is None:
        return []
    kind, there = words_there
    out = []
    for k in known():
        for file in k.mapping.files if k.mapping is not None else ():
            if k.mapping is None:
                continue
            cut = _cut_names(entry, k.mapping) if kind == "text" else frozenset()
            match = _match(k.mapping, file, kind, there | cut)
            if match is not None:
                out.append(match)
    return sorted(out, key=lambda m: (-m.score, -m.asked))


def match(entry: Entry, mapping: Mapping) -> Match | None:
    """How well one mapping fits a file, by the best fitting of its files; None where none fits."""
    words_there = content(entry, mapping)
    if words_there is None:
        return None
    kind, there = words_there
    there |= _cut_names(entry, mapping) if kind == "text" else frozenset()
    found = [m for f in mapping.files if (m := _match(mapping, f, kind, there)) is not None]
    return max(found, key=lambda m: (m.score, m.asked), default=None)


def _cut_names(entry: Entry, mapping: Mapping) -> frozenset[str]:
    """Names in a text whose columns have fixed places, and may touch each other."""
    tables = [t for f in mapping.files for t in f.tables if t.widths]
    if not tables:
        return frozenset()
    lines = _decoded(entry, mapping).splitlines()[:_ROWS]
    return frozenset(_plain(c) for t in tables for line in lines for c in fixed(line, t.widths))


def _match(mapping: Mapping, file: SourceFile, kind: str, there: frozenset[str]) -> Match | None:
    if kind != ("text" if file.kind in ("delimited", "report") else file.kind):
        return None
    asked = _asked(file)
    if not asked or any(_plain(r) not in there for r in mapping.require):
        return None
    found = len(asked & there)
    return Match(mapping, file, found, len(asked)) if found >= ENOUGH * len(asked) and found >= 2 else None


@lru_cache(maxsize=512)
def _asked(file: SourceFile) -> frozenset[str]:
    """Names that a file of a layout holds."""
    out: set[str] = set()
    for table in file.tables:
        for name in [n for n, f in table.cells.items() if not f.optional] + list(table.columns):
            if file.kind in ("xml", "json"):
                out.update(
                    p.lstrip("@") for p in name.split("/") if p not in ("", ".", "..", "*", "#key") and p[0] != "#"
                )
            elif not name.startswith("@"):
                out.update(_plain(re.sub(r" \(\d+\)$", "", p)) for p in name.split(names.JOIN))
        out.update(p.lstrip("@") for p in table.each.split("/") if p not in ("", "*"))
        if table.sheet and not re.search(r"[*?\[]", table.sheet):
            out.add(_plain(table.sheet))
        if table.title and not table.title.startswith("/"):
            out.add(_plain(table.title))
    out.update(p for p in file.record.split("/") if p and p not in ("lines", "*"))
    return frozenset(x for x in out if x)


def not_there(entry: Entry, mapping: Mapping, file: SourceFile, table: SourceTable) -> tuple[list[str], int]:
    """The names of one table that the beginning of a file does not hold, and how many it has."""
    words_there = content(entry, mapping)
    there = words_there[1] if words_there is not None else frozenset()
    asked = sorted(_asked(replace(file, tables=(table,), record="")))
    return [n for n in asked if n not in there], len(asked)


def _plain(text: object) -> str:
    return names.tidy(text).rstrip(" :=").strip()


def content(entry: Entry, mapping: Mapping | None = None) -> tuple[str, frozenset[str]] | None:
    """Kind of a file, and the names that its beginning holds; None where it is none that a mapping reads.

    mapping: one whose code pages count beside those of the known ones.
    """
    try:
        kind = kind_of(entry)
        if kind == "workbook":
            return kind, _of_workbook(entry)
    except (Trouble, OSError):
        return None
    if kind == "text":
        return kind, _of_text(_decoded(entry, mapping))
    text = _decoded(entry, mapping)
    if kind == "xml":
        return kind, frozenset(re.findall(r"<(?:[\w.-]+:)?([\w.-]+)", text)) | frozenset(
            re.findall(r"[\s](?:[\w.-]+:)?([\w.-]+)\s*=\s*[\"']", text)
        )
    return kind, frozenset(re.findall(r'"((?:[^"\\]|\\.){1,80})"\s*:', text))


_LABEL_ENDS = re.compile(r"[:=]|\.{3,}")


@lru_cache(maxsize=8)
def _of_text(text: str) -> frozenset[str]:
    """Names in a text. Shelf, user's mappings and those used before ask of one file in turn: it is cut up once."""
    found: set[str] = set()
    cells: set[str] = set()
    parts: set[str] = set()
    for line in re.split(r"[\r\n]+", text):
        for mark in "\t;|,":
            if mark in line:
                cells.update(line.split(mark))
        wide = re.split(r"\s{2,}|\t", line.strip())
        found.update(wide)
        parts.update(wide)
        parts.update(re.split(r"[\t;|,]", line))
        if len(found) + len(cells) > 60_000:
            break
    found.update(c.strip().strip('"') for c in cells)
    found.update(_LABEL_ENDS.split(part, 1)[0] for part in parts)
    return frozenset(_plain(x) for x in found)


def _decoded(entry: Entry, mapping: Mapping | None) -> str:
    """The head of a text; where nothing says its code page, once in each that a mapping declares."""
    encoding = texts.detect(entry.head, whole=entry.size <= len(entry.head))
    body = entry.head[encoding.mark :].replace(b"\0\0\0\0", b"")
    pages = [encoding.name]
    if encoding.assumed:
        named = [k.mapping for k in known() if k.mapping] + ([mapping] if mapping is not None else [])
        pages += sorted({f.encoding for m in named for f in m.files if f.encoding} - {encoding.name})
    return "\n".join(body.decode(p, "ignore") for p in pages)


_ROWS = 400
"""Rows of a sheet in which its names are looked for."""


def _of_workbook(entry: Entry) -> frozenset[str]:
    out: set[str] = set()
    for name, rows in sheets(entry, most=_ROWS):
        out.add(_plain(name))
        for row in rows:
            out.update(_plain(c) for c in row if isinstance(c, str))
            out.update(_plain(c) for c in row if isinstance(c, int | float))
    return frozenset(out | {re.sub(r"\.0$", "", x) for x in out})


def best(found: Sequence[Match]) -> list[Match]:
    """The matches in front: one, or several that fit equally."""
    return [m for m in found if (m.score, m.asked) == (found[0].score, found[0].asked)] if found else []


def chosen(entry: Entry, mapping: Mapping | Path | str | None = None) -> Mapping:
    """The mapping by which a file is read. Errors: Trouble where none fits, or two fit equally."""
    if isinstance(mapping, Mapping):
        return mapping
    if mapping is not None:
        return load(mapping)
    found = best(matches(entry))
    if len(found) > 1:
        raise Trouble(
            "two layouts fit equally",
            code="mapping.two-fit",
            where=entry.name,
            found=", ".join(f"{m.mapping.layout} ({m.mapping.path})" for m in found),
            remedy="name the right one with --mapping",
        )
    if not found:
        raise Trouble(
            "no mapping knows this layout",
            code="mapping.none-fits",
            where=entry.name,
            remedy="draft one with `muniment mapping draft`, look at it, and name it with --mapping",
        )
    return found[0].mapping
