"""Where the fiber at a position of a plug arrives, by the method that a link is built to."""

from __future__ import annotations

from collections.abc import Iterable

from archive.limits.fiber.declared import limits_file

DUPLEX = "duplex"


def plug_size(positions: Iterable[str], stated: int | None = None) -> int:
    """Positions of the array plugs of a link: as stated, else those of the smallest plug that has all these positions;
    0 where there is none."""
    sizes = sorted(int(size) for size in limits_file().polarity.plugs)
    if stated is not None:
        return stated if stated in sizes else 0
    highest = max((int(p) for p in positions if p.isdigit()), default=1)
    return next((size for size in sizes if size >= highest), 0)


def partners(near: str, method: str, size: int) -> tuple[str, ...]:
    """The positions at which a fiber may arrive, none where that is not known. size: positions of array plugs."""
    maps = limits_file().polarity
    if method == DUPLEX:
        found = maps.duplex.get(near.upper())
        return (found,) if found else ()
    row = maps.plugs.get(str(size))
    if row is None or not near.isdigit() or not 1 <= int(near) <= size:
        return ()
    at = int(near)
    if method in maps.straight:
        return (str(at),)
    if method in maps.reversed:
        first = (at - 1) // row * row
        return tuple(dict.fromkeys((str(2 * first + row + 1 - at), str(size + 1 - at))))
    return (str(at + 1 if at % 2 else at - 1),) if method in maps.crossed else ()


def array_methods() -> tuple[str, ...]:
    """Methods of arrays, one of each map: others with the same map cannot be told from it by positions."""
    maps = limits_file().polarity
    return tuple(listed[0] for listed in (maps.straight, maps.reversed, maps.crossed))


def polarity_letter() -> str:
    """How sure the maps are."""
    return limits_file().polarity.confidence
