"""The structure of XML and JSON: which element is a record, which repeated elements below it are tables."""

from __future__ import annotations

import io
import json
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from archive.errors import Trouble
from archive.formats.base import units, words
from archive.formats.draft import heading
from archive.formats.draft.cells import is_heading
from archive.formats.draft.cells import kind as kind_of_cell
from archive.formats.draft.hypotheses import hypotheses
from archive.formats.draft.layout import Column, Found, Layout
from archive.formats.draft.named import Headed, headed_rows, named_lists
from archive.formats.draft.profile import decimal_mark, profile
from archive.formats.mapping.build.curve_axes import alike
from archive.formats.mapping.rows.columns import cell_text
from archive.formats.mapping.tree.leaves import absolute
from archive.formats.mapping.tree.named import NameValueList, turned
from archive.formats.mapping.tree.node import (
    ANY,
    KEY,
    TEXT,
    Tree,
    flat,
    is_numbers,
    is_values,
    members,
    of_element,
    value_at,
)
from archive.formats.recognition import Entry
from archive.vocabulary import PAIRS

SAMPLE = 6 << 20
MOST_RECORDS = 60
MOST_ROWS = 20_000
"""Rows of one table that are looked at: whole records until there are so many."""
_MOST_RECORDS = 3
"""Other elements that may be records."""
FEW = 40
"""Members of one list that are looked at for the facts of a record."""


def analyse(entry: Entry, kind: str, record: str = "", each: bool = False) -> Layout:
    """What a sample of an XML or JSON file shows. record: path of the elements that are records, instead of the
    likeliest. each: these elements are one row each, of links that they name.

    Errors: Trouble where it is damaged or has a DTD.
    """
    tree, lines = _tree(entry, kind)
    table = None if lines or kind == "xml" else headed_rows(tree)
    if table is not None:
        return _of_rows(tree, table)
    named = named_lists(tree)
    turned(tree, [NameValueList(*n) for n in named])
    path = "lines" if lines else record or _record_path(tree, kind)
    way = "" if lines else path
    below = [n for n in named if not way or n[0].startswith(f"{way}/")]
    if len(below) < len(named):
        # A list of names and values around the records stays as it is: a mapping turns those of records only.
        tree, _ = _tree(entry, kind)
        turned(tree, [NameValueList(*n) for n in below])
    most = MOST_ROWS if each else MOST_RECORDS
    found = [m for m, _, _ in members(tree, way)][:most] if not _keyed(path) else _members_keyed(tree, path)
    layout = Layout(kind, record=path, records=len(found))
    layout.named = [(each.removeprefix(f"{way}/") if way else each, name, value) for each, name, value in below]
    layout.others = [] if lines else [p for p, m in _repeated(tree, kind) if p != path and len(m) > 1][:_MOST_RECORDS]
    shape = _Shape()
    for one in found:
        shape.see(one)
    rows = shape.tables()
    layout.tables = [_table(r, found, n) for n, r in enumerate(rows, 1)]
    layout.tables = [t for t in layout.tables if t.rows and not _only_keys(t, rows)]
    layout.labels = _labels(found, rows)
    if each:
        layout.tables, layout.labels = [_rows_each(layout.labels, len(found))], []
    if not lines:
        _around(layout, tree, path)
    for t in layout.tables:
        _words_of_parts(t, layout)
    _units_beside(layout)
    _split_lists(layout)
    layout.text = _text_of(tree)
    layout.decimal, layout.thousands = _marks(layout)
    return layout


def _rows_each(labels: list[Column], count: int) -> Found:
    """The table whose rows are elements that hold a measurement each."""
    columns = []
    for column in labels:
        cells: list[Any] = [None] * count
        for n, cell in zip(column.record, column.cells, strict=True):
            cells[n] = cell
        columns.append(Column(column.source, column.levels, cells, outer=column.outer))
    return Found(columns, [0] * count, "table 1", each=".", rows=count)


