"""Foreign text for a person: labels, names and paths out of exports, with nothing in them that a terminal obeys.

What a terminal obeys is shown as an escape of JSON (`\\u202e`), on a terminal and through a pipe. Inside a JSON
document that escape stands for the same character, so that what `--json` prints stays exact.
"""

from __future__ import annotations

import re
import sys
from typing import Any

_OBEYED = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
"""Control characters but tab and line feed, other ends of lines, what turns the direction of writing, and bytes that
are no text."""

_SHORT = str.maketrans({"\n": "\\n", "\r": "\\r", "\t": "\\t"})


def plain(text: str) -> str:
    """The text with an escape for each character that a terminal would obey. Tabs and line feeds stay."""
    return _OBEYED.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def one_line(text: str) -> str:
    """As plain, and with tabs and line feeds as escapes too: one record, one line."""
    return plain(text.translate(_SHORT))


class Plain:
    """A text stream that writes plain text, for the standard output. exact: the stream below it."""

    def __init__(self, exact: Any) -> None:
        self.exact = exact

    def write(self, text: str) -> int:
        self.exact.write(plain(text))
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.exact, name)


def exact_output() -> Any:
    """The standard output for a file that a program reads, such as a CSV: plain on a terminal alone."""
    return sys.stdout if sys.stdout.isatty() else getattr(sys.stdout, "exact", sys.stdout)
