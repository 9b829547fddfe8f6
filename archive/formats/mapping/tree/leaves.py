"""Every leaf of a record, matched with the paths that a mapping names: so that none is lost."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from archive.formats.mapping.model import SourceFile
from archive.formats.mapping.rows.columns import cell_text
from archive.formats.mapping.tree.node import ANY, KEY, TEXT, Tree, is_values


@dataclass
class Paths:
    """The paths a mapping names, as a tree of names. use: "mapped", "ignored" or ""."""

    use: str = ""
    below: dict[str, Paths] = field(default_factory=dict)

    def find(self, name: str) -> Paths | None:
        """What is below a key that holds "/" itself."""
        at: Paths | None = self
        for part in name.split("/"):
            at = at.below.get(part) if at is not None else None
        return at

    def add(self, path: str, use: str) -> None:
        """Marks a path."""
        at = self
        for name in path.split("/"):
            if name and name != TEXT:
                at = at.below.setdefault(name, Paths())
        at.use = at.use or use


def paths_of(file: SourceFile) -> Paths:
    """The paths, from the record, of a file's fields and of what it ignores."""
    out = Paths()
    for table in file.tables:
        if table.each.startswith("/"):
            continue
        for name in table.cells:
            if not name.startswith("/"):
                out.add(absolute(table.each, name), "mapped")
        for name in table.ignore:
            out.add(absolute(table.each, name), "ignored")
    for name in file.ignore:
        out.add(name, "ignored")
    return out


def paths_around(file: SourceFile) -> Paths:
    """The paths from the root that a file's fields and what it ignores name: those that begin with "/"."""
    out = Paths()
    for table in file.tables:
        for name in table.cells:
            if table.each.startswith("/"):
                out.add(absolute(table.each, name), "mapped")
            elif name.startswith("/"):
                out.add(name, "mapped")
        for name in (*table.ignore, *file.ignore):
            if name.startswith("/") or table.each.startswith("/"):
                out.add(absolute(table.each, name) if not name.startswith("/") else name, "ignored")
    return out


def use_of(path: str, paths: Paths) -> str:
    """What a mapping does with a path from the root: "mapped", "ignored" or ""."""
    at: Paths | None = paths
    for name in path.split("/"):
        at = at.below.get(name) or at.below.get(ANY) if at is not None else None
    return at.use if at is not None else ""


def absolute(each: str, source: str) -> str:
    """A source of a table as a path from the record: each "Curve/Point", source "../@pair" is "Curve/@pair"."""
    parts = [p for p in each.split("/") if p not in ("", TEXT)]
    for name in source.split("/"):
        if name == "..":
            if parts:
                parts.pop()
        elif name and name != TEXT:
            parts.append(name)
    return "/".join(parts)


@dataclass
class Leaves:
    """Cells of one record: how many are mapped and ignored, and those that are neither, as name and text."""

    mapped: int = 0
    ignored: int = 0
    loose: list[tuple[str, str]] = field(default_factory=list)


_NONE_OWNED: Mapping[int, Leaves] = {}


def leaves(tree: Tree, paths: Paths, owned: Mapping[int, Leaves] = _NONE_OWNED) -> Leaves:
    """Counts the leaves of a record. owned: by the id of a tree within it what takes its leaves instead."""
    out = owned.get(id(tree)) or Leaves()
    _walk(tree, paths, "", out, owned)
    return out


_NOTHING = Paths()


def _walk(tree: Tree, paths: Paths, path: str, out: Leaves, owned: Mapping[int, Leaves]) -> None:
    if tree is None or tree == "":
        return
    if owned and isinstance(tree, dict | list):
        out = owned.get(id(tree), out)
    if isinstance(tree, dict):
        for name, child in tree.items():
            if name == TEXT:
                _leaf(child, paths.use, path, out)
                continue
            below = paths.below.get(name) or (paths.find(name) if "/" in name else None)
            if below is None and not name.startswith("@"):
                below = paths.below.get(ANY)
                if below is not None and KEY in below.below:
                    _leaf(name, below.below[KEY].use, f"{path}/{KEY}", out)
            _walk(child, below or _NOTHING, f"{path}/{name}" if path else name, out, owned)
    elif isinstance(tree, list) and not is_values(tree):
        positions = {n: p for n, p in paths.below.items() if n.startswith("#")}
        for i, child in enumerate(tree, 1):
            _walk(child, positions.get(f"#{i}", paths), path, out, owned)
    elif isinstance(tree, list):
        positions = {n: p for n, p in paths.below.items() if n.startswith("#")}
        if positions:
            for i, child in enumerate(tree, 1):
                _walk(child, positions.get(f"#{i}", Paths(paths.use)), path, out, owned)
        else:
            _leaf(tree, paths.use, path, out)
    else:
        _leaf(tree, paths.use, path, out)


def _leaf(value: Tree, use: str, path: str, out: Leaves) -> None:
    cells = sum(1 for c in value if c is not None) if isinstance(value, list) else 1
    if use == "mapped":
        out.mapped += cells
    elif use == "ignored":
        out.ignored += cells
    else:
        for one in value if isinstance(value, list) else [value]:
            text = cell_text(one)
            if text is not None:
                out.loose.append((path, text))