def _of_rows(tree: Tree, table: Headed) -> Layout:
    """A table of lists, with its headings in a list of their own: each row is a record."""
    layout = Layout("json", record=table.rows, records=len(table.cells))
    order = list(range(len(table.cells)))
    for i, name in enumerate(table.headings):
        layout.labels.append(Column(f"#{i + 1}", (name,), [r[i] for r in table.cells], list(order)))
    _around(layout, tree, table.rows)
    layout.shared = [c for c in layout.shared if c.source != f"/{table.heads}"]
    layout.ignore[f"/{table.heads}"] = "headings"
    layout.text = _text_of(tree)
    layout.decimal, layout.thousands = _marks(layout)
    return layout


def _split_lists(layout: Layout) -> None:
    """Short lists of numbers that come once in a record, one for each pair: a column for each place in them.

    A list of as many names of pairs says which place is which pair; without one, four are taken in their usual order.
    """
    orders = [c for c in layout.labels if _names_pairs(c)]
    split: list[Column] = []
    used: set[str] = set()
    for column in layout.labels:
        n = _places(column)
        fit = [o for o in orders if n and all(len(c) == n for c in o.cells)]
        if fit:
            order = max(fit, key=lambda o: alike(o.source, column.source))
            used.add(order.source)
            split += _by_order(column, n, order)
        elif n == len(PAIRS):
            split += _by_place(column, list(PAIRS), "a list of four, taken as the pairs in the order of their contacts")
        else:
            split.append(column)
    for order in orders:
        # Whatever its own name says, it holds names of pairs.
        order.levels = ("pairs",)
        if order.source in used and _constant(order):
            layout.ignore[order.source] = "the order of the pairs"
    layout.labels = [c for c in split if c.source not in layout.ignore]


def _places(column: Column) -> int:
    """How many numbers each cell lists, where all list as many and the heading names a quantity; else 0."""
    said = heading.read(*column.levels)
    lists = [c for c in column.cells if isinstance(c, list)]
    sizes = {len(c) for c in lists}
    if len(lists) < len(column.cells) or len(sizes) != 1 or not all(map(is_numbers, lists)):
        return 0
    return sizes.pop() if said.parameters or said.generics else 0


def _names_pairs(column: Column) -> bool:
    """Whether each cell is a list of different names of pairs or of combinations, such as 12, 36, 45, 78."""
    lists = column.cells
    return bool(lists) and all(
        isinstance(c, list) and len(c) > 1 and len({str(x) for x in c}) == len(c) and all(map(_is_pair, c))
        for c in lists
    )


def _is_pair(name: Any) -> bool:
    return kind_of_cell(str(name)) == "p" and bool(heading.read(str(name)).pairs)


def _constant(column: Column) -> bool:
    return all(c == column.cells[0] for c in column.cells)


def _by_order(column: Column, n: int, order: Column) -> list[Column]:
    """A list of numbers in the order of pairs that another list gives; where that changes, no place has a pair."""
    if _constant(order) and set(column.record) <= set(order.record):
        return _by_place(column, [str(x) for x in order.cells[0]])
    nameless = Column(column.source, ("",), column.cells, column.record)
    return _by_place(nameless, [""] * n, "the order of the pairs changes from record to record")


def _by_place(column: Column, names: list[str], doubt: str = "") -> list[Column]:
    """A column for each place of lists of numbers. names: of their pairs."""
    return [
        Column(
            f"{column.source}/#{i}",
            (*column.levels, name),
            [c[i - 1] for c in column.cells],
            list(column.record),
            doubt=doubt,
        )
        for i, name in enumerate(names, 1)
    ]


def _tree(entry: Entry, kind: str) -> tuple[Tree, bool]:
    """The tree of a document or of a sample of it; True where each line is a document of its own."""
    if kind == "xml":
        name, tree = _xml(entry)
        return {name: tree}, False
    return _json(entry)


def _marks(layout: Layout) -> tuple[str, str]:
    """Decimal and thousands mark of the texts of a layout."""
    cells = [c for col in [*layout.labels, *(c for t in layout.tables for c in t.columns)] for c in col.cells[:400]]
    return decimal_mark([c for c in cells if isinstance(c, str)])


