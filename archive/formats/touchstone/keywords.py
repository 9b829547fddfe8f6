"""The keywords of Touchstone 2: a line that begins with a word in square brackets.

Touchstone File Format Specification 2.0 (IBIS Open Forum, 2009), from memory.
"""

from __future__ import annotations

import re

from archive.errors import Trouble
from archive.formats.touchstone.network import MOST_PORTS, Mode

KEYWORD = re.compile(r"\s*\[([^\]]*)\]\s*(.*)")
VERSIONS = ("2.0", "2.1")
KNOWN = frozenset(
    (
        "version",
        "number of ports",
        "two-port data order",
        "two-port order",
        "number of frequencies",
        "number of noise frequencies",
        "reference",
        "matrix format",
        "mixed-mode order",
        "begin information",
        "end information",
        "network data",
        "noise data",
        "end",
    )
)

_MODE = re.compile(r"([DCS])(\d+)(?:,(\d+))?", re.IGNORECASE)


def whole(word: str, keyword: str, where: str) -> int:
    """The whole number that a keyword gives. Errors: Trouble."""
    if not word.strip().isascii() or not word.strip().isdigit() or len(word.strip()) > 12:
        raise Trouble(
            f"[{keyword}] must be followed by a whole number",
            code="touchstone.keyword-value",
            where=where,
            found=repr(word[:40]),
            expected="for example 4",
        )
    return int(word)


def sane_ports(ports: int, where: str) -> int:
    """The number of ports again. Errors: Trouble where no cabling measurement has so many, or there are none."""
    if not 1 <= ports <= MOST_PORTS:
        raise Trouble(
            "a number of ports that cannot be",
            code="touchstone.ports",
            where=where,
            found=f"{ports} ports",
            expected=f"1 to {MOST_PORTS}",
            remedy="check that the file is what its name says",
        )
    return ports


def check_version(word: str, where: str) -> str:
    """The version again. Errors: Trouble where it is one that this reader does not know."""
    if word.strip() not in VERSIONS:
        raise Trouble(
            "this version of Touchstone is not known",
            code="touchstone.version",
            where=where,
            found=repr(word.strip()),
            expected=f"{' or '.join(VERSIONS)}, or a file of version 1 without [Version]",
            remedy="export the file as version 2.0 or 1.1",
        )
    return word.strip()


def read_modes(text: str, ports: int, where: str) -> tuple[Mode, ...]:
    """The words of [Mixed-Mode Order], such as `D2,3 D1,4 C2,3 C1,4 S5`.

    Errors: Trouble where they do not name every port in full: each pair once as D and once as C, each other
    port once as S.
    """
    modes: list[Mode] = []
    for word in re.sub(r"\s*,\s*", ",", text).split():
        match = _MODE.fullmatch(word)
        pair = bool(match and match[3])
        if not match or pair != (match[1].upper() != "S"):
            raise Trouble(
                "[Mixed-Mode Order] holds a word that is not of the specification",
                code="touchstone.mixed-mode",
                where=where,
                found=repr(word),
                expected="words such as D1,2 C1,2 S3",
            )
        modes.append(Mode(match[1].upper(), tuple(int(g) for g in match.groups()[1:] if g)))
    difference = [frozenset(m.ports) for m in modes if m.kind == "D"]
    common = [frozenset(m.ports) for m in modes if m.kind == "C"]
    single = [m.ports[0] for m in modes if m.kind == "S"]
    named = sorted([*single, *(p for pair in difference for p in pair)])
    if named != list(range(1, ports + 1)) or sorted(map(sorted, difference)) != sorted(map(sorted, common)):
        raise Trouble(
            "[Mixed-Mode Order] does not name every port once",
            code="touchstone.mixed-mode",
            where=where,
            found=" ".join(text.split()),
            expected=f"each of ports 1 to {ports}: a pair as D and as C, a single port as S",
        )
    return tuple(modes)
