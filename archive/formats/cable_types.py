"""Free words about a cable to its brand-neutral type, by rules in schemas/cable-types.toml and the user's own file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import Any

from archive import schemas, vocabulary
from archive.errors import Trouble
from archive.formats.base import words
from archive.vocabulary import cables, phrases
from archive.vocabulary.cables import UNKNOWN

_FILE = "cable-types.toml"
_AT_LEAST = "at least"
"""Beside the words of a class: a phrase that names the lowest that will do."""
_CLAUSE = re.compile(r"[;\n]| \+ ")


@dataclass(frozen=True)
class Said:
    """What one phrase says. part: of cables.PARTS, or "use" or "link class"; weak: any other word of the part holds."""

    part: str
    word: str
    weak: bool = False


@dataclass(frozen=True)
class CableWords:
    """What the words about a cable say.

    type: its id. rules: by part the phrases that decided it, or left it open, as they were found. use: cord,
    permanent, both, or "". cord: the type of the cords, where the words tell them apart from the fixed cable; then
    `type` is that of the fixed cable. link_classes: classes of links that are named; they are no category of a cable.
    """

    type: str
    rules: dict[str, tuple[str, ...]] = field(default_factory=dict)
    use: str = ""
    cord: str = ""
    link_classes: tuple[str, ...] = ()


def neutral(found: str) -> str:
    """The brand-neutral type of some words, such as cat6a/f-utp/awg23/solid; "unknown" where nothing is known.

    Errors: Trouble where the user's own file is not right.
    """
    return explained(found).type


def recognised(found: str) -> bool:
    """Whether words decide the class or the construction of a cable: enough to take them for words about a cable."""
    return bool({"class", "construction"} & cables.known(neutral(found)).keys())


@lru_cache(maxsize=16384)
def explained(found: str) -> CableWords:
    """What the words about a cable say, part by part, with the phrases that said so. Errors: as neutral."""
    settled = _settled().get(cables.folded(found))
    if settled is not None:
        return CableWords(settled, dict.fromkeys(cables.said(settled), ("settled by the user's file",)))
    whole = _decided(found)
    clauses = [c for c in _CLAUSE.split(found) if c.strip()]
    if whole.use == "both" and len(clauses) < 2:
        clauses = [c for c in re.split(r"[;,\n]| \+ ", found) if c.strip()]
    cords = [c for c in clauses if _decided(c).use == "cord"]
    fixed = [c for c in clauses if c not in cords]
    if not cords or not any(cables.said(_decided(c).type) for c in fixed):
        return whole
    first, cord = _decided(" ; ".join(fixed)), _decided(" ; ".join(cords))
    if not cables.said(cord.type):
        return whole
    return CableWords(first.type, first.rules, "both", cord.type, whole.link_classes)


def _decided(found: str) -> CableWords:
    """All of the words taken for those of one cable."""
    taken, _ = _book().take(cables.folded(found))
    by_part: dict[str, dict[str, list[str]]] = {}
    strong = {s.part for said, _ in taken for s in said if not s.weak}
    for said, phrase in taken:
        for s in said:
            if not s.weak or s.part not in strong:
                by_part.setdefault(s.part, {}).setdefault(s.word, []).append(phrase)
    parts = {p: _one(p, list(by_part[p])) for p in cables.PARTS if p in by_part}
    parts = {p: word for p, word in parts.items() if word}
    rules = {p: tuple(x for found in by_part[p].values() for x in found) for p in parts}
    use = list(by_part.get("use", ()))
    return CableWords(
        cables.joined(parts),
        rules,
        "both" if len(use) > 1 else use[0] if use else "",
        link_classes=tuple(by_part.get("link class", ())),
    )


def _one(part: str, said: list[str]) -> str:
    """The one word of a part: the word that all say; what is open yields to what fits it."""
    if part == "class" and _AT_LEAST in said:
        return "class-open"
    if part == "class" and "class-open" in said:
        others = [w for w in said if w != "class-open"]
        if not others:
            return ""
        return "class-open" if others in (["cat5"], ["cat6"], ["cat7"]) else _one(part, others)
    if part == "construction" and cables.SCREENED in said and len(said) == 2 and "u-utp" not in said:
        said = [w for w in said if w != cables.SCREENED]
    return said[0] if len(said) == 1 else f"{part}-{cables.CONTRADICTED}"


@cache
def _book() -> phrases.PhraseBook[tuple[Said, ...]]:
    """All phrases of the shipped file and the user's own, each with what it says."""
    shipped = schemas.load(_FILE)
    found: dict[str, dict[str, Said]] = {}
    listed = [*_categories(shipped), *_link_classes(shipped), *_gauges(shipped), *_rules(shipped)]
    listed += [(cables.folded(phrase), said) for phrase, said in _rules(_own())]
    for phrase, said in listed:
        text = "_".join(map(cables.folded, phrase.split("_")))  # an underscore: a blank that must be there
        found.setdefault(text, {})[said.part] = said
    return phrases.PhraseBook((phrase, tuple(by_part.values())) for phrase, by_part in found.items())


