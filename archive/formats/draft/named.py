"""Names that XML and JSON carry as values: lists of names and values, and tables whose headings stand in a list."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from archive.formats.draft import heading
from archive.formats.draft.cells import is_heading
from archive.formats.mapping.tree.node import TEXT, Tree, is_values

_NAME = frozenset(("name", "key", "label", "field", "title", "id", "caption", "k", "n", "tag", "attribute", "item"))
_VALUE = frozenset(("value", "val", "text", "content", "v", "data", "result", TEXT))
_BESIDE = frozenset(("unit", "units", "uom", "u", "type"))


def named_lists(tree: Tree) -> list[tuple[str, str, str]]:
    """Lists whose members are a name and a value: path from the root, key of the name, of the value."""
    out: dict[tuple[str, str, str], None] = {}
    for path, members in _lists(tree, ""):
        pair = _pair(members)
        if pair and _says_facts([str(m[pair[0]]) for m in members]):
            out[(path, *pair)] = None
    return list(out)


def _lists(tree: Tree, path: str, depth: int = 0) -> Iterator[tuple[str, list[dict[str, Any]]]]:
    if depth > 7:
        return
    if isinstance(tree, list):
        for member in tree[:20]:
            if isinstance(member, dict):
                yield from _lists(member, path, depth)
        return
    if not isinstance(tree, dict):
        return
    for name, child in tree.items():
        here = f"{path}/{name}".lstrip("/")
        if isinstance(child, list) and 1 < len(child) < 500 and all(isinstance(m, dict) for m in child):
            yield here, child
        if isinstance(child, list | dict):
            yield from _lists(child, here, depth + 1)


def _pair(members: list[dict[str, Any]]) -> tuple[str, str] | None:
    """The keys of name and value, where the members have these two and at most a unit beside."""
    keys = {k for m in members for k in m}
    plain = {k: k.lstrip("@").casefold() if k != TEXT else TEXT for k in keys}
    names = [k for k in keys if plain[k] in _NAME and all(isinstance(m.get(k), str) for m in members)]
    values = [k for k in keys if plain[k] in _VALUE and k not in names]
    rest = [k for k in keys if k not in (*names, *values) and plain[k] not in _BESIDE]
    if len(names) != 1 or len(values) != 1 or rest:
        return None
    told = [m[names[0]] for m in members]
    single = all(not isinstance(m.get(values[0]), dict | list) for m in members)
    return (names[0], values[0]) if single and len(set(told)) == len(told) else None


def _says_facts(told: list[str]) -> bool:
    """Names that are headings, and some of them of facts of a record."""
    known = [t for t in told if is_heading(t)]
    return len(known) >= 0.5 * len(told) and any(heading.read(t).fields for t in known)


@dataclass(frozen=True)
class Headed:
    """A table of lists: paths of its rows and of its headings, the headings, the rows."""

    rows: str
    heads: str
    headings: list[str]
    cells: list[list[Any]]


def headed_rows(tree: Tree) -> Headed | None:
    """The table of lists of equal length beside a list of as many headings, or None."""
    tables: list[tuple[str, list[list[Any]]]] = []
    heads: list[tuple[str, list[str]]] = []
    for path, listed in _all_lists(tree, ""):
        if all(is_values(r) for r in listed) and len({len(r) for r in listed}) == 1:
            tables.append((path, listed))
        texts = _headings(listed)
        if texts:
            heads.append((path, texts))
    for path, listed in tables:
        for where, texts in heads:
            width = len(listed[0])
            if width == len(texts) > 2 and sum(map(is_heading, texts)) >= 0.5 * width and path != where:
                return Headed(path, where, texts, listed)
    return None


def _headings(listed: list[Any]) -> list[str]:
    """Texts of a list, or names (with units) of its objects."""
    if all(isinstance(x, str) for x in listed):
        return list(listed)
    out = []
    for x in listed:
        named = [v for k, v in x.items() if k.casefold() in _NAME and isinstance(v, str)] if isinstance(x, dict) else []
        if not named:
            return []
        unit = next((v for k, v in x.items() if k.casefold() in _BESIDE - {"type"} and v), "")
        out.append(f"{named[0]} [{unit}]" if unit else named[0])
    return out


def _all_lists(tree: Tree, path: str, depth: int = 0) -> Iterator[tuple[str, list[Any]]]:
    if depth > 4:
        return
    if isinstance(tree, dict):
        for name, child in tree.items():
            yield from _all_lists(child, f"{path}/{name}".lstrip("/"), depth + 1)
    elif isinstance(tree, list) and len(tree) > 1 and path:
        yield path, tree
