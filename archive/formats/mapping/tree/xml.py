"""Records of an XML document, while it streams past. A DTD is refused, entities are never expanded."""

from __future__ import annotations

from collections.abc import Iterator
from typing import BinaryIO

from lxml import etree

from archive.errors import Trouble
from archive.formats.base.xml_bounds import beyond_bounds
from archive.formats.mapping.tree.node import Branch, Element, Member, Tree, add, flat, local, of_element
from archive.formats.recognition import Entry


def records(entry: Entry, path: str) -> Iterator[Member]:
    """Each record at a path of local names from the root, then a last Member without a tree.

    Errors: Trouble where the document is not well-formed or has a DTD.
    """
    walk = _Walk([p for p in path.split("/") if p])
    try:
        with entry.path.open("rb") as opened:
            refuse_dtd(opened, entry.name)
            safe = {"resolve_entities": False, "no_network": True, "load_dtd": False, "huge_tree": False}
            for event, element in etree.iterparse(opened, events=("start", "end"), **safe):
                if not isinstance(element.tag, str):
                    continue
                if event == "start":
                    walk.start(element)
                else:
                    found = walk.end(element)
                    if found is not None:
                        yield found
    except etree.XMLSyntaxError as error:
        raise beyond_bounds(error, f"{entry.name}, line {error.lineno or 1}") or Trouble(
            "is not well-formed XML",
            code="export.not-xml",
            where=f"{entry.name}, line {error.lineno or 1}",
            found=str(error.msg or error)[:120],
            remedy="export or download the file again; it may have been cut short",
        ) from None
    yield Member(None, walk.around, 0, walk.fresh)


class _Walk:
    """Where a streaming parse stands, and what it has met beside the records."""

    def __init__(self, want: list[str]) -> None:
        self.want = want
        self.around: Branch = {}
        self.fresh: list[tuple[str, Tree]] = []
        self._stack: list[str] = []
        self._open: list[Branch] = [self.around]
        self._beside = 0
        self._inside = 0

    def start(self, element: Element) -> None:
        self._stack.append(local(element.tag))
        if self._inside or self._beside:
            return
        depth = len(self._stack)
        if self._stack == self.want:
            self._inside = depth
        elif self._stack == self.want[:depth]:
            # An ancestor of records: its attributes hold for those below it.
            own: Branch = {f"@{local(n)}": v for n, v in element.attrib.items()}
            self.fresh += [("/".join([*self._stack, n]), v) for n, v in own.items() if v]
            self._open[-1][self._stack[-1]] = own
            self._open.append(own)
        else:
            self._beside = depth

    def end(self, element: Element) -> Member | None:
        depth, found = len(self._stack), None
        if self._inside == depth:
            found = Member(of_element(element), self.around, int(element.sourceline or 0), self.fresh)
            # The next record must not see changes of this one's surroundings.
            self.around, self.fresh, self._inside = _copied(self.around, self._open), [], 0
            _forget(element)
        elif self._beside == depth:
            tree = of_element(element)
            add(self._open[-1], self._stack[-1], tree)
            self.fresh += list(flat(tree, "/".join(self._stack)))
            self._beside = 0
            _forget(element)
        elif not self._inside and not self._beside:
            self._open.pop()
        self._stack.pop()
        return found


def _copied(root: Branch, opened: list[Branch]) -> Branch:
    """Copies of the dicts on the way to the open element; `opened` then holds them."""
    copies = [dict(d) for d in opened]
    for i in range(len(opened) - 1):
        for name, child in opened[i].items():
            if child is opened[i + 1]:
                copies[i][name] = copies[i + 1]
    opened[:] = copies
    return copies[0]


def _forget(element: Element) -> None:
    """Frees an element and what stands before it."""
    element.clear(keep_tail=True)
    parent = element.getparent()
    if parent is not None:
        while element.getprevious() is not None:
            del parent[0]


def refuse_dtd(opened: BinaryIO, name: str) -> None:
    """Refuses a document type declaration, wherever it stands before the root. The file is rewound."""
    head = opened.read(1 << 16)
    opened.seek(0)
    for coding in ("latin-1", "utf-16"):
        if "<!DOCTYPE" in head.decode(coding, "ignore"):
            raise Trouble(
                "has a document type declaration, which is refused",
                code="export.doctype",
                where=name,
                found="<!DOCTYPE",
                expected="XML without one",
                remedy="export again without a DTD; entities are never expanded",
            )
