"""The words that exports use, from schemas/words.toml and the user's own words.toml, and how words are compared."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import platformdirs

from archive import schemas
from archive.errors import Trouble
from archive.vocabulary.phrases import phrase, tokens

_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa", "ø": "oe"})


class WordMeaning(NamedTuple):
    """What a word may mean: kind (parameter, field, end ...), the meaning's id, the language it stands under."""

    kind: str
    id: str
    language: str


def user_folder() -> Path:
    """The user's own folder of mappings, words and cable types (it need not exist)."""
    return Path(platformdirs.user_data_dir("muniment", appauthor=False))


ANSWERED = "answered.toml"
"""File of the user's folder with words that were answered to drafts."""


@cache
def sources() -> tuple[dict[str, Any], ...]:
    """The word files: the program's and, where there are any, the user's. Errors: Trouble for a broken user file."""
    return tuple(x for x in (schemas.load("words.toml"), _own("words.toml"), answered()) if x)


def answered() -> dict[str, Any]:
    """Words that the user answered to earlier drafts; empty where there are none. Errors: Trouble for a broken file."""
    return _own(ANSWERED)


def _own(name: str) -> dict[str, Any]:
    own = user_folder() / name
    if not own.is_file():
        return {}
    try:
        return tomllib.loads(own.read_text("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise Trouble(
            "the user's word file is no TOML",
            code="user-words.not-toml",
            where=str(own),
            found=str(error),
            remedy="fix or remove it",
        ) from None


@cache
def phrases() -> dict[str, tuple[WordMeaning, ...]]:
    """Every phrase of the word files, folded, with its meanings."""
    found: dict[str, dict[WordMeaning, None]] = {}
    for source in sources():
        for kind, meanings in source.items():
            for name, languages in meanings.items() if kind != "unit" else ():
                for language, listed in languages.items():
                    meaning = WordMeaning(kind, name, language)
                    for form in (form for word in listed for form in _forms(word)):
                        found.setdefault(form, {})[meaning] = None
    return {form: tuple(meant) for form, meant in found.items()}


@cache
def longest() -> int:
    """Words in the longest phrase."""
    return max(p.count(" ") + 1 for p in phrases())


_MOST_LETTERS = 2000
"""A longer text is no phrase: a curve in a cell, or a comment."""


def meanings(text: str, *kinds: str) -> tuple[WordMeaning, ...]:
    """Meanings of a whole phrase, of the named kinds (all where none is named)."""
    if len(text) > _MOST_LETTERS:
        return ()
    found = phrases().get(phrase(text)) or phrases().get(" ".join(tokens(text))) or ()
    return tuple(m for m in found if not kinds or m.kind in kinds)


def meaning(text: str, kind: str) -> str | None:
    """The one meaning of a phrase within a kind, or None where it has none or several."""
    ids = {m.id for m in meanings(text, kind)}
    return ids.pop() if len(ids) == 1 else None


@cache
def plain(name: str) -> frozenset[str]:
    """Folded phrases of [plain.<name>]: empty, summary, page, filler, yes, no."""
    return frozenset(p for p, ms in phrases().items() if any(m.kind == "plain" and m.id == name for m in ms))


@cache
def empties() -> frozenset[str]:
    """Cells that stand for nothing, exactly as written there, in small letters."""
    out: set[str] = set()
    for source in sources():
        for listed in source.get("plain", {}).get("empty", {}).values():
            out.update(w.casefold() for w in listed)
    return frozenset(out)


def _forms(word: str) -> set[str]:
    """A phrase as exports write it: cut at digits and capitals too, without blanks, with ae for an a umlaut."""
    lower = word.casefold()
    usual, spelt_out = phrase(word), lower.translate(_UMLAUTS)
    if not usual:
        return {lower}
    return {usual, " ".join(tokens(word)), usual.replace(" ", ""), phrase(spelt_out)} - {""}