def _xml(entry: Entry) -> tuple[str, Tree]:
    """The root's name, and the tree of the whole document or of a sample of it."""
    from lxml import etree

    from archive.formats.base.xml_bounds import beyond_bounds
    from archive.formats.mapping.tree.node import local
    from archive.formats.mapping.tree.xml import refuse_dtd

    with entry.path.open("rb") as opened:
        refuse_dtd(opened, entry.name)
        data = opened.read(SAMPLE)
    safe: dict[str, Any] = {"resolve_entities": False, "no_network": True, "load_dtd": False, "huge_tree": False}
    whole = len(data) < SAMPLE
    parser = etree.XMLParser(recover=not whole, **safe)
    try:
        root = etree.parse(io.BytesIO(data), parser).getroot()
    except etree.XMLSyntaxError as error:
        raise beyond_bounds(error, f"{entry.name}, line {error.lineno or 1}") or Trouble(
            "is not well-formed XML",
            code="xml.not-well-formed",
            where=f"{entry.name}, line {error.lineno or 1}",
            found=str(error.msg or error)[:120],
            remedy="export or download the file again; it may have been cut short",
        ) from None
    if root is None:
        raise Trouble("is not well-formed XML", code="xml.not-well-formed", where=entry.name, remedy="export it again")
    return local(root.tag), of_element(root)


def _json(entry: Entry) -> tuple[Tree, bool]:
    """The tree of a document, or of a sample of it; True where each line is a document of its own."""
    with entry.path.open("rb") as opened:
        data = opened.read(SAMPLE)
    whole = len(data) < SAMPLE
    text = data.decode(json.detect_encoding(data), "replace").lstrip("\ufeff").replace("\0", "")
    try:
        if whole:
            return json.loads(text, parse_constant=str), False
        rows = _json_lines(text)
        return (rows, True) if rows is not None else (json.loads(_closed(text), parse_constant=str), False)
    except RecursionError:
        raise Trouble(
            "is nested deeper than any export",
            code="file.nested-too-deep",
            where=entry.name,
            remedy="look at the file; it may be damaged",
        ) from None
    except json.JSONDecodeError as error:
        rows = _json_lines(text) if whole else None
        if rows is not None:
            return rows, True
        from archive.formats.mapping.tree.json_text import damaged

        raise damaged(entry.name, error) from None


def _json_lines(text: str) -> list[Any] | None:
    lines = [line for line in text.split("\n")[:200] if line.strip()]
    out = []
    for n, line in enumerate(lines):
        try:
            out.append(json.loads(line, parse_constant=str))
        except json.JSONDecodeError:
            if n == len(lines) - 1 and n > 1:
                break
            return None
    return out if len(out) > 1 and all(isinstance(x, dict) for x in out) else None


_MARKS = re.compile(r'"(?:[^"\\]|\\.)*"|[{}\[\]]')
"""Texts, and the marks around objects and lists."""


def _closed(text: str) -> str:
    """A document cut short, closed after its last whole member."""
    stack: list[str] = []
    marks: list[str] = []
    cut = 0
    for found in _MARKS.finditer(text):
        c = found.group()
        if c in "{[":
            stack.append("}" if c == "{" else "]")
        elif c in "}]" and stack:
            stack.pop()
            cut, marks = found.end(), list(stack)
    return text[:cut] + "".join(reversed(marks))


@dataclass
class _Place:
    """One place where records could be: its path, its members."""

    path: str
    members: list[Tree]
    score: float


def _record_path(tree: Tree, kind: str) -> str:
    """The path of the element or list whose members are records."""
    best = _Place("", [tree], 0.0)
    for path, found in _repeated(tree, kind):
        score = _record_score(found, path)
        if score > best.score:
            best = _Place(path, found, score)
    best = _climbed(best, list(_repeated(tree, kind)))
    if not best.path and kind == "xml":
        (name,) = tree
        single = _single(tree[name], name)
        return single or name
    return best.path


