"""The optical limit that an export's words mean, never by a guess. The phrases stand in schemas/fiber/limits.toml."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache, lru_cache

from archive.limits.fiber.declared import limits_file
from archive.limits.fiber.library import application_ids, limit_ids
from archive.limits.fiber.link_limit import REFERENCE_GRADE
from archive.limits.phrases import normal
from archive.vocabulary.phrases import PhraseBook


@dataclass(frozen=True)
class NamedLimit:
    """What words mean: the limit's id, or None and the candidates. reason: why not, or what is odd about it."""

    limit_id: str | None
    candidates: tuple[str, ...] = ()
    reason: str = ""


@lru_cache(maxsize=4096)
def find(words: str, fiber: str = "", tested_on: str = "", reference_grade: bool = False) -> NamedLimit:
    """The limit that some words mean.

    words: of an export, or an id. fiber: class of the cable, "" where it is not known. tested_on: ISO 8601 date;
    an edition that came out later is not meant. reference_grade: the record says that the plugs of its test cords are.
    """
    text = words.strip().lower()
    if text in limit_ids() or text in application_ids():
        return NamedLimit(text)
    found, left = _book().take(normal(words))
    facets: dict[str, list[str]] = {}
    for (facet, value), _ in found:
        facets.setdefault(facet, []).append(value)
    if applications := list(dict.fromkeys(facets.get("application", []))):
        only = applications[0] if len(applications) == 1 else None
        return NamedLimit(only, tuple(applications), "" if only else "the words name several applications")
    classes = list(dict.fromkeys(facets.get("fiber", []))) or ([fiber] if fiber else [])
    editions, fault = _editions(facets, left, tested_on)
    grade = reference_grade or "reference_grade" in facets
    fits = tuple(i for i in limit_ids() if _fits(i, editions, classes, grade))
    if not editions:
        return NamedLimit(None, (), fault or "no document or application of the library is named")
    if fault or len(fits) != 1:
        return NamedLimit(None, fits, fault or _open(editions, classes, fits))
    odd = f"the words name {classes[0]}, the cable is {fiber}" if fiber and classes[0] != fiber else ""
    return NamedLimit(fits[0], fits, odd)


def _fits(limit_id: str, editions: list[str], classes: list[str], grade: bool) -> bool:
    edition, fiber, configuration = limit_id.split("/")
    return edition in editions and (not classes or fiber in classes) and (configuration == REFERENCE_GRADE) == grade


def _open(editions: list[str], classes: list[str], fits: tuple[str, ...]) -> str:
    if len(editions) > 1:
        return "several editions are left open"
    if not classes:
        return "no class of fiber is named"
    if len(classes) > 1:
        return "the words name several classes of fiber"
    return "the words leave the limit open" if fits else "this document has no such class of fiber here"


def _editions(facets: dict[str, list[str]], left: str, tested_on: str) -> tuple[list[str], str]:
    """Editions that are left, and what is wrong."""
    table = limits_file()
    named = list(dict.fromkeys(facets.get("document", [])))
    undated = facets.get("undated", [])
    words = table.words
    chosen = named or [str(e) for phrase in undated for e in words["undated"][phrase]]
    opened = [str(e) for phrase in facets.get("open", []) for e in words["open"][phrase]] if not chosen else []
    years = {int(y) for y in re.findall(r"\b(?:19|20)\d\d\b", left)}
    listed = list(dict.fromkeys(chosen or opened))
    if years and listed:
        dated = [e for e in listed if years <= set(words["years"].get(e, ()))]
        if not dated:
            return listed, f"no edition of {', '.join(str(y) for y in sorted(years))} is known"
        listed = dated
    out = [
        e
        for e in listed
        if not tested_on or table.editions[e].published <= tested_on[: len(table.editions[e].published)]
    ]
    if not out and len(listed) == 1:
        return listed, ""  # the words name this edition and no other: it is the date that is odd
    if len(out) > 1 and undated and not named:
        out = out[-1:]  # an undated reference means the latest edition that was out
    return out, ""


@cache
def _book() -> PhraseBook[tuple[str, str]]:
    """Every phrase, with its facet and value."""
    words = limits_file().words
    listed: list[tuple[str, tuple[str, str]]] = []
    for facet in ("document", "fiber"):
        listed += [(normal(str(p), phrase=True), (facet, v)) for v, phrases in words[facet].items() for p in phrases]
    for facet in ("undated", "open"):
        listed += [(normal(phrase, phrase=True), (facet, phrase)) for phrase in words[facet]]
    listed += [(normal(str(p), phrase=True), ("reference_grade", "yes")) for p in words["reference_grade"]["phrases"]]
    for name in application_ids():
        short = name.split("/")[1]
        listed.append((normal(short, phrase=True), ("application", name)))
    return PhraseBook(listed)
