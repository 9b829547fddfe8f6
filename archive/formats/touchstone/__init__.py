"""Network-analyser files: Touchstone 1.1 and 2, single ports turned into the pairs that a port map names.

schemas/port-map.md explains the map. Each file is one record: insertion loss, return loss, NEXT, FEXT, ACR-F and
mode conversion, as far as its ports show them.
"""

from __future__ import annotations

from archive.formats.touchstone.description import describe
from archive.formats.touchstone.read_network import read
from archive.formats.touchstone.recognition import recognise

__all__ = ["describe", "read", "recognise"]
