"""Where the fiber at a position of a plug arrives, by the method that a link is built to."""

from __future__ import annotations

from archive.limits.fiber.declared import limits_file

DUPLEX = "duplex"


def partner(near: str, method: str) -> str:
    """The position at which a fiber must arrive, "" where that is not known."""
    maps = limits_file().polarity
    if method == DUPLEX:
        return maps.duplex.get(near.upper(), "")
    if not near.isdigit() or not 1 <= int(near) <= maps.row:
        return ""
    at = int(near)
    if method in maps.straight:
        return str(at)
    if method in maps.reversed:
        return str(maps.row + 1 - at)
    return str(at + 1 if at % 2 else at - 1) if method in maps.crossed else ""


def array_methods() -> tuple[str, ...]:
    """Methods of arrays, one of each map: others with the same map cannot be told from it by positions."""
    maps = limits_file().polarity
    return tuple(listed[0] for listed in (maps.straight, maps.reversed, maps.crossed))


def polarity_letter() -> str:
    """How sure the maps are."""
    return limits_file().polarity.confidence
