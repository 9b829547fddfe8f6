"""Records of a JSON document, or of JSON lines."""

from __future__ import annotations

import json
import mmap
import re
from collections.abc import Iterator

from archive.errors import Trouble
from archive.formats.mapping.tree.node import ANY, KEY, Branch, Member, Tree, flat, is_values
from archive.formats.mapping.tree.stream import members_of
from archive.formats.recognition import Entry

WHOLE = 1 << 27
"""Bytes of a document that is read at once; a larger one is read member by member."""
LINES = "lines"


def records(entry: Entry, path: str) -> Iterator[Member]:
    """Each record at a path of keys, then a last Member without a tree.

    path: "lines" for one record on each line; "" where the root is the list of records or the only record.
    Errors: Trouble where the text is no JSON.
    """
    if path == LINES:
        yield from _lines(entry)
        return
    news: list[tuple[str, Tree]] = []
    way = [p for p in path.split("/") if p]
    root: Branch = {}
    found = members_of(entry, way, news) if entry.size > WHOLE else _below(load(entry), way, root, root, "", news)
    for number, (tree, around) in enumerate(found, 1):
        yield Member(tree, around, number, list(news))
        news.clear()
    yield Member(None, {}, 0, list(news))


def may_hold_surrogates(entry: Entry) -> bool:
    """Whether a document escapes half of a character somewhere; a pair of them is one character."""
    with entry.path.open("rb") as opened:
        return bool(entry.size) and _HALF.search(mmap.mmap(opened.fileno(), 0, access=mmap.ACCESS_READ)) is not None


_HALF = re.compile(rb"\\\0*u\0*[dD]\0*[89A-Fa-f]")
"""Its escape, in UTF-8 or with the zeros of wider encodings."""


def load(entry: Entry) -> Tree:
    """A whole document. Errors: Trouble."""
    data = entry.path.read_bytes()
    try:
        return json.loads(
            data.decode(json.detect_encoding(data)).replace("\0", "").lstrip("\ufeff"), parse_constant=_no
        )
    except json.JSONDecodeError as error:
        raise damaged(entry.name, error) from None
    except (UnicodeDecodeError, RecursionError) as error:
        raise Trouble(
            "is no JSON", code="export.not-json", where=entry.name, found=str(error)[:120], remedy="export it again"
        ) from None


def damaged(name: str, error: json.JSONDecodeError) -> Trouble:
    """A document that ends early or is no JSON."""
    return Trouble(
        "is no JSON",
        code="export.not-json",
        where=f"{name}, line {error.lineno}, column {error.colno}",
        found=error.msg,
        remedy="export or download the file again; it may have been cut short",
    )


def _no(word: str) -> str:
    """NaN and infinities are no JSON; they stay as words, and the record that holds one is set aside."""
    return word


def _lines(entry: Entry) -> Iterator[Member]:
    with entry.path.open("rb") as opened:
        for number, line in enumerate(opened, 1):
            if not line.strip():
                continue
            try:
                yield Member(json.loads(line.decode("utf-8-sig"), parse_constant=_no), {}, number, [])
            except json.JSONDecodeError as error:
                where = json.JSONDecodeError(error.msg, error.doc, error.pos)
                where.lineno = number
                raise damaged(entry.name, where) from None
    yield Member(None, {}, 0, [])


def _below(
    tree: Tree, path: list[str], around: Tree, at: Tree, here: str, news: list[tuple[str, Tree]]
) -> Iterator[tuple[Tree, Tree]]:
    """Members at a path, and the tree of what stands beside the way to them.

    at: where in `around` we stand; here: its path; news: takes the leaves that are added to `around`.
    """
    if isinstance(tree, list) and (path or not is_values(tree)):
        for member in tree:
            copy, place = _copy(around, at) if path else (around, at)
            yield from _below(member, path, copy, place, here, news)
        return
    if not path:
        yield tree, around
        return
    if not isinstance(tree, dict):
        return
    name = path[0]
    if name == ANY:
        for key, child in tree.items():
            if isinstance(child, dict) and len(path) == 1:
                yield {KEY: key, **child}, around
            elif isinstance(child, dict | list):
                yield from _below(child, path[1:], around, at, here, news)
        return
    beside = {k: v for k, v in tree.items() if k != name}
    at.update(beside)
    news += flat(beside, here)
    if name in tree:
        below: Branch = {}
        at[name] = below
        yield from _below(tree[name], path[1:], around, below, f"{here}/{name}".lstrip("/"), news)


def _copy(around: Tree, at: Tree) -> tuple[Tree, Tree]:
    """A copy of the tree around, where members of a list add to it, so that none sees another's neighbours."""
    if around is at:
        copy = dict(around)
        return copy, copy
    out = dict(around)
    for name, child in around.items():
        if child is at:
            out[name] = dict(at)
            return out, out[name]
        if isinstance(child, dict):
            inner, place = _copy(child, at) if _holds(child, at) else (child, None)
            if place is not None:
                out[name] = inner
                return out, place
    return out, at


def _holds(tree: Tree, at: Tree) -> bool:
    return tree is at or (isinstance(tree, dict) and any(_holds(c, at) for c in tree.values() if isinstance(c, dict)))
