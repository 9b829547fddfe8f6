"""Which limit each record was tested to, and the limits that somebody asks for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from archive import limits
from archive.errors import Trouble
from archive.tables import Batch

APPLICATIONS = "ieee-802.3/"
_MOST = 8


@dataclass(frozen=True)
class Named:
    """What the words of a record mean: a limit id, or None and why not."""

    limit_id: str | None
    reason: str = ""


def named(batch: Batch, own: dict[str, Any]) -> list[Named]:
    """Per record the limit that it names. own: limits of the user's by id; their ids and titles are known too."""
    records = batch["records"]
    columns = ("limit_found", "configuration", "connections", "tested_local")
    cells = zip(*(records.column(name).to_pylist() for name in columns), strict=True)
    mine = {words.lower(): key for key, limit in own.items() for words in (key, limit.title, limit.document) if words}
    return [
        Named(mine[words.strip().lower()])
        if words and words.strip().lower() in mine
        else _named(words, configuration, connections, (tested or "")[:10])
        for words, configuration, connections, tested in cells
    ]


@lru_cache(maxsize=4096)
def _named(words: str | None, configuration: str | None, connections: int | None, tested: str) -> Named:
    if not words or not words.strip():
        return Named(None, "limit unknown: the record names none")
    found = limits.find(words, tested or None)
    if found.limit_id is not None:
        return Named(found.limit_id)
    # The record may say apart from the limit what was inside the test.
    fits = [c for c in found.candidates if configuration and _fits(limits.get(c), configuration, connections)]
    if len(fits) == 1:
        return Named(fits[0])
    listed = fits or list(found.candidates)
    said = ", ".join(listed[:_MOST]) + (f" and {len(listed) - _MOST} more" if len(listed) > _MOST else "")
    why = f"candidates: {said}" if listed else found.reason
    return Named(None, f"limit unknown: '{' '.join(words.split())}'; {why}")


def _fits(limit: Any, configuration: str, connections: int | None) -> bool:
    return limit.configuration in (configuration, f"{configuration}-{connections}")


def asked_for(against: str | Iterable[str] | None, applications: Iterable[str], own: dict[str, Any]) -> list[Any]:
    """The limits that somebody asks for, each once, in the order of asking: ids, or files of one's own (.toml).

    An application may leave out the family: 10gbase-t is ieee-802.3/10gbase-t.
    Errors: Trouble for an id that is not known, with those that are near.
    """
    wanted = [against] if isinstance(against, str) else list(against or ())
    wanted += [a if "/" in a else APPLICATIONS + a for a in applications]
    names = [w.strip() if w.endswith(".toml") else w.strip().lower() for w in wanted]
    found = [own.get(name) or limits.get(name) for name in dict.fromkeys(names)]
    return list({limit.id: limit for limit in found}.values())


def own_by_id(own_limits: Sequence[Any]) -> dict[str, Any]:
    """Limits of the user's by id. own_limits: Limit objects. Errors: Trouble where two have one id."""
    found: dict[str, Any] = {}
    for limit in own_limits:
        if limit.id in found:
            raise Trouble("two limits of your own have the same id", found=limit.id, remedy="give them different ids")
        found[limit.id] = limit
    return found
