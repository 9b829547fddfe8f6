"""Text on one line and without blanks, by escapes: the items of a list of texts, and the cells of the CSV form.

A backslash is \\\\; a character that must not stand as itself is \\u{hex}; the empty item of a list is \\E.
"""

from __future__ import annotations

import re
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

# White space and controls of any kind, line ends of Unicode, non-characters.
_CONTROL = r"\x00-\x1f\x7f-\x9f\x{2028}\x{2029}\x{FEFF}\x{FDD0}-\x{FDEF}\x{FFFE}\x{FFFF}"
_TOKEN = rf"[\\{_CONTROL}\x20\x{{A0}}\x{{1680}}\x{{2000}}-\x{{200A}}\x{{202F}}\x{{205F}}\x{{3000}}]"
_ESCAPE = re.compile(r"\\(?:u\{([0-9a-f]{1,6})\}|(.?))", re.DOTALL)


def tokens(items: Any) -> Any:
    """Items of lists of texts (Arrow string array) as tokens without blanks."""
    return _escape_where(items, _TOKEN, "[\\s\\\\]", empty="\\E")


def untoken(token: str) -> str:
    """The item that a token stands for. Errors: ValueError for an escape that is none."""
    return "" if token == "\\E" else unescape(token)


def unescape(text: str) -> str:
    """Text without its escapes. Errors: ValueError for an escape that is none."""
    if "\\" not in text:
        return text

    def plain(match: re.Match[str]) -> str:
        digits, letter = match.groups()
        if digits is not None:
            return chr(int(digits, 16))
        if letter == "\\":
            return "\\"
        raise ValueError(f"\\{letter} is no escape")

    return _ESCAPE.sub(plain, text)


def _escape_where(texts: Any, pattern: str, _python: str, empty: str) -> Any:
    needs = pc.fill_null(pc.or_(pc.match_substring_regex(texts, pattern), pc.equal(texts, "")), False)
    if not pc.any(needs).as_py():
        return texts
    bad = re.compile(re.sub(r"\\x\{([0-9A-Fa-f]+)\}", lambda m: f"\\u{int(m[1], 16):04x}", pattern))
    out = [
        (escape(text, bad) or empty) if mark else text
        for text, mark in zip(texts.to_pylist(), needs.to_pylist(), strict=True)
    ]
    return pa.array(out, type=pa.string())


def escape(text: str, bad: re.Pattern[str]) -> str:
    """Text with every character that `bad` matches escaped; it must match the backslash."""
    return bad.sub(lambda m: "\\\\" if m[0] == "\\" else f"\\u{{{ord(m[0]):x}}}", text)
