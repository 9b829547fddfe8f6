"""The phrases that name limits, and an export's words in the form in which those are found."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from archive import schemas
from archive.vocabulary.phrases import PhraseBook, fold

RULES = "limit-words.toml"
_SIGNS = re.compile(r"[^\w.]+")
_POINTS = re.compile(r"(?<!\d)(?<![^a-z][a-z])\.|\.(?!\d)")


def rules() -> dict[str, Any]:
    """The declared rules. Do not change what it returns."""
    return schemas.load(RULES)


def normal(text: str, *, phrase: bool = False) -> str:
    """Words in their normal form: see schemas/limit-words.toml.

    phrase: for a phrase of the rules, whose underscores stay.
    """
    if not phrase:
        text = unicodedata.normalize("NFC", text).lower()
        for rule in rules()["spelling"]:
            text = re.sub(rule["find"], rule["put"], text)
        text = text.replace("_", " ")
    return " ".join(_POINTS.sub(" ", f" {_SIGNS.sub(' ', fold(text))} ").split())


@dataclass(frozen=True)
class Found:
    """A phrase found in some words, and what it means: (facet, values)."""

    facet: str
    values: tuple[str, ...]
    words: str


def take(text: str) -> tuple[list[Found], str]:
    """All phrases in words of normal form, and what is left of the words."""
    found, left = all_phrases().take(text)
    return [Found(facet, values, words) for (facet, values), words in found], left


@cache
def all_phrases() -> PhraseBook[tuple[str, tuple[str, ...]]]:
    """Every phrase of the rules, with its facet and values."""
    return PhraseBook((normal(words, phrase=True), (facet, values)) for words, facet, values in _declared())


def _declared() -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Phrases as the rules give them, with facet and values."""
    table = rules()
    for name, document in table["document"].items():
        yield from ((words, "document", (name,)) for words in document["words"])
    for kind in ("category", "class"):
        for name, values in table[kind]["names"].items():
            yield from ((f"{before} {name}", "designation", tuple(values)) for before in table[kind]["before"])
        yield from ((name, f"alone {kind}", tuple(values)) for name, values in table[kind]["alone"].items())
    for name, listed in table["configuration"].items():
        yield from ((words, "configuration", (name,)) for words in listed)
    for count, numbers in table["connections"]["numbers"].items():
        for noun in table["connections"]["nouns"]:
            yield from ((f"{number} {noun}", "connections", (count,)) for number in numbers)
    for count, listed in table["connections"]["words"].items():
        yield from ((words, "connections", (count,)) for words in listed)
    for name, listed in table["application"].items():
        yield from ((words, "application", (name,)) for words in listed)
    yield from ((words, "application", tuple(values)) for words, values in table["application_either"].items())
    for facet in ("altered", "ignored"):
        yield from ((words, facet, ()) for words in table[facet]["words"])
