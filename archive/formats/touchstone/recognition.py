"""Whether a file is a network-analyser file: by its suffix and its first lines."""

from __future__ import annotations

import re

from archive.errors import Trouble
from archive.formats.recognition import Entry, Recognition
from archive.formats.touchstone import port_map
from archive.formats.touchstone.parse import SUFFIX
from archive.formats.touchstone.scan import decode

_VERSION = re.compile(r"^\s*\[version\]", re.IGNORECASE | re.MULTILINE)
_OPTIONS = re.compile(r"^\s*#\s*(?:[a-z0-9.+-]+\s+)*(?:[kmg]?hz|s|db|ma|ri)\b", re.IGNORECASE | re.MULTILINE)
_PORTS = re.compile(r"^\s*\[number of ports\]", re.IGNORECASE | re.MULTILINE)
_SWEEP = re.compile(
    r"\s*(?:!.*\n\s*)*#(?=.*\b[kmg]?hz\b)(?:[ \t]+(?:[kmg]?hz|[syzgh]|db|ma|ri|r[ \t]+[0-9.]+))+[ \t]*(?:!.*)?\n"
    r"\s*(?:!.*\n\s*)*(?:[-+0-9.e]+[ \t]+){2}[-+0-9.e]+",
    re.IGNORECASE,
)
"""A file of version 1 by its words alone: comments, an option line with a unit, and numbers below it."""
_NOTHING_MORE = re.compile(r"^\s*#\s*$", re.MULTILINE)


def recognise(entry: Entry) -> Recognition | None:
    """Whether the file is Touchstone, with the port map beside it; None where it is not.

    A file with the suffix but without an option line is ours and damaged: it is claimed with a low score.
    Errors: Trouble for a port map: it is read with its measurement, and alone it is no record.
    """
    if entry.suffix == ".toml" and port_map.given(entry.path) is not None:
        raise Trouble(
            "this is a port map, and no network-analyser file that it speaks for was handed in with it",
            code="port-map.alone",
            where=entry.name,
            remedy="hand it in beside its network-analyser file",
        )
    by_name = SUFFIX.fullmatch(entry.suffix)
    numbered = bool(by_name and by_name[1])
    text, _ = decode(entry.head)
    second = bool(_VERSION.search(text))
    options = bool(_OPTIONS.search(text) or _NOTHING_MORE.search(text))
    if numbered and (second or options):
        found = (0.98, "its suffix gives the number of ports and it has an option line")
    elif second and _PORTS.search(text):
        found = (0.95, "it has the keywords of Touchstone 2")
    elif _SWEEP.match(text):
        found = (0.9, "it begins with the option line of a network-analyser file")
    elif numbered:
        found = (0.6, "its suffix is that of a network-analyser file, but it has no option line")
    else:
        return None
    beside = port_map.find(entry)
    takes = frozenset({beside} if beside else ())
    return Recognition(found[0], found[1], "touchstone", takes)
