"""What the cells of a column look like: numbers, dates, verdicts, names of pairs, ends or parameters, or free text."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from archive.formats.base import dates, numbers, units, words
from archive.formats.cable_types import recognised
from archive.formats.mapping import verdicts
from archive.vocabulary import phrases

_NUMBER = re.compile(r"^[<>≤≥]?=?\s*[+\-−]?\d[\d.,\u00a0\u202f ']*(?:[eE][+-]?\d+)?\s*(?:[^\W\d_]{1,5}|%|°C|Ω)?[.*]?$")
_LIMIT = re.compile(
    r"\b(?:cat(?:egory|egorie|egoria)?|kat(?:egorie)?|class|klasse|classe|clase|tia|iso|iec|en ?50173|tsb|ieee|"
    r"\d+g?base)\b|\b\d+(?:base|gbase)|カテゴリ|クラス",
    re.IGNORECASE,
)


@dataclass
class Profile:
    """Of a sample of cells: how many hold anything, the distinct ones, and what they are.

    numeric: share that are numbers; values: the numbers (NaN elsewhere); unit: one that the cells write; decimal: the
    mark that the cells prove, or "". dates: patterns that read them all. verdicts, cables, limits: shares.
    """

    n: int
    filled: int
    distinct: list[str]
    numeric: float = 0.0
    values: Any = None
    unit: str = ""
    negative: float = 0.0
    """Share of the numbers, in lists too, that are below zero."""
    censored: bool = False
    decimals: int = 0
    dates: list[str] = field(default_factory=list)
    verdicts: float = 0.0
    cables: float = 0.0
    limits: float = 0.0
    lists: float = 0.0
    separator: str = ""
    """What parts the numbers of a list that holds no blanks."""
    rising: bool = False
    """Lists of numbers that rise."""
    encoding: str = ""
    """How encoded arrays of numbers are written, where the cells are such."""
    texts: list[str] = field(default_factory=list)

    @property
    def constant(self) -> bool:
        """One value everywhere."""
        return len(self.distinct) == 1

    @property
    def unique(self) -> float:
        """Distinct cells over filled ones."""
        return len(self.distinct) / self.filled if self.filled else 0.0

    def meanings(self, kind: str) -> dict[str, str]:
        """Distinct cells that are words of a kind, with what they mean."""
        return {w: m for w in self.distinct if (m := words.meaning(w, kind))}


def profile(cells: Sequence[Any], decimal: str = ".", thousands: str = "") -> Profile:
    """The profile of some cells (text, numbers, lists or None)."""
    texts = [_text(c) for c in cells]
    empty = words.empties()
    filled = [t for t in texts if t and (t[0].isdigit() or t.casefold() not in empty)]
    distinct = list(dict.fromkeys(filled))
    out = Profile(len(cells), len(filled), distinct, texts=filled[:400])
    if not filled:
        out.values = np.full(len(cells), np.nan)
        return out
    # Each distinct text is looked at once: columns of numbers repeat them by the hundred.
    listed = {t: _is_list(t) for t in distinct}
    out.lists = sum(_numbers(c) or listed.get(t, False) for c, t in zip(cells, texts, strict=True)) / len(filled)
    if out.lists < 0.5 and len(filled[0]) > 24:
        out.encoding = encoding_of(distinct[:12])
        out.lists = 1.0 if out.encoding else out.lists
    if len(filled[0]) > 15 and all(is_points(t, decimal) for t in distinct[:12]):
        out.encoding, out.lists = "pairs", 1.0
    if out.lists > 0.5 and not out.encoding:
        out.separator = _separator(distinct[:12], decimal)
    out.rising = out.lists > 0.8 and all(_rises(c) for c in [c for c in cells if c is not None][:12])
    writing = numbers.Writing(decimal, thousands, words.empties())
    read = {t: _number(t, writing, out) for t in dict.fromkeys(texts)}
    out.values = np.array([read[t] for t in texts])
    out.numeric = float(np.isfinite(out.values).sum()) / len(filled)
    finite = out.values[np.isfinite(out.values)]
    if out.lists > 0.5:
        finite = _listed([c for c in cells if c not in (None, "")][:_LISTS], out, decimal)
    out.negative = float((finite < 0).mean()) if len(finite) else 0.0
    if out.lists > 0.5 and min(map(len, distinct[:12])) > 400:
        return out  # Curves: no dates, words, cables or limits.
    some = distinct[:300]
    if out.numeric < 0.8 or all(re.fullmatch(r"\d{8}|\d{14}", t) for t in some):
        out.dates = date_patterns(some)
    out.verdicts = sum(verdicts.general(t) != (None, False) for t in some) / len(some)
    if out.numeric < 0.5 and out.lists < 0.5:
        out.cables = sum(recognised(t) for t in some) / len(some)
        out.limits = sum(bool(_LIMIT.search(phrases.fold(t)) or _LIMIT.search(t)) for t in some) / len(some)
    return out


_LISTS = 12
"""Lists of a column whose numbers are looked at."""


def _listed(cells: Sequence[Any], out: Profile, decimal: str) -> Any:
    """The numbers in some lists, as float64: of points, their values."""
    from archive.formats.mapping.build.cell_arrays import decoded

    found: list[float] = []
    for cell in cells:
        if isinstance(cell, list):
            found += [x for x in cell if isinstance(x, int | float)]
        elif out.encoding not in ("", "pairs"):
            found += decoded(cell, out.encoding).tolist()
        else:
            plain = re.sub(r"(?<=\d),(?=\d)", ".", cell) if decimal == "," else cell
            read = [float(x) for x in re.findall(r"(?<![\d.])[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?", plain)]
            found += read[1::2] if out.encoding else read
    return np.array(found, dtype=np.float64)


_POINT = r"[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?"
_POINTS = tuple(
    re.compile(rf"\s*(?:[(\[{{]?\s*{_POINT}{inner}{_POINT}\s*[)\]}}]?{outer})+$")
    for inner, outer in (
        (r"\s*[:=/@]\s*[<>]?", r"(?:[\s;,|]+|$)"),
        (r"[;|][<>]?", r"(?:\s+|$)"),
        (r",\s?[<>]?", r"(?:[\s;|]+|$)"),
        (r"\s+[<>]?", r"(?:\s*[;|,]\s*|$)"),
    )
)
"""Points in one cell: frequency and value with a mark between them, and another mark or blanks between points."""


_POINTS_COMMA = tuple(
    re.compile(rf"\s*(?:[(\[{{]?\s*{_POINT}{inner}{_POINT}\s*[)\]}}]?{outer})+$")
    for inner, outer in (
        (r"\s*[:=/@]\s*[<>]?", r"(?:[\s;|]+|$)"),
        (r"[;|][<>]?", r"(?:\s+|$)"),
        (r"\s+[<>]?", r"(?:\s*[;|]\s*|$)"),
    )
)
"""The same where a comma parts decimals, and so no points."""


def is_points(cell: str, decimal: str = ".") -> bool:
    """Whether a cell is a curve of points, such as "1.0;65.1 1.15;64.2": four or more, their frequencies rising."""
    text = cell[:4000]
    if len(cell) > 4000:
        text = re.sub(r"\S*$", "", text) if re.search(r"\s", text[3900:]) else re.sub(r"[^;,|]*$", "", text)
    listed = _POINTS_COMMA if decimal == "," else _POINTS
    if not any(p.match(text.rstrip(" ;,|")) for p in listed):
        return False
    plain = re.sub(r"(?<=\d),(?=\d)", ".", text) if decimal == "," else text
    found = [float(x) for x in re.findall(r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?", plain)]
    frequencies = found[0 : len(found) // 2 * 2 : 2]
    return len(frequencies) >= 4 and all(x < y for x, y in pairwise(frequencies))


def _rises(cell: Any) -> bool:
    found = cell if isinstance(cell, list) else re.findall(r"[-+]?\d+(?:[.,]\d+)?", str(cell)[:4000])
    values = [float(str(x).replace(",", ".")) for x in found if x is not None]
    return len(values) >= 2 and all(a < b for a, b in pairwise(values))


_ENCODINGS = tuple(
    f"{text}{packed}-{kind}-{order}"
    for text in ("base64", "hex")
    for packed in ("", "-zlib")
    for kind in ("float32", "float64", "int16/100", "int16/10", "int32/100", "int32/1000")
    for order in ("le", "be")
)


def encoding_of(cells: Sequence[str]) -> str:
    """How encoded arrays are written, by what makes plausible numbers of all of them; "" where nothing does."""
    if not all(re.fullmatch(r"[A-Za-z0-9+/=\s]{24,}", c) for c in cells):
        return ""
    from archive.formats.mapping.build.cell_arrays import decoded

    for encoding in _ENCODINGS:
        try:
            arrays = [decoded(c, encoding) for c in cells]
        except ValueError:
            continue
        if all(len(a) >= 3 and np.isfinite(a).all() and (np.abs(a) < 3000).all() and _smooth(a) for a in arrays):
            return encoding
    return ""


def _smooth(values: Any) -> bool:
    """Neighbours are near each other, as in a curve or an axis, and not denormal noise."""
    spread = float(np.ptp(values))
    size = float(np.abs(values).max())
    return size > 1e-3 and (spread == 0 or float(np.median(np.abs(np.diff(values)))) < 0.35 * spread)


def date_patterns(distinct: Sequence[str]) -> list[str]:
    """Patterns that read all of some distinct cells; dotted dates are written day first."""
    found = dates.patterns_for(distinct)
    if len(found) > 1 and any("DD.MM" in p for p in found):
        found = [p for p in found if "DD.MM" in p]
    past = [p for p in found if not _in_the_future(distinct, p)] if len(found) > 1 else []
    return past or found


def _in_the_future(distinct: Sequence[str], pattern: str) -> bool:
    """Whether a pattern reads a cell as a day that is yet to come: nothing was tested then."""
    latest = (datetime.now(UTC) + timedelta(days=2)).date().isoformat()
    return any((when := dates.read(c, pattern)) is not None and when.local[:10] > latest for c in distinct)


def _text(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, list):
        return " ".join("" if c is None else f"{c:g}" if isinstance(c, int | float) else str(c) for c in cell[:50])
    from archive.formats.mapping.rows.columns import cell_text

    return cell_text(cell) or ""


def _numbers(cell: Any) -> bool:
    return isinstance(cell, list) and any(isinstance(x, int | float) for x in cell)


_ONE = re.compile(r"[-+<>]?\d+(?:\.\d+)?")


def _is_list(text: str) -> bool:
    """Five numbers or more, parted by blanks or marks. In time that grows with the text: a pattern for all of it tried
    every way to take a comma, for that of decimals or for a mark between numbers."""
    parts = re.split(r"[\s;|,]+", text.strip().rstrip(";"))
    return len(parts) > 4 and all(map(_ONE.fullmatch, parts))


def _separator(some: Sequence[str], decimal: str) -> str:
    """The mark that parts the numbers of some lists, where blanks do not."""
    marks = [m for m in ";|," if m != decimal and all(t.count(m) > 3 for t in some)]
    grouped = any(re.search(r"\d[ \u00a0\u202f]\d{3}\b", t) for t in some)
    if any(re.search(r"\d\s+[-+]?\d", t) for t in some) and not (marks and grouped):
        return ""
    return marks[0] if marks else next((m for m in ";|," if m != decimal and all(m in t for t in some)), "")


def _number(text: str, writing: numbers.Writing, out: Profile) -> float:
    if not text or not _NUMBER.match(text):
        return float("nan")
    plain = text
    if writing.thousands:
        mark = re.escape(writing.thousands) if writing.thousands.strip() else "[ \u00a0\u202f]"
        plain = re.sub(rf"(?<=\d){mark}(?=\d\d\d)", "", plain)
    if writing.decimal == ",":
        plain = plain.replace(",", ".")
    one = numbers.cell_number(plain.replace("−", "-"))
    if one is None:
        return float("nan")
    out.censored |= one[1] != 0
    if one[3] and not out.unit:
        out.unit = one[3]
    elif one[3] and one[3] != out.unit and units.units()[one[3]].dimension != units.units()[out.unit].dimension:
        out.unit = ""
    digits = re.sub(r"[^\d.]", "", plain)
    out.decimals = max(out.decimals, len(digits.partition(".")[2]))
    return one[0]


_PAIR = re.compile(r"(?:1,2|3,6|4,5|7,8|2,1|6,3|5,4|8,7)|(?:12|36|45|78),(?:12|36|45|78)")
"""Names of pairs and combinations that look like numbers with a comma."""


def decimal_mark(cells: Sequence[str]) -> tuple[str, str]:
    """Decimal and thousands mark that some cells of text prove: (".", "") where nothing speaks against it."""
    said: Counter[str] = Counter()
    for cell in cells:
        text = cell.strip()
        if not _PAIR.fullmatch(text) and _MARKED.match(text):
            said.update(_marks(text))
        elif len(text) > 20:
            listed = re.split(r"[\s;|:=/@]+", text[:200])[:8]
            if all(map(_WRITTEN.fullmatch, listed[:6])):
                for number in listed[:6]:
                    said.update(_marks(number) if _DECIMAL.fullmatch(number) else ())
    comma, dot = said["comma"], said["dot"]
    decimal = "," if comma > dot else "."
    # "1.000" may be one or a thousand: where commas part decimals and no point does, it is a thousand.
    if (comma and not dot and said["three dot"]) or (dot and not comma and said["three comma"]):
        said["grouped dot" if comma else "grouped comma"] += 1
    if said["grouped dot"] or said["grouped comma"]:
        grouped = said["grouped dot" if decimal == "," else "grouped comma"]
        return decimal, ("." if decimal == "," else ",") if grouped else ""
    quoted = [m.group(1) for c in cells if (m := _QUOTED.match(c.strip()))]
    if len(quoted) >= 3:
        return decimal, quoted[0]
    return decimal, " " if sum(bool(_BLANKED.match(c.strip())) for c in cells) >= 3 else ""


_WRITTEN = re.compile(r"[-+]?\d[\d.,]*")
_GROUPED = re.compile(r"\D{0,3}\d{1,3}(?:(?:,\d{3})+\.\d+|(?:\.\d{3})+,\d+)\D{0,5}")
_DECIMAL = re.compile(r"[-+]?\d+[.,]\d{1,2}")
_MARKED = re.compile(r"^[<>≤≥]?\s*[-+−]?\d[\d.,\u00a0\u202f '’]*\s*(?:\D{0,5})$")
_QUOTED = re.compile(r"^[-+−]?\d{1,3}(['’])\d{3}(?:\1\d{3})*(?!\d)")
_BLANKED = re.compile(r"^[-+−]?\d{1,3}(?:[ \u00a0\u202f]\d{3})+(?:[.,]\d+)?$")


def _marks(text: str) -> list[str]:
    """What one number says of commas and points: that one parts decimals, or thousands."""
    if "." in text and "," in text:
        if not _GROUPED.fullmatch(text.strip()):
            return []  # A list, whose numbers commas part.
        return ["comma", "grouped dot"] if text.rfind(",") > text.rfind(".") else ["dot", "grouped comma"]
    for mark, name in ((",", "comma"), (".", "dot")):
        if mark not in text:
            continue
        whole, _, rest = text.partition(mark)
        digits = re.match(r"\d*", rest)
        if text.count(mark) > 1:
            return [] if mark == "." and re.match(r"^\d+\.\d+\.\d+", text) else [f"grouped {name}"]
        shorter = digits is not None and len(digits.group()) != 3
        if shorter or whole.lstrip("+-<>≤≥ −") in ("", "0"):
            return [name]
        return [f"three {name}"] if len(whole.lstrip("+-<>≤≥ −")) <= 3 else [name]
    return []
