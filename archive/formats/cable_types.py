"""Free words about a cable to its brand-neutral type, by rules in schemas/cable-types.toml and the user's own file."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any

from archive import schemas, vocabulary
from archive.errors import Trouble
from archive.formats.base import words
from archive.vocabulary import phrases

PARTS = ("class", "construction", "gauge", "conductor", "sheath")
"""Parts of a type in their order, joined by "/"; all but the first may be missing."""

UNKNOWN = "unknown"
_FILE = "cable-types.toml"


@dataclass(frozen=True)
class _Rule:
    type: str
    pattern: re.Pattern[str]


def words_of(found: str) -> str:
    """Words of a cable for the rules: small letters, no accents, one blank for anything but letters, digits, . and /"""
    text = phrases.fold(found).replace("Ω", " ohm ")
    return re.sub(r"\s+", " ", re.sub(r"[^\w./]+|_", " ", text)).strip()


@lru_cache(maxsize=16384)
def neutral(found: str) -> str:
    """The brand-neutral type of some words, such as cat6a/f-utp/awg23/solid; "unknown" where its class is not decided.

    Errors: Trouble where the user's own file is not right.
    """
    text = words_of(found)
    if text in _settled():
        return _settled()[text]
    parts = [_decide(part, text) for part in PARTS]
    if not parts[0]:
        return UNKNOWN
    return "/".join(p for p in parts if p)


def _decide(part: str, text: str) -> str:
    """The answer of the first rule that matches; "" where none does, or where words beside it say otherwise."""
    answer = ""
    spans: list[tuple[int, int]] = []
    for rule in _rules()[part]:
        for match in rule.pattern.finditer(text):
            if any(match.start() < b and a < match.end() for a, b in spans):
                continue
            said = rule.type.replace("{1}", next((g for g in match.groups() if g), ""))
            spans.append(match.span())
            if answer and said != answer:
                return "" if part != "class" or not _narrower(answer, said) else answer
            answer = answer or said
    return answer


def _narrower(first: str, other: str) -> bool:
    """om1 and a core of 62.5 say the same twice; cat6a and cat6 do not."""
    return first[:2] == other[:2] == "om" and "om1" not in (first, other)


@cache
def _rules() -> dict[str, tuple[_Rule, ...]]:
    own = _own()
    shipped = schemas.load(_FILE)
    return {p: (*_compiled(own, p), *_compiled(shipped, p)) for p in PARTS}


def _compiled(tree: dict[str, Any], part: str) -> list[_Rule]:
    known = vocabulary.words(f"cable_{part}")
    out = []
    for rule in tree.get(part, []):
        where = f"{words.user_folder() / _FILE}, {part}"
        if not isinstance(rule, dict) or not {"type", "pattern"} <= set(rule):
            raise Trouble(
                "a rule of cable types is not complete",
                code="cable-types.incomplete-rule",
                where=where,
                expected="type and pattern",
            )
        if rule["type"] not in known and rule["type"] != "awg{1}":
            raise Trouble(
                "no such cable type",
                code="cable-types.unknown-type",
                where=where,
                found=str(rule["type"]),
                expected=", ".join(sorted(known)),
            )
        try:
            out.append(_Rule(rule["type"], re.compile(rule["pattern"])))
        except re.error as error:
            raise Trouble(
                "is no regular expression",
                code="cable-types.not-a-pattern",
                where=where,
                found=f"{rule['pattern']}: {error}",
            ) from None
    return out


@cache
def _settled() -> dict[str, str]:
    """Whole texts that the user has settled."""
    return {words_of(k): str(v) for k, v in _own().get("settled", {}).items()}


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
