"""Words about cables, settled once for an archive: an event that says which type they mean. No bag is rewritten."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from archive.errors import Trouble
from archive.store.archive import Archive
from archive.store.events.write import record
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign
from archive.vocabulary import cables


@dataclass(frozen=True)
class Settlement:
    """Words about a cable and the type that they mean; None takes back what was settled for them."""

    words: str
    type: str | None


def settle_cables(
    archive: Archive,
    settlements: Iterable[Settlement],
    *,
    by: str | None,
    reason: str | None,
    sign: Sign | None = None,
) -> tuple[LedgerEntry | None, list[Settlement]]:
    """Commits settlements as one event; those that hold already are left out.

    Gives the entry (None where nothing was left) and the settlements. Errors: Trouble for words that say nothing, a
    type that there is not, or words that are settled in two ways at once.
    """
    archive.catch_up()
    holding = dict(archive.db.execute("SELECT words, type FROM cables WHERE holds ORDER BY number").fetchall())
    made: dict[str, Settlement] = {}
    for s in settlements:
        folded = cables.folded(s.words)
        _check(s, folded, made.get(folded))
        if holding.get(folded) != s.type:
            made[folded] = s
    if not made:
        return None, []
    settled = list(made.values())
    listed = [{"words": s.words, "type": s.type, "old": holding.get(cables.folded(s.words))} for s in settled]
    texts = {"reason": reason, "settled": listed}
    return record(archive, "cables", by=by, texts=texts, facts={"settled": len(listed)}, sign=sign), settled


def _check(s: Settlement, folded: str, other: Settlement | None) -> None:
    if not folded:
        raise Trouble("no words to settle", code="cables.no-words", found=repr(s.words))
    if s.type is not None and not cables.valid(s.type):
        raise Trouble(
            "no such cable type",
            code="cables.unknown-type",
            where=s.words,
            found=s.type,
            expected="such as cat6a/f-utp/awg23/solid, or unknown/f-utp where the category is not known",
        )
    if other is not None and other.type != s.type:
        raise Trouble(
            "the same words are settled in two ways",
            code="cables.settled-twice",
            where=s.words,
            found=f"{other.type} and {s.type}",
        )