def _climbed(best: _Place, places: list[tuple[str, list[Tree]]]) -> _Place:
    """The element around, where each holds just one of these and more beside: a header is a part of its record."""
    by = dict(places)
    while "/" in best.path and not best.path.endswith(ANY):
        above = best.path.rpartition("/")[0]
        members_above = by.get(above, [])
        more = any(isinstance(m, dict) and len([k for k in m if not k.startswith("@")]) > 1 for m in members_above)
        if len(members_above) != len(best.members) or len(best.members) < 2 or not more:
            break
        best = _Place(above, members_above, best.score)
    return best


def _single(tree: Tree, path: str) -> str:
    """A document with one record: the element that holds a label of a link, and measurements below."""
    if not isinstance(tree, dict):
        return ""
    if any(
        "link_label" in heading.read(name.lstrip("@")).fields
        for name, c in tree.items()
        if not isinstance(c, dict | list)
    ):
        return path
    for name, child in tree.items():
        if isinstance(child, dict) and (found := _single(child, f"{path}/{name}")):
            # A header that holds the label stands beside the measurements: the record is what holds both.
            return path if len(tree) > 1 else found
    return ""


def _repeated(tree: Tree, kind: str, path: str = "", depth: int = 0) -> Iterator[tuple[str, list[Tree]]]:
    """Paths with members: repeated elements, lists of objects, objects whose keys are data."""
    if depth > 8:
        return
    if isinstance(tree, list):
        rows = [m for m in tree if isinstance(m, dict)]
        if len(rows) >= 1 and rows:
            yield path, rows
            merged: dict[str, list[Tree]] = {}
            for m in rows[:40]:
                for name, child in m.items():
                    if isinstance(child, dict | list) and not is_numbers(child):
                        merged.setdefault(name, []).extend(child if isinstance(child, list) else [child])
            for name, listed in merged.items():
                yield from _repeated(listed, kind, f"{path}/{name}".lstrip("/"), depth + 1)
        return
    if not isinstance(tree, dict):
        return
    for name, child in tree.items():
        if name.startswith("@") or name == TEXT:
            continue
        here = f"{path}/{name}".lstrip("/")
        if isinstance(child, dict):
            if kind == "xml":
                yield here, [child]
            elif _data_keys(child) and not _vocabulary_keys(child):
                yield f"{here}/{ANY}", [{KEY: k, **v} for k, v in child.items()]
            yield from _repeated(child, kind, here, depth + 1)
        elif isinstance(child, list):
            yield from _repeated(child, kind, here, depth + 1)


def _data_keys(tree: dict[str, Any]) -> bool:
    """An object whose values are objects of one shape: its keys are data."""
    values = list(tree.values())
    if len(values) < 2 or not all(isinstance(v, dict) for v in values):
        return False
    if all(set(v) <= {TEXT} or all(n.startswith("@") or n == TEXT for n in v) for v in values):
        return False  # Elements with attributes and a text: facts or curves side by side.
    shapes = [frozenset(v) for v in values]
    common = frozenset.intersection(*shapes)
    return bool(common) and len(common) >= 0.5 * max(len(s) for s in shapes)


def _vocabulary_keys(tree: dict[str, Any]) -> bool:
    """Keys that are words of the trade (pairs, ends, quantities) are names of parts, not labels of links."""
    if {key.strip().casefold() for key in tree} in map(set, hypotheses().ends.letters):
        return True
    known = 0
    for key in tree:
        known += bool(is_heading(key) or kind_of_cell(key) == "p" or words.meaning(key, "end") or key in PAIRS)
    return known >= 0.5 * len(tree)


def _keyed(path: str) -> bool:
    return path.endswith(f"/{ANY}") or path == ANY


def _members_keyed(tree: Tree, path: str) -> list[Tree]:
    return [{KEY: k, **m} for m, _, k in members(tree, path) if isinstance(m, dict)][:MOST_RECORDS]


