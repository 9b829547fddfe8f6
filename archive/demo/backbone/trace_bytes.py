"""Optical trace files, written: the blocks of SR-4731 as the reader of this program knows them.

Invented content in the open layout: no recording of an instrument is imitated. Source of the layout: OTDR-RFC.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

LIGHT_M_PER_S = 299_792_458.0
_FOOT_MARKS = 2


@dataclass(frozen=True)
class WrittenEvent:
    """One event: km from the instrument, loss and reflectance in dB (0.0: none), code of six signs, slope before it."""

    km: float
    loss_db: float
    reflectance_db: float = 0.0
    code: str = "0F9999"
    slope_db_km: float = 0.0
    comment: str = ""


@dataclass
class TraceContent:
    """What a file is to hold. levels_db: below the reference, one per point; events None: no such block."""

    cable_id: str = "BB-1"
    fiber_id: str = "1"
    location_a: str = "MDF"
    location_b: str = "FD-2"
    operator: str = ""
    fiber_type: int = 652
    nm: float = 1310.0
    pulse_ns: int = 30
    index: float = 1.468
    point_m: float = 0.5
    time_unix_s: int = 1_615_200_000
    serial: str = "07-4471"
    maker: str = "Sandpiper Optics"
    levels_db: npt.NDArray[np.float64] = field(default_factory=lambda: np.zeros(0))
    events: Sequence[WrittenEvent] | None = ()
    end_to_end_db: float = 0.0
    return_loss_db: float = 0.0
    form: int = 2
    own_blocks: Sequence[tuple[str, bytes]] = ()

    def units(self, km: float) -> int:
        """One-way time of a distance in 100 ps."""
        return round(km * 1000 * self.index / LIGHT_M_PER_S * 1e10)


def trace_file(content: TraceContent) -> bytes:
    """The file. Format 1 has no names in front of its blocks, and fewer fields."""
    blocks: list[tuple[str, bytes]] = [
        ("GenParams", _general(content)),
        ("SupParams", _texts(content.maker, "T-7", content.serial, "M-1", content.serial, "2.0", " ")),
        ("FxdParams", _fixed(content)),
    ]
    if content.events is not None:
        blocks.append(("KeyEvents", _events(content, content.events)))
    blocks += [*content.own_blocks, ("DataPts", _points(content)), ("Cksum", b"\0\0")]
    named = [(n, (n.encode() + b"\0" if content.form == 2 else b"") + body) for n, body in blocks]
    entries = b"".join(n.encode() + b"\0" + struct.pack("<HI", 200, len(body)) for n, body in named)
    head = b"Map\0" if content.form == 2 else b""
    size = len(head) + 8 + len(entries)
    revision = 200 if content.form == 2 else 100
    return head + struct.pack("<HIH", revision, size, len(named) + 1) + entries + b"".join(body for _, body in named)


def _texts(*texts: str) -> bytes:
    return b"".join(text.encode() + b"\0" for text in texts)


def _general(c: TraceContent) -> bytes:
    out = b"EN" + _texts(c.cable_id, c.fiber_id)
    out += struct.pack("<H", c.fiber_type) if c.form == 2 else b""
    out += struct.pack("<H", round(c.nm)) + _texts(c.location_a, c.location_b, " ") + b"BC" + struct.pack("<i", 0)
    out += struct.pack("<i", 0) if c.form == 2 else b""
    return out + _texts(c.operator or " ", " ")


def _fixed(c: TraceContent) -> bytes:
    spacing = round(c.point_m * c.index / LIGHT_M_PER_S * 1e10 * 10_000)
    second = c.form == 2
    out = struct.pack("<I2sHi", c.time_unix_s, b"mt", round(c.nm * 10), 0) + (struct.pack("<i", 0) if second else b"")
    out += struct.pack("<HHIII", 1, c.pulse_ns, spacing, len(c.levels_db), round(c.index * 100_000))
    out += struct.pack("<HI", 800, 4000) + (struct.pack("<H", 150) if second else b"")
    out += struct.pack("<I", c.units(len(c.levels_db) * c.point_m / 1000)) + (struct.pack("<i", 0) if second else b"")
    out += struct.pack("<i", 0) + struct.pack("<HHH", 65535, 1000, 0) + struct.pack("<HHH", 50, 65000, 3000)
    return out + (b"ST" + struct.pack("<iiii", 0, 0, 0, 0) if second else b"")


def _events(c: TraceContent, events: Sequence[WrittenEvent]) -> bytes:
    out = struct.pack("<H", len(events))
    for number, e in enumerate(events, start=1):
        at = c.units(e.km)
        out += struct.pack("<HI", number, at)
        out += struct.pack("<hhi", round(e.slope_db_km * 1000), round(e.loss_db * 1000), round(e.reflectance_db * 1000))
        out += e.code.encode() + b"LS"
        out += struct.pack("<5I", max(0, at - 100), at, at + 200, at + 400, at) if c.form == 2 else b""
        out += _texts(e.comment or " ")
    end = c.units(events[-1].km) if events else 0
    out += struct.pack("<iii", round(c.end_to_end_db * 1000), 0, end)
    return out + struct.pack("<Hii", round(c.return_loss_db * 1000), 0, end)


def _points(c: TraceContent) -> bytes:
    values = np.clip(np.round(c.levels_db * 1000), 0, 65535).astype("<u2")
    return struct.pack("<IHIH", len(values), 1, len(values), 1000) + values.tobytes()
