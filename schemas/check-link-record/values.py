"""Cells of link record XML: what each type takes, and its one lexical form (schemas/README.md, Lexical forms)."""

import base64
import binascii
import math
import re
from datetime import datetime
from decimal import Decimal
from functools import lru_cache

BLANKS = " \t\r\n"
_SPLIT = re.compile("[ \t\r\n]+")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_NO_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)[eE][+-]?")
_WHOLE = re.compile("[+-]?[0-9]+")
_INSTANT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z")

# XML 1.0 (5th edition), production [2]: what no document can hold.
_UNHOLDABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
# Canonical XML 1.0, section 2.3.
_IN_ATTRIBUTE = {"&": "&amp;", "<": "&lt;", '"': "&quot;", "\t": "&#x9;", "\n": "&#xA;", "\r": "&#xD;"}
_IN_TEXT = {"&": "&amp;", "<": "&lt;", ">": "&gt;", "\r": "&#xD;"}

_NONCHARACTERS = "\ufdd0-\ufdef" + "".join(chr(p * 0x10000 + 0xFFFE) + chr(p * 0x10000 + 0xFFFF) for p in range(17))
_BLANK = " \u00a0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000"
_ESCAPED = re.compile(f"^[=+@\\-\uff1d\uff0b\uff0d\uff20]|[\\\\\x00-\x1f\x7f-\x9f\ufeff{_NONCHARACTERS}{_BLANK}]")
_ESCAPE = re.compile(r"\\(?:u\{([0-9a-f]{1,6})\}|(.?))", re.DOTALL)


class Refused(Exception):
    """A cell that the schema does not allow: the document is no link record. found, expected."""

    def __init__(self, found, expected):
        super().__init__(found)
        self.found, self.expected = found, expected


class Aside(Refused):
    """A cell that the schema lets through and no table can hold: its record is set aside."""


def split(text):
    """Items of a list, at XML white space."""
    text = text.strip(BLANKS)
    return _SPLIT.split(text) if text else []


@lru_cache(maxsize=1 << 16)
def number(text):
    """The lexical form of a number. Errors: Refused, Aside."""
    if not _NUMBER.fullmatch(text):
        why = Aside if text in ("NaN", "INF", "-INF") or _NO_NUMBER.fullmatch(text) else Refused
        raise why(text, "a finite number such as 35.4")
    value = float(text)
    if not math.isfinite(value):
        raise Aside(text, "a number within the range of a double")
    return written(value)


def written(value):
    """A finite double in its lexical form: the fewest digits, positional from 1e-6 to below 1e10."""
    sign, digits, exponent = Decimal(repr(value)).normalize().as_tuple()
    minus = "-" if sign else ""
    if not value:
        return minus + "0"
    text = "".join(map(str, digits))
    power = len(text) - 1 + exponent
    if not -6 <= power <= 9:
        rest = "." + text[1:] if len(text) > 1 else ""
        return f"{minus}{text[0]}{rest}e{'-' if power < 0 else '+'}{abs(power)}"
    if exponent >= 0:
        return minus + text + "0" * exponent
    if power < 0:
        return f"{minus}0.{'0' * (-power - 1)}{text}"
    return f"{minus}{text[: power + 1]}.{text[power + 1 :]}"


def _whole(text):
    if not _WHOLE.fullmatch(text) or len(text.lstrip("+-0")) > 19 or not -(2**63) <= int(text) < 2**63:
        raise Refused(text, "a whole number from -2^63 to 2^63-1")
    return str(int(text))


def _instant(text):
    expected = "an instant such as 2019-03-04T10:15:00.000Z"
    if not _INSTANT.fullmatch(text):
        raise Refused(text, expected)
    if text[11:] == "24:00:00.000Z":
        raise Aside(text, "midnight as 00:00 of the next day")
    try:
        datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ")
    except ValueError:
        raise Refused(text, expected) from None
    return text


def _item(text):
    """An item of a list of texts, its escapes undone and done anew. Errors: Aside."""
    return _ESCAPED.sub(_escape, "" if text == "\\E" else _ESCAPE.sub(_plain, text)) or "\\E"


def _plain(match):
    digits, letter = match.groups()
    code = int(digits, 16) if digits is not None else -1
    if 0 <= code <= 0x10FFFF and not 0xD800 <= code <= 0xDFFF:
        return chr(code)
    if letter != "\\":
        raise Aside(match[0], "one of the escapes \\\\, \\E, \\u{hex}")
    return letter


def _escape(match):
    return "\\\\" if match[0] == "\\" else f"\\u{{{ord(match[0]):x}}}"


def cell(kind, words, text, holes=False):
    """A cell of a column in its lexical form. holes: - stands for a missing point. Errors: Refused, Aside."""
    if kind in ("text", "key"):
        return text
    if kind == "word":
        if text not in words:
            listed = words if len(words) <= 12 else [*words[:12], f"or one of {len(words) - 12} more"]
            raise Refused(text, " | ".join(listed))
        return text
    if kind == "reals":
        return " ".join(t if holes and t == "-" else number(t) for t in split(text))
    if kind == "ints":
        return " ".join(_whole(t) for t in split(text))
    if kind == "texts":
        return " ".join(_item(t) for t in split(text))
    text = text.strip(BLANKS)
    if kind == "real":
        return number(text)
    if kind == "int":
        return _whole(text)
    if kind == "instant":
        return _instant(text)
    if text not in ("true", "false", "1", "0"):
        raise Refused(text, "true or false")
    return "true" if text in ("true", "1") else "false"


def decoded(text):
    """The text that base64 of its UTF-8 stands for. Errors: Aside."""
    try:
        return base64.b64decode(text, validate=True).decode("utf-8")
    except (binascii.Error, UnicodeError, ValueError):
        raise Aside(text, "base64 of UTF-8") from None


def held(text):
    """Text as XML holds it, and whether it stands as base64."""
    if _UNHOLDABLE.search(text):
        return base64.b64encode(text.encode("utf-8")).decode("ascii"), True
    return text, False


def in_attribute(text):
    """Text escaped as Canonical XML escapes it in an attribute."""
    return "".join(_IN_ATTRIBUTE.get(c, c) for c in text) if any(c in text for c in _IN_ATTRIBUTE) else text


def in_text(text):
    """Text escaped as Canonical XML escapes it in content."""
    return "".join(_IN_TEXT.get(c, c) for c in text) if any(c in text for c in _IN_TEXT) else text
