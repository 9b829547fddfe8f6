"""Optical trace files, SR-4731 of both formats: the event table and the trace of one fiber at one wavelength.

Each file is one record; its bytes are kept whole beside it. Blocks that are missing or damaged are lost alone: no event
is made up. The checksum is recorded and decides nothing.
"""

from __future__ import annotations

from archive.formats.otdr.description import describe
from archive.formats.otdr.read_trace import read
from archive.formats.otdr.recognition import recognise

__all__ = ["describe", "read", "recognise"]
