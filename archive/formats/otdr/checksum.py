"""The checksum of a trace file: recorded, and no evidence of anything.

CRC-16 with polynomial 0x1021. Two initial values are met in practice, the range is vaguely described, and few
instruments write or check it, so a mismatch decides nothing; the archive's own SHA-256 does.
"""

from __future__ import annotations

from typing import Literal

State = Literal["match", "mismatch", "absent"]


def crc16(data: bytes, start: int = 0xFFFF) -> int:
    """CRC-16 of polynomial 0x1021, most significant bit first. Over b"123456789" it is 0x29B1 for start 0xFFFF."""
    value = start
    for byte in data:
        value = ((value << 8) & 0xFFFF) ^ _TABLE[(value >> 8) ^ byte]
    return value


def _row(byte: int) -> int:
    value = byte << 8
    for _ in range(8):
        value = ((value << 1) ^ 0x1021 if value & 0x8000 else value << 1) & 0xFFFF
    return value


_TABLE = [_row(byte) for byte in range(256)]


def state(data: bytes, stored: int | None, before: int) -> State:
    """What the checksum says. stored: as found (None or 0: not set); before: bytes of the file that stand before it."""
    if not stored:
        return "absent"
    return "match" if stored in {crc16(data[:before], start) for start in (0xFFFF, 0)} else "mismatch"
