"""Words in a normal form, and phrases found in them: whole ones, longest first."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import Any

from archive import schemas

RULES = "limit-words.toml"
_TAKEN = "\n"  # stands where a phrase was taken; no phrase matches across it
_LETTERS = {"ł": "l", "ø": "o", "đ": "d", "ᴀ": "a", "ꜰ": "f", "ᴇ": "e"}


def rules() -> dict[str, Any]:
    """The declared rules. Do not change what it returns."""
    return schemas.load(RULES)


def normal(text: str, *, phrase: bool = False) -> str:
    """Words in their normal form: see schemas/limit-words.toml.

    phrase: for a phrase of the rules, whose underscores stay.
    """
    text = unicodedata.normalize("NFC", text).lower()
    if not phrase:
        for rule in rules()["spelling"]:
            text = re.sub(rule["find"], rule["put"], text)
        text = text.replace("_", " ")
    text = unicodedata.normalize("NFKD", "".join(_LETTERS.get(letter, letter) for letter in text.replace("ß", "ss")))
    text = "".join(letter for letter in text if not unicodedata.combining(letter))
    text = "".join(letter if letter.isalnum() or letter in "._" else " " for letter in text.casefold())
    text = re.sub(r"(?<!\d)(?<![^a-z][a-z])\.|\.(?!\d)", " ", f" {text} ")
    return " ".join(text.split())


@dataclass(frozen=True)
class Phrase:
    """A phrase of the rules and what it means: (facet, values)."""

    text: str
    facet: str
    values: tuple[str, ...]
    pattern: re.Pattern[str]


@dataclass(frozen=True)
class Found:
    """A phrase found in some words."""

    facet: str
    values: tuple[str, ...]
    words: str


def take(text: str) -> tuple[list[Found], str]:
    """All phrases in words of normal form, and what is left of the words."""
    found = []
    for phrase in all_phrases():
        while match := phrase.pattern.search(text):
            found.append(Found(phrase.facet, phrase.values, match.group()))
            text = text[: match.start()] + _TAKEN + text[match.end() :]
    return found, " ".join(text.split())


@cache
def all_phrases() -> tuple[Phrase, ...]:
    """Every phrase of the rules, longest first."""
    table = rules()
    rows: list[tuple[str, str, tuple[str, ...]]] = []
    for name, document in table["document"].items():
        rows += [(words, "document", (name,)) for words in document["words"]]
    for kind in ("category", "class"):
        for name, values in table[kind]["names"].items():
            rows += [(f"{before} {name}", "designation", tuple(values)) for before in table[kind]["before"]]
        rows += [(name, f"alone {kind}", tuple(values)) for name, values in table[kind]["alone"].items()]
    for name, listed in table["configuration"].items():
        rows += [(words, "configuration", (name,)) for words in listed]
    rows += _connections(table["connections"])
    for name, listed in table["application"].items():
        rows += [(words, "application", (name,)) for words in listed]
    rows += [(words, "application", tuple(values)) for words, values in table["application_either"].items()]
    rows += [(words, facet, ()) for facet in ("altered", "ignored") for words in table[facet]["words"]]
    made = {normal(words, phrase=True): Phrase(words, facet, values, _pattern(words)) for words, facet, values in rows}
    return tuple(made[text] for text in sorted(made, key=lambda t: (-len(t.replace(" ", "")), t)))


def _connections(table: dict[str, Any]) -> Iterable[tuple[str, str, tuple[str, ...]]]:
    for count, numbers in table["numbers"].items():
        for number in numbers:
            yield from ((f"{number} {noun}", "connections", (count,)) for noun in table["nouns"])
    for count, listed in table["words"].items():
        yield from ((words, "connections", (count,)) for words in listed)


def _pattern(words: str) -> re.Pattern[str]:
    """The phrase as a whole; a blank in it may be missing, an underscore must be a blank."""
    inner = re.escape(normal(words, phrase=True)).replace(r"\ ", " ?").replace("_", " ")
    return re.compile(rf"(?<![a-z0-9.]){inner}(?![a-z0-9]|\.[a-z0-9])")
