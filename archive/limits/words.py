"""Finding the limit that an export's words mean. The rules stand in schemas/limit-words.toml."""

from __future__ import annotations

from dataclasses import dataclass

from archive.limits.library import candidates, ids


@dataclass(frozen=True)
class Resolution:
    """What some words mean: a limit id, or None with the candidates and the reason why it is not decided."""

    limit_id: str | None
    candidates: tuple[str, ...]
    reason: str


def find(words: str, tested_on: str | None = None) -> Resolution:
    """The limit that some words mean; never a guess.

    words: the words of an export, or an id. tested_on: ISO 8601 date of the test, where it is known.
    """
    text = words.strip().lower()
    if text in ids():
        return Resolution(text, (text,), "an id")
    several = candidates(text) if text else ()
    if several:
        return Resolution(None, several, "these words name several limits")
    return Resolution(None, (), "no limit of the library has these words")
