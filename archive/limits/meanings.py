"""From the phrases found in some words to what they mean: editions, categories or classes, configuration."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from archive.limits.editions import edition, edition_ids
from archive.limits.phrases import Found, rules

_IEEE = "ieee-802.3"


@dataclass(frozen=True)
class Meaning:
    """What some words mean, as far as they say it.

    editions: those left by the document that is named, oldest first; all where none is. document: that document in
    the words' own way, "" where none is named. latest: the latest of them is meant. designations: for each phrase
    about a category, class or application, what it may mean. configurations: the same. connections: their numbers.
    faults: why the words decide nothing, however many limits fit. remarks: what is odd about them and decides nothing.
    """

    editions: tuple[str, ...]
    document: str = ""
    latest: bool = False
    designations: tuple[tuple[str, ...], ...] = ()
    configurations: tuple[tuple[str, ...], ...] = ()
    connections: frozenset[str] = frozenset()
    faults: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def agrees(self) -> bool:
        """Do all phrases allow one and the same category or class?"""
        allowed = [{same for value in values for same in same_class(value)} for values in self.designations]
        return bool(set.intersection(*allowed)) if allowed else True


def meaning_of(found: Sequence[Found], unread: Sequence[str], tested_on: str | None) -> Meaning:
    """What phrases mean. unread: the words left, among which a year may stand. tested_on: date of the test."""
    facets: dict[str, list[Found]] = {}
    for item in found:
        facets.setdefault(item.facet, []).append(item)
    faults = [f"the words say that the limit was altered ({item.words})" for item in facets.get("altered", [])]
    documents = _documents(facets)
    editions, latest, more, remarks = _editions(
        documents, [int(w) for w in unread if re.fullmatch(r"(19|20)\d\d", w)], tested_on
    )
    implied = tuple({d["implies"] for d, _ in documents if "implies" in d})
    designations = _designations(facets)
    if implied and not designations:
        designations = (implied,)
    elif implied:
        designations = (*designations, implied)
    if not documents:
        editions = (_IEEE,) if "application" in facets else edition_ids()
    return Meaning(
        editions=editions,
        document=", ".join(item.words for _, item in documents) or (_IEEE if "application" in facets else ""),
        latest=latest,
        designations=designations,
        configurations=_configurations(facets),
        connections=frozenset(value for item in facets.get("connections", []) for value in item.values),
        faults=(*faults, *more),
        remarks=tuple(remarks),
    )


def same_class(designation: str) -> set[str]:
    """A category or class, and those that go with it: a class is met by components of a category."""
    table = rules()["equal"]
    its_class = table.get(designation, designation)
    return {designation, its_class, *(category for category, name in table.items() if name == its_class)}


def _documents(facets: dict[str, list[Found]]) -> list[tuple[dict[str, Any], Found]]:
    """Documents that are named; the bare name of a body gives way to a document, and to an application."""
    table = rules()["document"]
    named = [(table[value], item) for item in facets.get("document", []) for value in item.values]
    strong = [(document, item) for document, item in named if not document.get("weak")]
    return strong if strong or "application" in facets else named


def _editions(
    documents: list[tuple[dict[str, Any], Found]], years: list[int], tested_on: str | None
) -> tuple[tuple[str, ...], bool, list[str], list[str]]:
    """Editions that documents and years leave, whether the latest is meant, what is wrong, and what is odd."""
    names: list[str] = []
    remarks: list[str] = []
    faults, latest = [], False
    for document, item in documents:
        listed = document["editions"]
        if not listed:
            faults.append(f"no edition of the library is declared to equal {item.words}")
            continue
        dated = [e for e in listed if years and set(years) <= set(e.get("years", ()))]
        if years and not dated and any("years" in e for e in listed):
            faults.append(f"no edition of {item.words} of {', '.join(map(str, years))} is known")
        out = [e["id"] for e in dated or listed if _was_out(e["id"], tested_on)]
        if not out and len(dated or listed) == 1:
            # The words name this edition and no other: it is the date that is wrong, as after a clock was reset.
            out = [(dated or listed)[0]["id"]]
            remarks.append(f"{item.words} came out after the date of the test")
        if not out:
            faults.append(f"{item.words} came out after the test")
        latest |= document.get("undated", "latest") == "latest" and len(out) > 1
        names += [name for name in out if name not in names]
    if len(documents) > 1:
        latest = latest and len({tuple(e["id"] for e in d["editions"]) for d, _ in documents}) == 1
    return tuple(names), latest, faults, remarks


def _was_out(edition_id: str, tested_on: str | None) -> bool:
    published = edition(edition_id).head.published
    return not tested_on or published <= tested_on[: len(published)]


def _designations(facets: dict[str, list[Found]]) -> tuple[tuple[str, ...], ...]:
    """A name that stands alone (EA) counts only where no other says it (class E)."""
    names = ("application", "designation", "alone category")
    found = [item.values for name in names for item in facets.get(name, [])]
    return _once(found or [item.values for item in facets.get("alone class", [])])


def _configurations(facets: dict[str, list[Found]]) -> tuple[tuple[str, ...], ...]:
    """PL2 says permanent link by itself; "link" beside "permanent link" says nothing more."""
    meant = rules()["meant"]
    values = [value for item in facets.get("configuration", []) for value in item.values]
    if not values and any(item.words.startswith("pl") for item in facets.get("connections", [])):
        values = ["permanent-link"]
    exact = [value for value in values if value not in meant]
    return _once(tuple(meant.get(value, (value,))) for value in exact or values)


def _once(values: Iterable[tuple[str, ...]]) -> tuple[tuple[str, ...], ...]:
    return tuple(dict.fromkeys(values))
