"""Resolves the limit that each record was tested to, and the limits that a user asks for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from archive import limits
from archive.errors import Trouble
from archive.grading import fiber
from archive.limits import Limit
from archive.tables import Batch

APPLICATIONS = "ieee-802.3/"
_MOST = 8


@dataclass(frozen=True)
class ResolvedLimit:
    """The limit that the words of a record name: its id (reason: what is odd about it), or None and why not."""

    limit_id: str | None
    reason: str = ""


def resolve(batch: Batch, user_limits: dict[str, Limit]) -> list[ResolvedLimit]:
    """The limit that each record names. user_limits: by id; records may name them by id, title or document."""
    records = batch["records"]
    columns = ("limit_found", "configuration", "connections", "tested_local", "medium")
    cells = zip(*(records.column(name).to_pylist() for name in columns), strict=True)
    by_words = {
        words.lower(): key
        for key, limit in user_limits.items()
        for words in (key, limit.title, limit.document)
        if words
    }
    return [
        ResolvedLimit(by_words[words.strip().lower()])
        if words and words.strip().lower() in by_words
        else _resolve_words(words, configuration, connections, (tested or "")[:10], medium == "fiber")
        for words, configuration, connections, tested, medium in cells
    ]


@lru_cache(maxsize=4096)
def _resolve_words(
    words: str | None, configuration: str | None, connections: int | None, tested: str, glass: bool
) -> ResolvedLimit:
    if not words or not words.strip():
        return ResolvedLimit(None, "limit unknown: the record names none")
    found = limits.find(words, tested or None)
    if found.limit_id is not None:
        return ResolvedLimit(found.limit_id, "; ".join(found.remarks))
    quoted = f"limit unknown: '{' '.join(words.split())}'"
    if glass:  # what optical links are tested to is resolved with them
        return ResolvedLimit(None, f"{quoted}; a limit of curves is none of glass")
    # The record may say apart from the limit what was inside the test.
    fits = [c for c in found.candidates if configuration and _fits(limits.get(c), configuration, connections)]
    if len(fits) == 1:
        return ResolvedLimit(fits[0])
    listed = fits or list(found.candidates)
    candidates = ", ".join(listed[:_MOST]) + (f" and {len(listed) - _MOST} more" if len(listed) > _MOST else "")
    why = f"candidates: {candidates}" if listed else found.reason
    return ResolvedLimit(None, f"{quoted}; {why}")


def _fits(limit: Limit, configuration: str, connections: int | None) -> bool:
    return limit.configuration in (configuration, f"{configuration}-{connections}")


@dataclass(frozen=True)
class AskedFor:
    """Limits that somebody asks for: of curves over pairs, and of optical links."""

    curves: list[Limit]
    optical: list[fiber.OpticalBound]


def asked_for(
    against: str | Iterable[str] | None,
    applications: Iterable[str],
    user_limits: dict[str, Limit],
    own_optical: Sequence[fiber.OpticalBound] = (),
) -> AskedFor:
    """The limits that a user asks for, each once, in the order of asking: ids, or limit files of the user (.toml).

    An application may leave out the family: 10gbase-t is ieee-802.3/10gbase-t.
    Errors: Trouble for an unknown id; its message lists similar ids.
    """
    optical, wanted = fiber.asked_for([against] if isinstance(against, str) else list(against or ()), own_optical)
    more, others = fiber.asked_for(list(applications), own_optical)
    optical += [limit for limit in more if limit not in optical]
    wanted += [a if "/" in a else APPLICATIONS + a for a in others]
    names = [w.strip() if w.endswith(".toml") else w.strip().lower() for w in wanted]
    found = [user_limits.get(name) or limits.get(name) for name in dict.fromkeys(names)]
    return AskedFor(list({limit.id: limit for limit in found}.values()), optical)


UserLimit = Limit | fiber.OpticalBound


def user_limits_by_id(user_limits: Sequence[UserLimit]) -> tuple[dict[str, Limit], list[fiber.OpticalBound]]:
    """Limits of the user: those of curves by id, and those of optical links. Errors: Trouble where two have one id."""
    found: dict[str, Limit] = {}
    optical: list[fiber.OpticalBound] = []
    for limit in user_limits:
        if limit.id in found or limit.id in {other.id for other in optical}:
            raise Trouble(
                "two limits of your own have the same id",
                code="grading.user-limits-repeat",
                found=limit.id,
                remedy="give them different ids",
            )
        if isinstance(limit, Limit):
            found[limit.id] = limit
        else:
            optical.append(limit)
    return found, optical
