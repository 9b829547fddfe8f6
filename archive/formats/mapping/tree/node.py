"""One shape for XML and JSON: dicts, lists and scalars.

An XML element becomes a dict: attributes as "@name", children by their local name (a list where there are several),
its text as "." beside them; an element with neither attributes nor children is its text. A path joins names with "/";
"*" stands for any name (members of a dict whose keys are data; the key itself is "#key").
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple, TypeAlias

from archive.errors import Trouble

Tree: TypeAlias = Any
"""A dict, a list, or a scalar of JSON."""
Branch: TypeAlias = dict[str, Tree]
Element: TypeAlias = Any
"""An element of lxml, whose published types are behind it."""
TEXT = "."
KEY = "#key"
ANY = "*"


class Member(NamedTuple):
    """A record: its tree, the tree of what stands around it so far, its line or number, and those leaves around it
    that are new since the record before, as path from the root and value. The last one has no tree."""

    tree: Tree
    around: Tree
    at: int
    fresh: list[tuple[str, Tree]]


def flat(tree: Tree, path: str) -> Iterator[tuple[str, Tree]]:
    """Leaves of a tree with their paths; a list of scalars is one leaf."""
    if isinstance(tree, dict):
        for name, child in tree.items():
            yield from flat(child, path if name == TEXT else f"{path}/{name}".lstrip("/"))
    elif isinstance(tree, list) and not is_values(tree):
        for child in tree:
            yield from flat(child, path)
    elif tree is not None and tree != "":
        yield path, tree


MOST_ATTRIBUTES = 5_000
"""Attributes of one element. Each is looked up among all: ten times as many take a hundred times as long."""


def of_element(element: Element) -> Tree:
    """An lxml element and all below it. Namespaces are left out; comments and instructions count for nothing.

    Errors: Trouble for an element with more attributes than any export has.
    """
    if len(element.attrib) > MOST_ATTRIBUTES:
        raise Trouble(
            "an element with more attributes than any export has",
            code="tree.too-many-attributes",
            where=f"line {element.sourceline}, <{local(element.tag)}>",
            found=f"{len(element.attrib):,} attributes",
            expected=f"at most {MOST_ATTRIBUTES:,}",
            remedy="look at the file; if it is an export, have each value written as an element of its own",
        )
    out: Branch = {f"@{local(n)}": v for n, v in element.attrib.items()}
    texts = [element.text]
    for child in element:
        if isinstance(child.tag, str):
            add(out, local(child.tag), of_element(child))
        texts.append(child.tail)
    text = "".join(t for t in texts if t).strip()
    if not out:
        return text or None
    if text:
        out[TEXT] = text
    return out


def without_lone_surrogates(tree: Tree) -> tuple[Tree, str]:
    """The tree with each half of a character replaced, and the first text that held one, with escapes; "" where none
    did. JSON can escape such halves (RFC 8259, 8.2), and no Unicode text can hold them."""
    if isinstance(tree, str):
        plain = tree.encode("utf-8", "replace").decode()
        return (tree, "") if plain == tree else (plain, tree.encode("ascii", "backslashreplace").decode()[:80])
    if isinstance(tree, dict):
        keys, values = without_lone_surrogates([*tree]), without_lone_surrogates([*tree.values()])
        return dict(zip(keys[0], values[0], strict=True)), keys[1] or values[1]
    if isinstance(tree, list):
        found = [without_lone_surrogates(child) for child in tree]
        return type(tree)(child for child, _ in found), next((text for _, text in found if text), "")
    return tree, ""


def add(into: Branch, name: str, tree: Tree) -> None:
    """A child, beside those of the same name."""
    if name not in into:
        into[name] = tree
    elif isinstance(into[name], _Several):
        into[name].append(tree)
    else:
        into[name] = _Several([into[name], tree])


class _Several(list[Tree]):
    """Children of one name."""


def local(tag: str) -> str:
    """A name without its namespace."""
    return tag.rpartition("}")[2]


def members(tree: Tree, path: str) -> Iterator[tuple[Tree, tuple[Tree, ...], str]]:
    """Members at a path: the member, its ancestors (nearest first), the key under which it stands: of a path with keys
    that are data, the nearest of these.

    A list stands for its members, except a list of scalars, which is one value.
    """
    parts = [p for p in path.split("/") if p not in ("", TEXT)]
    yield from _members(tree, parts, (), "", ANY in parts)


def _members(
    tree: Tree, path: list[str], above: tuple[Tree, ...], key: str, data: bool
) -> Iterator[tuple[Tree, tuple[Tree, ...], str]]:
    if isinstance(tree, list) and not is_values(tree):
        for member in tree:
            yield from _members(member, path, above, key, data)
        return
    if not path:
        if tree is not None:
            yield tree, above, key
        return
    if not isinstance(tree, dict):
        return
    if path[0] == ANY:
        for name, child in tree.items():
            if not name.startswith("@") and name != TEXT:
                yield from _members(child, path[1:], (tree, *above), name, data)
    else:
        name, rest = step(tree, path)
        if name in tree:
            named = name if rest and not data else key
            yield from _members(tree[name], rest, (tree, *above), named, data)


def step(tree: Branch, path: list[str]) -> tuple[str, list[str]]:
    """The next name of a path and the rest of it. A key may hold "/" itself, such as "1-2/3-6"."""
    if path[0] not in tree and len(path) > 1:
        for size in range(2, min(len(path), 4) + 1):
            name = "/".join(path[:size])
            if name in tree:
                return name, path[size:]
    return path[0], path[1:]


def is_values(tree: Tree) -> bool:
    """True for a list of scalars: one value, such as a curve, or the two pairs of a combination."""
    return isinstance(tree, list) and bool(tree) and not any(isinstance(c, dict | list) for c in tree)


def is_numbers(tree: Tree) -> bool:
    """True for a list of numbers and nothings."""
    return is_values(tree) and all(c is None or (isinstance(c, int | float) and not isinstance(c, bool)) for c in tree)


def cell_of(tree: Tree) -> Tree:
    """The text of an element that has attributes too; anything else as it is."""
    return tree.get(TEXT) if isinstance(tree, dict) else tree


def cell_at(tree: Tree, path: str) -> tuple[int, str]:
    """What tells the cell at a path below a tree from all others of the document: what holds it, and its name there."""
    rest = path.split("/")
    while len(rest) > 1:
        name, below = step(tree, rest) if isinstance(tree, dict) else (rest[0], rest[1:])
        if not below or not isinstance(tree, dict) or not isinstance(tree.get(name), dict):
            break
        tree, rest = tree[name], below
    return id(tree), "/".join(n for n in rest if n != TEXT)


def value_at(tree: Tree, path: str) -> Tree:
    """The scalar (or list of scalars) at a path below a tree, or None."""
    rest = path.split("/")
    while rest:
        if isinstance(tree, dict):
            name, rest = step(tree, rest)
        else:
            name, rest = rest[0], rest[1:]
        if name in ("", TEXT) and not isinstance(tree, dict):
            break
        if name.startswith("#") and isinstance(tree, list):
            number = int(name[1:]) - 1
            tree = tree[number] if number < len(tree) else None
            continue
        if isinstance(tree, list) and not is_values(tree):
            tree = tree[0] if len(tree) == 1 else None
        tree = tree.get(name) if isinstance(tree, dict) else None
    if isinstance(tree, dict):
        return tree.get(TEXT)
    if isinstance(tree, list) and not is_values(tree):
        return None
    return tree
