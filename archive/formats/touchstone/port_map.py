"""The port map: which ports of the analyser were at which conductor, and the facts that no Touchstone file holds.

One TOML file beside the measurement with the same stem, or one `port-map.toml` or `links.toml` for a folder.
schemas/port-map.md explains every key.
"""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from msgspec.structs import astuple

from archive import schemas
from archive.errors import Trouble
from archive.formats.recognition import Entry
from archive.formats.touchstone.network import Mode
from archive.formats.touchstone.port_map_keys import PairsKeys, PortMapKeys, checked
from archive.vocabulary import ENDS, PAIRS

FOLDER_MAPS = ("port-map.toml", "links.toml")
"""Names of a map that speaks for a whole folder."""


@dataclass(frozen=True)
class PairPorts:
    """One pair and its ports, counted from 1: two ports per end for its two conductors (the one with the lower
    contact first), one port where the port is already differential (a balun), none where nothing was connected."""

    name: str
    local: tuple[int, ...]
    remote: tuple[int, ...]

    def ports(self, end: str) -> tuple[int, ...]:
        """Ports at one end."""
        return self.local if end == "local" else self.remote

    def mode(self, end: str, kind: str) -> Mode | None:
        """The difference (D) or common (C) mode of the pair at one end; None where no port sees it."""
        ports = self.ports(end)
        if len(ports) == 2:
            return Mode(kind, ports)
        return Mode("S", ports) if len(ports) == 1 and kind == "D" else None


@dataclass(frozen=True)
class PortMap:
    """The map of one measurement: link label, pairs in the order of the standards, other facts by key, where it
    stands (file and part of it), and the SHA-256 of its file."""

    link: str
    pairs: tuple[PairPorts, ...]
    facts: PortMapKeys
    where: str
    sha256: str

    @property
    def ports(self) -> tuple[int, ...]:
        """Every port that a pair names, in rising order."""
        return tuple(sorted(p for pair in self.pairs for end in ENDS for p in pair.ports(end)))

    @property
    def ignored(self) -> tuple[int, ...]:
        """Ports that the map ignores by name."""
        return tuple(self.facts.ignore_ports)


def find(entry: Entry) -> Path | None:
    """The map that speaks for a measurement: the file of the same stem, else the map of the folder; None if none.

    A map of the folder that has entries speaks only for the files it names.
    """
    folder, name = entry.path.parent, Path(entry.name).name
    own = folder / f"{Path(name).stem}.toml"
    # An empty file says nothing: `muniment survey X --draft > X.toml` makes it before the survey begins.
    if own.is_file() and own.stat().st_size:
        return own
    for other in FOLDER_MAPS:
        path = folder / other
        if path.is_file() and _speaks_for(path, name):
            return path
    return None


def given(mapping: object) -> Path | None:
    """A mapping that was handed in, where it is a port map; None where it is a mapping of another kind."""
    if not isinstance(mapping, str | Path) or not Path(mapping).is_file():
        return None
    try:
        content, _ = _content(Path(mapping))
    except Trouble:
        return None
    entries = content.get("files")
    listed = entries.values() if isinstance(entries, dict) else ()
    ours = "pairs" in content or any(isinstance(e, dict) and "pairs" in e for e in listed)
    return Path(mapping) if ours else None


def read_map(path: Path, name: str, ports: int) -> PortMap:
    """The map in a file for the measurement `name` (its file name) with so many ports.

    Errors: Trouble where it is no TOML, has an unknown key, a value of another kind, or ports that cannot be.
    """
    where = path.name
    content, sha256 = _content(path)
    entries = content.get("files", {})
    if not isinstance(entries, dict):
        raise Trouble("files must be tables", code="port-map.key", where=where, expected='[files."NAME.s4p"]')
    facts = {key: value for key, value in content.items() if key != "files"}
    if name in entries:
        where = f'{where} [files."{name}"]'
        if not isinstance(entries[name], dict):
            raise Trouble("an entry must be a table", code="port-map.key", where=where, expected='[files."NAME.s4p"]')
        facts.update(entries[name])
    keys = checked(facts, where)
    link = keys.link.replace("{stem}", Path(name).stem)
    if not link.strip():
        raise Trouble(
            "the port map names no link",
            code="port-map.no-link",
            where=where,
            expected='for example link = "2-TR2-A117"',
        )
    out = PortMap(link, _pairs(keys.pairs, ports, where), keys, where, sha256)
    _each_port_once(out, ports)
    return out


def _content(path: Path) -> tuple[dict[str, Any], str]:
    """A map as TOML says it, and the SHA-256 of its file. Errors: Trouble where it is no TOML."""
    stat = path.stat()
    return _parsed(path, stat.st_mtime_ns, stat.st_size)


@lru_cache(maxsize=16)
def _parsed(path: Path, changed: int, size: int) -> tuple[dict[str, Any], str]:
    """As _content. A map of a folder is asked for with every file of it; changed and size tell an edited one."""
    data = path.read_bytes()
    try:
        return schemas.toml(data.decode("utf-8-sig")), hashlib.sha256(data).hexdigest()
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Trouble(
            "this port map is not TOML",
            code="port-map.not-toml",
            where=path.name,
            found=str(error),
            remedy="fix that line",
        ) from None


def _speaks_for(path: Path, name: str) -> bool:
    """Whether a map of a folder names the file or, without entries, speaks for all; a damaged one speaks too, so
    that the damage is reported."""
    try:
        content, _ = _content(path)
    except Trouble:
        return True
    entries = content.get("files")
    if entries is None:
        return "pairs" in content
    return not isinstance(entries, dict) or name in entries


def _pairs(given: PairsKeys, ports: int, where: str) -> tuple[PairPorts, ...]:
    out = []
    for name, pair in zip(PAIRS, astuple(given), strict=True):
        if pair is not None:
            here = f'{where}, pairs."{name}"'
            out.append(PairPorts(name, _ports(pair.local, ports, here), _ports(pair.remote, ports, here, least=0)))
    if not out:
        raise Trouble(
            "the port map names no pairs",
            code="port-map.no-pairs",
            where=where,
            expected='for example [pairs."1-2"] with local = [1, 2] and remote = [3, 4]',
        )
    return tuple(out)


def _ports(given: int | list[int], ports: int, where: str, least: int = 1) -> tuple[int, ...]:
    listed = [given] if isinstance(given, int) else given
    if not least <= len(listed) <= 2 or not all(1 <= p <= ports for p in listed):
        raise Trouble(
            "these ports cannot be",
            code="port-map.ports",
            where=where,
            found=repr(given),
            expected=f"one or two whole numbers from 1 to {ports}, the number of ports of the file",
        )
    return tuple(listed)


def _each_port_once(port_map: PortMap, ports: int) -> None:
    named = [*port_map.ports, *port_map.ignored]
    wrong = [p for p in port_map.ignored if not 1 <= p <= ports]
    if wrong:
        raise Trouble(
            "this port cannot be",
            code="port-map.ports",
            where=port_map.where,
            found=str(wrong[0]),
            expected=f"1 to {ports}",
        )
    double = sorted({p for p in named if named.count(p) > 1})
    if double:
        raise Trouble(
            "a port stands at two places",
            code="port-map.port-twice",
            where=port_map.where,
            found=f"port {double[0]} twice",
            expected="every port once",
        )
