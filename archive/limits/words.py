"""Finding the limit that an export's words mean, never by a guess. The rules stand in schemas/limit-words.toml."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from archive.limits import editions
from archive.limits.library import candidates, ids
from archive.limits.meanings import Meaning, meaning_of, same_class
from archive.limits.phrases import normal, take


@dataclass(frozen=True)
class Resolution:
    """What some words mean.

    limit_id: the limit, or None. candidates: what they may mean where it is not decided. reason: how it was decided,
    or why not. unread: words that no rule knows. remarks: what is odd about a limit that was found.
    """

    limit_id: str | None
    candidates: tuple[str, ...]
    reason: str
    unread: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


@lru_cache(maxsize=4096)
def find(words: str, tested_on: str | None = None) -> Resolution:
    """The limit that some words mean.

    words: the words of an export in any order, spelling and language that the rules know, or an id.
    tested_on: ISO 8601 date of the test where it is known: an edition that came out later is not meant then.
    """
    text = words.strip().lower()
    if text in ids():
        return Resolution(text, (text,), "the id of a limit")
    if several := candidates(text):
        return Resolution(None, several, "this id names several limits")
    found, left = take(normal(words))
    unread = tuple(left.split())
    meant = meaning_of(found, unread, tested_on)
    if not meant.designations and not meant.document:
        return Resolution(None, (), "no category, class or application of the library is named", unread)
    fits = _fitting(meant)
    faults = [*meant.faults, *_open_questions(meant, fits)]
    if len(fits) == 1 and not faults:
        title = editions.edition(fits[0].split("/")[0]).head.title
        odd = "".join(f", though {remark}" for remark in meant.remarks)
        how = f"no year is named: the latest edition is meant, {title}" if meant.latest else f"named by the words{odd}"
        return Resolution(fits[0], (fits[0],), how, unread, meant.remarks)
    if not fits:
        fits = _near(meant)
        faults = faults or ["the library has no such limit"]
    return Resolution(None, tuple(fits), "; ".join(faults), unread)


@lru_cache(maxsize=1)
def _links() -> tuple[str, ...]:
    """Limits that a link can be tested to: every one but those of components."""
    return tuple(i for i in ids() if not i.endswith(("/cable", "/connecting-hardware")))


def _fitting(meant: Meaning) -> list[str]:
    """Limits that fit all that the words say; of the latest edition only, where that is what they mean."""
    fits = [i for i in _links() if i.split("/")[0] in meant.editions and _fits(i, meant)]
    if any(_native(i, meant) for i in fits):
        fits = [i for i in fits if _native(i, meant)]
    if meant.latest and fits:
        latest = max((i.split("/")[0] for i in fits), key=meant.editions.index)
        fits = [i for i in fits if i.split("/")[0] == latest]
    return fits


def _native(limit_id: str, meant: Meaning) -> bool:
    """Is it named by its own category or class, not by the other family's that goes with it?"""
    designation = limit_id.split("/")[1]
    return any(designation in values for values in meant.designations)


def _fits(limit_id: str, meant: Meaning) -> bool:
    _, designation, *rest = limit_id.split("/")
    place = rest[0] if rest else ""
    base, count = (place[:-2], place[-1]) if place.endswith(("-2", "-3")) else (place, "")
    if meant.designations and not any(
        designation in same_class(value) for values in meant.designations for value in values
    ):
        return False
    if place and meant.configurations and not any(base in values for values in meant.configurations):
        return False
    return not (count and meant.connections and count not in meant.connections)


def _open_questions(meant: Meaning, fits: list[str]) -> list[str]:
    """What the words leave open between the limits that fit."""
    faults = []
    editions = {i.split("/")[0] for i in fits}
    if not meant.document:
        faults.append("no edition is named")
    elif len(editions) > 1:
        faults.append("several editions are left open")
    designations = {i.split("/")[1] for i in fits}
    if not meant.designations:
        faults.append("no category or class is named")
    elif not meant.agrees or (len(designations) > 1 and all(_native(i, meant) for i in fits)):
        faults.append("the words leave the category or class open")
    elif fits and not any(_native(i, meant) for i in fits):
        listed = ", ".join(sorted(designations))
        faults.append(f"a class and a category are not the same limit, and this document has {listed}")
    places = {i.split("/")[2] for i in fits if i.count("/") == 2}
    if places and not meant.configurations:
        faults.append("neither channel nor link is named")
    elif len(meant.configurations) > 1:
        faults.append("several configurations are named")
    elif {place[-2:] for place in places} == {"-2", "-3"}:
        faults.append("links with two and with three connections are two limits")
    elif len(places) > 1:
        faults.append("the words leave the configuration open")
    return faults


def _near(meant: Meaning) -> list[str]:
    """Where nothing fits: what would, if the edition or else the configuration is left aside."""
    everywhere = editions.edition_ids()
    anywhere = Meaning(everywhere, designations=meant.designations, configurations=meant.configurations)
    here = Meaning(meant.editions, designations=meant.designations)
    for other in (anywhere, here):
        if meant.designations and (found := _fitting(other)):
            return found
    return []
