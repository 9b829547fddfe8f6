"""Lists of names and values, such as <property name="Limit" value="..."/>: each name becomes a name of its own.

A name that holds "/" keeps its words with a blank in its place, for "/" parts the names of a path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from archive.formats.mapping.tree.node import TEXT, Branch, Tree, cell_of


@dataclass(frozen=True)
class NameValueList:
    """each: path of the list, from the record. name, value: in its members, what holds the name and the value."""

    each: str
    name: str
    value: str


def turned(tree: Tree, listed: Sequence[NameValueList]) -> Tree:
    """A record with its lists of names and values as names. The tree is changed."""
    for named in listed:
        _turn(tree, [p for p in named.each.split("/") if p], named)
    return tree


def _turn(tree: Tree, path: list[str], named: NameValueList) -> None:
    if isinstance(tree, list):
        for member in tree:
            _turn(member, path, named)
    elif isinstance(tree, dict) and path and path[0] in tree:
        if len(path) > 1:
            _turn(tree[path[0]], path[1:], named)
            return
        members = tree[path[0]] if isinstance(tree[path[0]], list) else [tree[path[0]]]
        if all(isinstance(m, dict) and isinstance(m.get(named.name), str) for m in members):
            tree[path[0]] = _names(members, named)


def _names(members: list[Branch], named: NameValueList) -> Branch:
    out: Branch = {}
    for member in members:
        name = plain(member[named.name])
        rest = {k: v for k, v in member.items() if k not in (named.name, named.value)}
        value: Tree = member.get(named.value)
        if rest:
            value = {TEXT: cell_of(value), **rest}
        number, free = 2, name
        while free in out:
            free, number = f"{name} ({number})", number + 1
        out[free] = value
    return out


def plain(name: str) -> str:
    """A name as a step of a path."""
    return " ".join(name.replace("/", " ").split()) or "(no name)"
