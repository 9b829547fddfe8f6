"""Limit lines as functions of frequency, read from schemas/limits/; finding the limit that an export's words mean.

limit = archive.limits.get("tia-568.2-d/cat6a/channel")
limit.lines["next"].at(frequencies_mhz)          # dB, NaN outside its range
archive.limits.find("Klasse EA Übertragungsstrecke nach EN 50173-1:2018").limit_id
"""

from __future__ import annotations

from archive.limits.file_tables import Alternative, Bound
from archive.limits.library import candidates, get, ids, version
from archive.limits.limit import Limit, Scalar
from archive.limits.line import Exemption, Line, Segment
from archive.limits.own import load_own
from archive.limits.words import Resolution, find

__all__ = [
    "Alternative",
    "Bound",
    "Exemption",
    "Limit",
    "Line",
    "Resolution",
    "Scalar",
    "Segment",
    "candidates",
    "find",
    "get",
    "ids",
    "load_own",
    "version",
]
