"""Text on one line, by escapes: the items of a list of texts in both open forms, and the cells of the CSV form.

A backslash is written \\\\ ; a character that must not appear as itself \\u{hex}; the empty text \\E.
"""

from __future__ import annotations

import re

import pyarrow as pa
import pyarrow.compute as pc

EMPTY = "\\E"

# Controls, the line and paragraph separators of Unicode, the byte order mark, and every non-character
# (Unicode 16, section 23.7): what breaks a line or gets lost between programs.
_CONTROL = r"\x00-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufdd0-\ufdef" + "".join(
    f"\\U{plane * 0x10000 + 0xFFFE:08x}\\U{plane * 0x10000 + 0xFFFF:08x}" for plane in range(17)
)
# What a spreadsheet takes for the beginning of a formula (OWASP, CSV injection), full width too.
_FORMULA = "=+\\-@\uff1d\uff0b\uff0d\uff20"
_BLANK = r"\x20\u00a0\u1680\u2000-\u200a\u202f\u205f\u3000"

_CELL = re.compile(rf"^[{_FORMULA}]|[\\{_CONTROL}]")
_TOKEN = re.compile(rf"^[{_FORMULA}]|[\\{_CONTROL}{_BLANK}]")
_ESCAPE = re.compile(r"\\(?:u\{([0-9a-f]{1,6})\}|(.?))", re.DOTALL)


def cells(texts: pa.Array) -> pa.Array:
    """Texts (Arrow string array) as cells of one line, blanks kept; nulls stay null."""
    return _escaped(texts, _CELL)


def tokens(items: pa.Array) -> pa.Array:
    """Items of lists of texts (Arrow string array) as tokens without blanks."""
    return _escaped(items, _TOKEN)


def uncell(cell: str) -> str:
    """The text that a cell or a token stands for. Errors: ValueError for an escape that is none."""
    if cell == EMPTY:
        return ""
    return _ESCAPE.sub(_plain, cell) if "\\" in cell else cell


def _plain(match: re.Match[str]) -> str:
    digits, letter = match.groups()
    if digits is not None:
        code = int(digits, 16)
        if code > 0x10FFFF or 0xD800 <= code <= 0xDFFF:
            raise ValueError(f"\\u{{{digits}}} is no character")
        return chr(code)
    if letter == "\\":
        return "\\"
    raise ValueError(f"\\{letter} is no escape")


def _escaped(texts: pa.Array, bad: re.Pattern[str]) -> pa.Array:
    """Texts with the characters that `bad` matches escaped, and the empty text as its mark."""
    needs = pc.or_(pc.match_substring_regex(texts, _re2(bad.pattern)), pc.equal(texts, ""))
    needs = pc.fill_null(needs, False)
    if not pc.any(needs).as_py():
        return texts
    out = [
        (bad.sub(_escape, text) or EMPTY) if mark else text
        for text, mark in zip(texts.to_pylist(), needs.to_pylist(), strict=True)
    ]
    return pa.array(out, type=pa.string())


def _escape(match: re.Match[str]) -> str:
    return "\\\\" if match[0] == "\\" else f"\\u{{{ord(match[0]):x}}}"


def _re2(pattern: str) -> str:
    """A pattern of Python in the writing of RE2, which Arrow uses."""
    return re.sub(r"\\u([0-9a-f]{4})|\\U([0-9a-f]{8})", lambda m: f"\\x{{{m[1] or m[2]}}}", pattern)
