"""The language of the pages: the one that was chosen in the room, or the first that the browser prefers of those there
are."""

from __future__ import annotations

from collections.abc import Mapping

COOKIE = "muniment-language"
NAMES = {"en": "English", "de": "Deutsch", "fr": "Français", "es": "Español"}
"""Languages by their own names."""


def language_of(cookies: Mapping[str, str], preferred: str) -> str:
    """A language of NAMES. preferred: the header Accept-Language (RFC 9110, 12.5.4)."""
    chosen = cookies.get(COOKIE)
    if chosen in NAMES:
        return str(chosen)
    ranked = []
    for at, part in enumerate(preferred.split(",")[:20]):
        tag, _, rest = part.strip().partition(";")
        weight = rest.strip().removeprefix("q=")
        try:
            ranked.append((-float(weight) if weight else -1.0, at, tag.split("-")[0].casefold()))
        except ValueError:
            continue
    return next((tag for weight, _, tag in sorted(ranked) if tag in NAMES and weight < 0), "en")