def _categories(tree: dict[str, Any]) -> Iterator[tuple[str, Said]]:
    of = tree["category"]
    for number, word in of["numbers"].items():
        said = Said("class", word)
        for name in of["words"]:
            if name != of["short"] or number in of["alone"]:
                yield f"{name} {number}", said
        if number in of["alone"]:
            yield number, said
        least = Said("class", _AT_LEAST)
        for name in [n for n in of["words"] if n != of["short"]]:
            yield from ((f"{name} {number} {more}", least) for more in tree["at_least"]["after"])
            yield from ((f"{more} {name} {number}", least) for more in tree["at_least"]["before"])
    for change in tree["changed"].values():
        for more in change["words"]:
            yield more, Said("class", "class-open")
            for number in change["numbers"]:
                said = Said("class", of["numbers"][number + ("e" if number == "5" else "a")])
                yield f"{number} {more}", said
                for name in of["words"]:
                    yield f"{name} {number} {more}", said
                    yield f"{more} {name} {number}", said


def _link_classes(tree: dict[str, Any]) -> Iterator[tuple[str, Said]]:
    for name in tree["link_class"]["words"]:
        for letter in tree["link_class"]["names"]:
            yield f"{name} {letter}", Said("link class", letter.upper())


def _gauges(tree: dict[str, Any]) -> Iterator[tuple[str, Said]]:
    of = tree["gauge"]
    for number in of["numbers"]:
        for name in of["words"]:
            for phrase in (f"{name} {number}", f"{number} {name}"):
                yield phrase, Said("gauge", f"awg{number}")
            for wires, conductor in of["wires"].items():
                for phrase in (f"{name} {number}/{wires}", f"{number}/{wires} {name}"):
                    yield phrase, Said("gauge", f"awg{number}")
                    yield phrase, Said("conductor", conductor)


def _rules(tree: dict[str, Any]) -> Iterator[tuple[str, Said]]:
    for rule in tree.get("rule", []):
        where = f"{words.user_folder() / _FILE}, rule"
        if not isinstance(rule, dict) or not {"part", "word", "phrases"} <= rule.keys():
            raise Trouble(
                "a rule of cable types is not complete",
                code="cable-types.incomplete-rule",
                where=where,
                expected="part, word and phrases",
            )
        part, word = str(rule["part"]), str(rule["word"])
        allowed = {"cord", "permanent"} if part == "use" else _allowed(part)
        if word not in allowed:
            raise Trouble(
                "no such cable type",
                code="cable-types.unknown-type",
                where=where,
                found=f"{part} {word}",
                expected=", ".join(sorted(allowed)) or f"one of the parts {', '.join((*cables.PARTS, 'use'))}",
            )
        for phrase in rule["phrases"]:
            yield str(phrase), Said(part, word, bool(rule.get("weak")))


def _allowed(part: str) -> frozenset[str] | set[str]:
    if part not in cables.PARTS:
        return set()
    return vocabulary.words(f"cable_{part}") | ({cables.SCREENED} if part == "construction" else set())


@cache
def _settled() -> dict[str, str]:
    """Whole texts that the user has settled."""
    settled = {cables.folded(k): str(v) for k, v in _own().get("settled", {}).items()}
    for word in settled.values():
        if not cables.valid(word):
            raise Trouble(
                "no such cable type",
                code="cable-types.unknown-type",
                where=f"{words.user_folder() / _FILE}, settled",
                found=word,
                expected="such as cat6a/f-utp/awg23/solid",
            )
    return settled


@cache
def _own() -> dict[str, Any]:
    path = words.user_folder() / _FILE
    if not path.is_file():
        return {}
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Trouble(
            "is no TOML", code="cable-types.not-toml", where=str(path), found=str(error), remedy="fix or remove it"
        ) from None


__all__ = ["UNKNOWN", "CableWords", "explained", "neutral", "recognised"]
