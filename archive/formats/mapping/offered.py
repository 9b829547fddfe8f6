"""Mappings that are offered for an input beside the known ones: those a person named, and those of an archive's shelf.

A mapping that was named reads what it recognises, and nothing else. One of the shelf goes before the user's own,
unless one of those finds more of its names in the file.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from archive.errors import Trouble
from archive.formats import mapping as by_mapping
from archive.formats.mapping.load import load
from archive.formats.mapping.match import Match, best, match, matches
from archive.formats.mapping.model import Mapping
from archive.formats.recognition import Entry, Recognition
from archive.formats.touchstone import port_map


@dataclass(frozen=True)
class Offered:
    """named: by a person, in their order. shelf: of an archive, the latest first. before: every mapping that read an
    export of that archive, for comparing. port_map: what was named and is none of exports."""

    named: tuple[Mapping, ...] = ()
    shelf: tuple[Mapping, ...] = ()
    before: tuple[Mapping, ...] = ()
    port_map: Path | None = None
    paths: tuple[Path, ...] = ()

    @classmethod
    def of(cls, given: Any = None, shelf: Sequence[Mapping] = (), before: Sequence[Mapping] = ()) -> Offered:
        """given: a mapping, the path of a mapping or port map, several of them, or None.

        Errors: Trouble for a mapping that is not there or says what cannot be, and for two port maps.
        """
        if isinstance(given, Offered):
            return given
        listed = [] if given is None else list(given) if isinstance(given, list | tuple) else [given]
        paths = tuple(Path(g) for g in listed if not isinstance(g, Mapping))
        port_maps = [p for p in paths if port_map.given(p) is not None]
        if len(port_maps) > 1:
            raise Trouble(
                "two port maps were named",
                code="mapping.two-port-maps",
                found=", ".join(map(str, port_maps)),
                expected="one at most",
                remedy="put each beside its measurement under the same name",
            )
        named = [
            g if isinstance(g, Mapping) else load(g)
            for g in listed
            if isinstance(g, Mapping) or Path(g) not in port_maps
        ]
        return cls(tuple(named), tuple(shelf), tuple(before), next(iter(port_maps), None), paths)

    def named_for(self, entry: Entry) -> tuple[Mapping, Recognition] | None:
        """The mapping that was named and fits a file best; None where none fits.

        Errors: Trouble where two fit equally.
        """
        return _surest(entry, self.named)

    def shelved_for(self, entry: Entry) -> tuple[Mapping, Recognition] | None:
        """The mapping of the shelf that reads a file; None where none fits, or another known one finds more there."""
        found = _surest(entry, self.shelf)
        if found is None or any(m.score > found[1].score for m in matches(entry)[:1]):
            return None
        return found

    def otherwise(self, entry: Entry, used: Mapping) -> Mapping | None:
        """The mapping by which files like this one were read before, where it says something else than the one used."""
        if not self.before:
            return None
        same = [m for m in self.before if (m.layout, m.title) == (used.layout, used.title)]
        front = _front(entry, same) or _front(entry, self.before)
        return None if not front or says_the_same(front[0].mapping, used) else front[0].mapping


def says_the_same(a: Mapping, b: Mapping) -> bool:
    """Whether two mappings read any file alike: they differ in no more than names, remarks and confidences."""
    return _core(a) == _core(b)


def _core(m: Mapping) -> dict[str, Any]:
    """All that a mapping says, but for its own name and what is said of its making."""
    said: dict[str, Any] = _plain(m)
    for own in ("layout", "title", "version", "drafted", "digest", "path", "text", "require"):
        said.pop(own)
    return said


def _plain(value: Any) -> Any:
    if hasattr(value, "__dataclass_fields__"):
        left_out = ("confidence", "reason")
        return {n: _plain(getattr(value, n)) for n in value.__dataclass_fields__ if n not in left_out}
    return [_plain(v) for v in value] if isinstance(value, tuple) else value


def _front(entry: Entry, among: Iterable[Mapping]) -> list[Match]:
    """The matches in front, in the order in which the mappings were given."""
    found = [m for mapping in among if (m := match(entry, mapping)) is not None]
    return best(sorted(found, key=lambda m: (-m.score, -m.asked)))


def _surest(entry: Entry, among: Iterable[Mapping]) -> tuple[Mapping, Recognition] | None:
    front = _front(entry, among)
    apart = [m for i, m in enumerate(front) if not any(says_the_same(m.mapping, o.mapping) for o in front[:i])]
    if len(apart) > 1:
        raise Trouble(
            "two layouts fit equally",
            code="mapping.two-fit",
            where=entry.name,
            found=", ".join(f"{m.mapping.layout} ({m.mapping.path})" for m in apart),
            remedy="name the right one alone with --mapping",
        )
    recognised = by_mapping.recognise_by(entry, front[0].mapping) if front else None
    return (front[0].mapping, recognised) if recognised is not None else None