def _record_score(found: list[Tree], path: str) -> float:
    """How much some members look like records: a label that differs, dates, verdicts, measurements below.

    What comes several times in a member is said of something within it, and does not count for the member.
    """
    rows = found[:MOST_RECORDS]
    if not rows or not all(isinstance(r, dict) for r in rows):
        return 0.0
    score = 0.0
    labels: list[Any] = []
    known: dict[str, list[str]] = {}
    times: Counter[str] = Counter()
    for row in rows:
        for name, value in _facts(row, ""):
            fields = known.get(name)
            if fields is None:
                parts = [p.lstrip("@") for p in name.split("/")]
                fields = known[name] = heading.read(*parts[-2:]).fields if name.count("/") <= 3 else []
            times[name] += 1
            if "link_label" in fields and not isinstance(value, list):
                labels.append((name, value))
        if row.get(KEY):
            labels.append((KEY, row[KEY]))
    heads = {f for name, fields in known.items() if times[name] <= 1.2 * len(rows) for f in fields}
    by = Counter(n for n, _ in labels)
    distinct = {n: len({v for m, v in labels if m == n}) for n in by}
    strong = [
        n
        for n in by
        if by[n] >= 0.8 * len(rows) and distinct[n] >= 0.7 * min(by[n], len(rows)) and by[n] <= 1.2 * len(rows)
    ]
    if strong:
        score += 3.0 + (1.0 if len(rows) > 1 else 0.0) - 0.2 * min(n.count("/") for n in strong)
    score += 0.6 * len(heads & {"tested", "verdict", "limit_name", "serial", "operator", "cable"})
    if not strong and len(heads) < 2:
        return 0.0
    if not strong and len(rows) > 1:
        score += 0.3 + (0.7 if _named_apart(rows) else 0.0)
    return score - 0.05 * path.count("/")


def _facts(tree: Tree, path: str) -> Iterator[tuple[str, Any]]:
    """Leaves of a tree with their paths, of long lists the first members only."""
    if isinstance(tree, dict):
        for name, child in tree.items():
            yield from _facts(child, path if name == TEXT else f"{path}/{name}".lstrip("/"))
    elif isinstance(tree, list) and not is_values(tree):
        for child in tree[:FEW]:
            yield from _facts(child, path)
    elif tree is not None and tree != "":
        yield path, tree


_NAMES = frozenset(("id", "name", "no", "nr", "ref", "key", "code", "tag"))


def _named_apart(rows: list[Tree]) -> bool:
    """Something like a name stands near the top of every member, and differs in all."""
    by: dict[str, list[str]] = {}
    for row in rows:
        for name, value in _facts(row, ""):
            if name.count("/") <= 1 and name.rpartition("/")[2].lstrip("@").casefold() in _NAMES:
                by.setdefault(name, []).append(str(value))
    return any(len(v) == len(rows) and len(set(v)) == len(v) for v in by.values())


@dataclass
class _Shape:
    """How many members each path has at the most in one place."""

    most: Counter[str] = field(default_factory=Counter)

    def see(self, record: Tree) -> None:
        """Looks at the elements of one record."""
        self._walk(record, "")

    def _walk(self, tree: Tree, path: str) -> None:
        if isinstance(tree, list):
            if is_values(tree):
                return
            inside = [m for m in tree if isinstance(m, dict) or is_values(m)]
            self.most[path] = max(self.most[path], len(inside))
            for member in tree:
                self._walk(member, path)
        elif isinstance(tree, dict):
            children = {k: v for k, v in tree.items() if not k.startswith("@") and k != TEXT}
            if path and _data_keys(children) and not _vocabulary_keys(children):
                self.most[f"{path}/{ANY}"] = max(self.most[f"{path}/{ANY}"], len(children))
                for child in children.values():
                    self._walk(child, f"{path}/{ANY}")
                return
            for name, child in children.items():
                self._walk(child, f"{path}/{name}".lstrip("/"))

    def tables(self) -> list[str]:
        """Paths whose members are rows: several of them in one place."""
        return sorted((p for p, n in self.most.items() if n > 1), key=lambda p: (p.count("/"), p))


