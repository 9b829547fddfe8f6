"""Foreign text for a terminal: labels, names and paths out of exports, with nothing in them that a terminal obeys."""

from __future__ import annotations

import re
from typing import Any

_OBEYED = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
"""Control characters but tab and line feed, what turns the direction of writing, and bytes that are no text."""


def plain(text: str) -> str:
    """The text with a question mark for each character that a terminal would obey."""
    return _OBEYED.sub("?", text)


class Plain:
    """A text stream that writes plain text, for a standard output that is a terminal."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        self._stream.write(plain(text))
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)
