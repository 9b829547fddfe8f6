"""What whoever relies on a ledger must know besides its soundness: void entries, wrong clocks, missing signatures.

None of it is damage. A ledger whose clock was wrong, or in which somebody forgot to sign, is still the one that was
written; but the times and names in it say less than they seem to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta

from archive.errors import Trouble
from archive.store import clock
from archive.store.archive import Archive
from archive.store.keys import known_keys
from archive.store.ledger import LedgerEntry

_BACK = timedelta(minutes=10)
"""By how much an entry may be dated before an earlier one: clocks of several machines never agree to the second."""
_AHEAD = timedelta(days=1)

Names = Callable[[LedgerEntry], dict[str, str]]


@dataclass(frozen=True)
class Caution:
    """One thing to know. kind: void, unread, clock or signature; entry: number of the ledger entry that it is of;
    bears_on: numbers of later entries that say less for it."""

    kind: str
    entry: int
    text: str
    bears_on: frozenset[int] = frozenset()


def cautions(archive: Archive, entries: Sequence[LedgerEntry] | None = None) -> list[Caution]:
    """All of them, by ledger number. entries: those of the ledger, where they were read already.

    A name that was redacted, or that cannot be read, is passed over: `fixity` names the damage. So are unread events
    where entries are given.
    """
    listed = list(archive.entries()) if entries is None else entries

    def names(entry: LedgerEntry) -> dict[str, str]:
        with suppress(Trouble):
            return archive.names(entry)
        return {}

    found = [
        *_voids(archive, listed, names),
        *(Caution("unread", event.number, str(event)) for event in (archive.unread() if entries is None else ())),
        *clocks(((e.number, e.get("at")) for e in listed), clock.now()),
        *_signatures(listed, names),
    ]
    return sorted(found, key=lambda c: (c.entry, c.kind))


def _voids(archive: Archive, entries: Sequence[LedgerEntry], names: Names) -> Iterator[Caution]:
    for e in entries:
        if e.get("event") == "void":
            reason = ""
            with suppress(Trouble):
                reason = str(archive.texts(e).get("reason") or "")
            who = names(e).get(e.get("by") or "", "somebody not named")
            whole = "; a machine had seen it whole" if e.get("seen_whole") else ""
            yield Caution(
                "void",
                e.number,
                f"ledger entry {e['entry']} was cut short and is void by the decision of {who}, {e['at'][:10]}"
                f" ({reason}){whole}: what it committed is not known",
            )


def clocks(times: Iterable[tuple[int, str | None]], now: datetime) -> Iterator[Caution]:
    """Entries whose time cannot be right: ahead of now, before the archive was made, or before an earlier entry.

    times: number and time (ISO 8601) of each entry, from the first on.
    """
    latest: tuple[datetime, int] | None = None
    made: datetime | None = None
    for number, text in times:
        try:
            at = datetime.fromisoformat(str(text))
        except ValueError:
            yield Caution("clock", number, f"ledger entry {number} carries no time that can be read")
            continue
        made = at if made is None else made
        what = ""
        if at > now + _AHEAD:
            what = "which is still to come"
        elif at < made - _BACK:
            what = f"before the archive was made ({made:%Y-%m-%d})"
        elif latest is not None and at < latest[0] - _BACK:
            what = f"before entry {latest[1]} ({latest[0]:%Y-%m-%dT%H:%M})"
        if what:
            yield Caution("clock", number, f"ledger entry {number} is dated {at:%Y-%m-%dT%H:%M}, {what}")
        if at <= now + _AHEAD and (latest is None or at > latest[0]):
            latest = at, number


def _signatures(entries: Sequence[LedgerEntry], names: Names) -> Iterator[Caution]:
    """Entries that a person with a key left unsigned, and keys under a name that has one."""
    keys = known_keys(entries)
    if not keys:
        return
    held: dict[str, list[str]] = {}
    first = min(int(str(k["added"])) for k in keys.values())
    stated = [(e, names(e).get(e["by"])) for e in entries if e.number >= first and e.get("by")]
    for e, who in stated:
        if who is None:
            continue
        holding = [k for k in held.get(who, []) if _holds(keys[k]["retired"], e.number)]
        if e.get("event") == "key" and e["action"] == "add":
            if holding:
                text = f"ledger entry {e.number} registers a second key under the name {who}, who holds {holding[0]}"
                later = frozenset(o.number for o, by in stated if by == who and o.number > e.number)
                yield Caution("signature", e.number, text, later)
            held.setdefault(who, []).append(e["key"])
        elif e.signed is None and holding:
            text = f"ledger entry {e.number}, by {who}, is not signed, though {who} holds key {holding[0]}"
            yield Caution("signature", e.number, text)


def _holds(retired: object, number: int) -> bool:
    return not isinstance(retired, int) or retired >= number