def _table(each: str, found: list[Tree], number: int) -> Found:
    """One table of rows: the members at a path, and what their ancestors below the record say."""
    rows: list[tuple[int, Tree, tuple[Tree, ...]]] = []
    keys: list[str] = []
    for n, record in enumerate(found):
        for m, above, key in _at(record, each):
            rows.append((n, m, above))
            keys.append(key)
        if len(rows) > MOST_ROWS:
            break
    depth = len(each.split("/"))
    columns: dict[str, Column] = {}
    parents = [p for p in each.split("/") if p != ANY]
    size = len(rows)

    def put(name: str, levels: tuple[str, ...], i: int, value: Any) -> None:
        column = columns.get(name)
        if column is None:
            own = [p for p in name.split("/") if p not in (TEXT, "", "..") and not p.startswith("#")]
            inner = len(own) or int(name == KEY)
            columns[name] = column = Column(name, levels, [None] * size, outer=len(levels) - inner if inner else 0)
        column.cells[i] = value

    for i, (_, member, above) in enumerate(rows):
        if ANY in each.split("/"):
            put(KEY, (*parents[-1:], "key"), i, keys[i])
        for name, value in _own(member):
            put(name or TEXT, _levels(name, parents), i, value)
        for up in range(1, min(depth, len(above))):
            tree = above[up - 1]
            if isinstance(tree, dict):
                for name, value in tree.items():
                    if not isinstance(value, dict | list) or name == TEXT or is_numbers(value):
                        put("../" * up + name, _levels(name, parents[: len(parents) - up]), i, value)
                    elif isinstance(value, dict) and isinstance(value.get(TEXT), str):
                        put("../" * up + name, _levels(name, parents[: len(parents) - up]), i, value[TEXT])
    listed = [c for c in columns.values() if any(x is not None for x in c.cells)]
    runs = [id(above[0]) if above else n for n, _, above in rows]
    table = Found(listed, [n for n, _, _ in rows], f"table {number}", each=each, rows=size, times=len(found), run=runs)
    around = parents if any(c.source == "#1" for c in listed) else parents[:-1]
    table.context = tuple(p for p in around if _says(p))
    return table


def _says(name: str) -> bool:
    """Whether the name of an element says which quantity, value, end or pair is below it."""
    said = heading.read(name)
    letter = any(name.casefold() in pair for pair in hypotheses().ends.letters)
    which = said.modifiers & {"power_sum", "margin", "limit"}
    return bool(said.parameters or said.generics or said.ends or said.pairs or which) or letter


def _only_keys(found: Found, rows: list[str]) -> bool:
    """A table whose rows hold rows themselves, and nothing but what says which those are."""
    if not any(r.startswith(f"{found.each}/") for r in rows):
        return False
    for c in found.columns:
        read = heading.read(*c.levels[-1:])
        if (
            read.parameters
            or read.modifiers & {"margin", "limit", "worst", "verdict"}
            or any(is_numbers(x) for x in c.cells)
        ):
            return False
    return True


def _at(record: Tree, each: str) -> Iterator[tuple[Tree, tuple[Tree, ...], str]]:
    for member, above, key in members(record, each):
        if isinstance(member, list) and member and all(isinstance(m, list) for m in member):
            for m in member:
                yield m, above, key
        else:
            yield member, above, key


def _own(member: Tree) -> Iterator[tuple[str, Any]]:
    """Leaves of a row that are not rows of another table."""
    if isinstance(member, list):
        for i, value in enumerate(member, 1):
            yield f"#{i}", value
    elif isinstance(member, dict):
        for name, child in member.items():
            if isinstance(child, dict):
                for below, value in _own(child):
                    yield (name if below == TEXT else f"{name}/{below}"), value
            elif not isinstance(child, list) or is_values(child):
                yield name, child
    elif member is not None:
        yield TEXT, member


def _levels(name: str, parents: list[str]) -> tuple[str, ...]:
    """Headings of a leaf: the last element above it, and its own names."""
    own = [p.lstrip("@") for p in name.split("/") if p not in (TEXT, "", "..")]
    if name.startswith("#"):
        return ("",)
    if not own:
        return tuple(parents[-1:]) or ("value",)
    if parents and _quantity(" ".join(own)) and heading.read(parents[-1]).modifiers == {"pair"}:
        return tuple(own)  # The pair that the row is of: its quantities are no names of pairs.
    return (*parents[-1:], *own)


def _labels(found: list[Tree], rows: list[str]) -> list[Column]:
    """Leaves that come once in a record."""
    columns: dict[str, Column] = {}
    for n, record in enumerate(found):
        for name, value in _once(record, "", set(rows)):
            column = columns.get(name)
            if column is None:
                levels = _speaking(name)
                columns[name] = column = Column(name, levels, [], outer=max(0, len(levels) - _NEAR))
            column.cells.append(value)
            column.record.append(n)
    return list(columns.values())


_NEAR = 3
"""Names at the end of a path that are its heading, whatever they say."""


def _speaking(path: str) -> tuple[str, ...]:
    """Headings of a leaf that comes once in a record: its last names, and of those further out the ones that say which
    quantity, value, end or pair it is."""
    names = [p.lstrip("@") for p in path.split("/")]
    return (*(n for n in names[:-_NEAR] if _says(n)), *names[-_NEAR:])


def _once(tree: Tree, path: str, rows: set[str]) -> Iterator[tuple[str, Any]]:
    if path in rows:
        return
    if isinstance(tree, dict):
        if f"{path}/{ANY}" in rows:
            return
        for name, child in tree.items():
            below = f"{path}/{name}".lstrip("/") if name != TEXT else path
            yield from _once(child, below, rows)
    elif isinstance(tree, list) and not is_values(tree):
        if len(tree) == 1:
            yield from _once(tree[0], path, rows)
    elif tree is not None and tree != "":
        yield path, tree


def _around(layout: Layout, tree: Tree, path: str) -> None:
    """Leaves and shared axes that stand outside the records."""
    way = [p for p in path.split("/") if p and p != ANY]
    beside: dict[str, list[Any]] = {}
    axes: dict[str, int] = {}
    for name, value in _outside(tree, way, ""):
        beside.setdefault(name, []).append(value)
    for name, values in beside.items():
        levels = tuple(p.lstrip("@") for p in name.split("/")[-2:])
        if len(values) > 1 or _is_axis(values[0]):
            axes[name] = len(values)
        if len(values) == 1:
            layout.shared.append(Column(f"/{name}", levels, list(values)))
    _axes(layout, tree, axes)


def _outside(tree: Tree, way: list[str], here: str) -> Iterator[tuple[str, Any]]:
    if isinstance(tree, list):
        if is_numbers(tree):
            yield here, tree
            return
        for member in tree[:MOST_RECORDS]:
            yield from _outside(member, way, here)
        return
    if not isinstance(tree, dict):
        if tree is not None and tree != "" and way != [""]:
            yield here, tree
        return
    for name, child in tree.items():
        if way and name == way[0]:
            if len(way) > 1:
                yield from _outside(child, way[1:], f"{here}/{name}".lstrip("/"))
        else:
            yield from _outside(child, ["\0"], f"{here}/{name}".lstrip("/") if name != TEXT else here)


def _is_axis(value: Any) -> bool:
    numbers = value if is_numbers(value) else []
    if isinstance(value, str):
        try:
            numbers = [float(x) for x in value.split()]
        except ValueError:
            return False
    return len(numbers) >= 5 and all(a < b for a, b in pairwise(numbers) if a is not None and b is not None)


def _axes(layout: Layout, tree: Tree, axes: dict[str, int]) -> None:
    """Several axes outside the records, each with a name: a table of axes."""
    for name, times in axes.items():
        first = value_at(tree, name) if times == 1 else None
        if times == 1 and first is not None:
            continue
        each = name
        rows = [(m, a) for m, a, _ in members(tree, each)]
        values = [m.get(TEXT) if isinstance(m, dict) else m for m, _ in rows]
        if not values or not all(_is_axis(v) for v in values):
            continue
        columns = [Column(TEXT, (each.rpartition("/")[2],), values)]
        if isinstance(rows[0][0], dict):
            for attribute in rows[0][0]:
                if attribute.startswith("@"):
                    cells = [m.get(attribute) for m, _ in rows]
                    columns.append(Column(attribute, (attribute.lstrip("@"),), cells))
        layout.tables.append(
            Found(columns, [-1] * len(rows), f"axes {len(layout.tables) + 1}", each=f"/{each}", rows=len(rows))
        )


def _words_of_parts(table: Found, layout: Layout) -> None:
    """Words beside a number in one of several parts of a row, such as kind="loop", speak of that number only. Where
    they are the same everywhere and name a quantity, they are its heading."""
    parts: dict[str, list[Column]] = {}
    for c in table.columns:
        if not c.source.startswith("../"):
            parts.setdefault(c.source.rpartition("/")[0], []).append(c)
    numbers = {name: [c for c in listed if _holds_numbers(c)] for name, listed in parts.items()}
    if sum(map(bool, numbers.values())) < 2:
        return
    for name, listed in parts.items():
        for c in listed if name and numbers[name] else ():
            if c in numbers[name] or _unit_said(c):
                continue
            c.part = True
            said = {cell_text(x) or "" for x in c.cells if x is not None}
            if not any(map(_quantity, said)):
                continue
            for number in numbers[name]:
                if len(said) == 1:
                    number.levels = (*number.levels[:-1], *said, number.levels[-1])
                else:
                    number.doubt = f"{c.source!r} says that it is not the same in every row"
            if len(said) == 1:
                table.columns.remove(c)
                layout.ignore[_ignored(table.each, c.source)] = "the name of what stands beside it"


def _quantity(name: str) -> bool:
    said = heading.read(name)
    return bool(said.parameters or said.generics)


def _units_beside(layout: Layout) -> None:
    """An attribute or neighbour that gives the unit of a leaf, the same everywhere: the leaf takes it."""
    for columns, each in [(layout.labels, ""), (layout.shared, ""), *((t.columns, t.each) for t in layout.tables)]:
        for column in list(columns):
            unit = _unit_said(column)
            mine = _measured(columns, column) if unit else []
            for c in mine:
                c.levels = (*c.levels[:-1], f"{c.levels[-1]} [{unit}]")
            if mine:
                columns.remove(column)
                layout.ignore[_ignored(each, column.source)] = "a unit"


def _unit_said(column: Column) -> str:
    """The unit that a column of nothing but this unit gives; "" where it is no such column."""
    last = column.source.rpartition("/")[2].lstrip("@")
    if last.lower() != "u" and "units" not in heading.read(last).fields:
        return ""
    cells = {cell_text(c) or "" for c in column.cells if c is not None}
    unit = cells.pop() if len(cells) == 1 else ""
    return unit if unit and units.find(unit) is not None else ""


def _measured(columns: list[Column], unit: Column) -> list[Column]:
    """The columns of which another gives the unit: the text that it is an attribute of, else the one number beside it,
    else, where it stands above the rows, the one number of a row."""
    of = unit.source.rpartition("/")[0]
    text = [c for c in columns if c.source == (of or TEXT)]
    beside = [c for c in columns if c.source.rpartition("/")[0] == of and c is not unit and _holds_numbers(c)]
    if not text and not beside and of.startswith(".."):
        beside = [c for c in columns if not c.source.startswith("..") and _holds_numbers(c)]
    return text or (beside if len(beside) == 1 else [])


def _holds_numbers(column: Column) -> bool:
    found = profile(column.cells[:200], decimal_mark([c for c in column.cells[:200] if isinstance(c, str)])[0])
    return found.numeric > 0.9 or found.lists > 0.8


def _ignored(each: str, source: str) -> str:
    """A source of a table, as a file ignores it by name."""
    if each.startswith("/"):
        return absolute(each, source) if source.startswith("..") else f"{each}/{source}"
    return source if source.startswith("/") else absolute(each, source)


def _text_of(tree: Tree) -> str:
    out = []
    for name, value in flat(tree, ""):
        if isinstance(value, str) and len(value) < 200:
            out.append(f"{name.rpartition('/')[2]} {value}")
        if len(out) > 2000:
            break
    return "\n".join(out)
