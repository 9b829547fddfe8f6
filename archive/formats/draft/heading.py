"""What a heading says: which quantity or fact, which of its values, which pair, end, wavelength and unit.

A heading is one text or several from the outermost group to the innermost ("Main unit", "Serial no."). The words of
the word list are looked for, longest phrases first; what is left over is kept, for it makes the reading less sure.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache

from archive.formats.base import units, words
from archive.formats.base.words import WordMeaning
from archive.formats.draft.hypotheses import hypotheses
from archive.vocabulary import phrases

WAVELENGTHS = hypotheses().wavelengths.nm
PAIR_WORDS = frozenset(
    ("p", "pr", "pair", "pairs", "paar", "paire", "par", "coppia", "para", "cp", "adernpaar", "ペア", "対")
)
_CONTACTS = frozenset(("12", "36", "45", "78", "21", "63", "54", "87"))
_BRACKETS = re.compile(r"[\[({（【]\s*([^\])}）】]*?)\s*[\])}）】]")
_KINDS = ("parameter", "generic", "field", "modifier", "end", "direction", "colour", "configuration", "medium")
_WHICH = frozenset(("limit", "margin", "value"))
_WEAK = frozenset(
    ("id", "no", "nr", "number", "num", "name", "code", "key", "ref", "reference", "text", "value", "nummer")
)
_ALONE = (("f", "frequency"), ("x", "frequency"), ("y", "value"), ("v", "value"))
_OF_UNITS = frozenset(("serial", "model", "maker", "software", "calibrated_on", "calibration_due"))
_SMALL = frozenset(("m", "f", "r", "a", "b", "c", "d", "e", "s", "n", "l", "no", "in", "p", "x", "y", "v"))


@dataclass
class Heading:
    """The reading of one heading. Names of meanings; "" or empty where it says nothing."""

    text: str
    parameters: list[str] = field(default_factory=list)
    generics: list[str] = field(default_factory=list)
    fields: list[str] = field(default_factory=list)
    modifiers: set[str] = field(default_factory=set)
    ends: list[str] = field(default_factory=list)
    directions: list[str] = field(default_factory=list)
    configurations: list[str] = field(default_factory=list)
    media: list[str] = field(default_factory=list)
    pairs: str = ""
    """Pair or combination as written: digits or colours, such as "12", "12 36", "1 2", "blue green"."""
    pair_word: bool = False
    unit: str = ""
    wavelength: str = ""
    frequency: str = ""
    unknown: list[str] = field(default_factory=list)
    letters: list[str] = field(default_factory=list)
    """Single letters that may name an end or a pair."""
    guessed: bool = False
    """A word was known only by its beginning."""
    joined: bool = False
    """A word was known only by its parts, such as Linkkennung."""
    maybe: list[WordMeaning] = field(default_factory=list)
    """What words left without their vowels may be, where that is not clear."""

    def copy(self) -> Heading:
        """The same with lists of its own."""
        return replace(
            self,
            parameters=list(self.parameters),
            generics=list(self.generics),
            fields=list(self.fields),
            modifiers=set(self.modifiers),
            ends=list(self.ends),
            directions=list(self.directions),
            configurations=list(self.configurations),
            media=list(self.media),
            unknown=list(self.unknown),
            letters=list(self.letters),
            maybe=list(self.maybe),
        )

    @property
    def says(self) -> bool:
        """True where anything was understood."""
        return bool(
            self.parameters
            or self.generics
            or self.fields
            or self.modifiers
            or self.ends
            or self.pairs
            or self.wavelength
            or self.directions
        )


def read(*levels: str) -> Heading:
    """The reading of a heading. levels: from the outermost to the innermost text. A text of more than _MOST_LETTERS
    is no heading, and says nothing."""
    return Heading("") if sum(map(len, levels)) > _MOST_LETTERS else _read(levels).copy()


_MOST_LETTERS = 2_000


@lru_cache(maxsize=65536)
def _read(levels: tuple[str, ...]) -> Heading:
    out = Heading(" | ".join(levels))
    tokens: list[tuple[str, int]] = []
    for depth, level in enumerate(levels):
        inner = depth == len(levels) - 1
        level, unit = _unit(level, out)
        if unit and (inner or not out.unit):
            out.unit = unit
        level = _without_codes(level, out, inner)
        tokens += [(t, len(levels) - 1 - depth) for whole in phrases.tokens(level) for t in _unspaced(whole)]
    _match(tokens, out, inner=0)
    return out


CODE = re.compile(r"(?<![^\W_])([^\W\d_]{1,6})(\d{1,3})(?![^\W_])")
"""Letters with a number at once behind them, and nothing else."""


def _without_codes(text: str, out: Heading, inner: bool) -> str:
    """The text without codes such as F31, whose digits name no pair: those of which the letters are no word."""

    def plain(match: re.Match[str]) -> str:
        letters, digits = phrases.fold(match.group(1)), match.group(2)
        if not is_code(match):
            return match.group()
        if len(letters) > 2:
            return match.group(1)
        if len(letters) == 1 and digits in _CONTACTS:
            return match.group()
        if inner:
            out.unknown.append(match.group().casefold())
        return " "

    return CODE.sub(plain, text)


def is_code(match: re.Match[str]) -> bool:
    """Whether letters with a number behind them are a code: the letters are no word, or a single letter."""
    letters = phrases.fold(match.group(1))
    return letters not in PAIR_WORDS and (len(letters) == 1 or letters not in words.phrases())


_UNSPACED = re.compile(r"[\u3040-\u30ff\u4e00-\u9fff]")


@lru_cache(maxsize=4096)
def _unspaced(token: str) -> tuple[str, ...]:
    """A word of a script that puts no blanks between words, cut into the longest words that are known."""
    known = words.phrases()
    if not _UNSPACED.search(token) or token in known:
        return (token,)
    out: list[str] = []
    at = rest = 0
    while at < len(token):
        size = next((n for n in range(len(token) - at, 1, -1) if token[at : at + n] in known), 0)
        if size:
            out += [token[rest:at], token[at : at + size]] if rest < at else [token[at : at + size]]
            rest = at + size
        at += size or 1
    return (*out, *([token[rest:]] if rest < len(token) else []))


def _unit(text: str, out: Heading) -> tuple[str, str]:
    """The text without its unit, and the unit: in brackets, or its last word."""
    found = ""
    for match in reversed(list(_BRACKETS.finditer(text))):
        inside = match.group(1).strip()
        unit = units.find(re.sub(r"^(?:in|en)\s+", "", inside, flags=re.IGNORECASE)) if inside else None
        if unit is not None and inside not in ("a", "A", "b", "B"):
            found = unit.name
            text = text[: match.start()] + " " + text[match.end() :]
        elif inside and _all_units(inside):
            text = text[: match.start()] + " " + text[match.end() :]
        elif inside:
            text = text[: match.start()] + " " + inside + " " + text[match.end() :]
    at = re.search(r"(?:@|\bat|\bbei|\bà|\ba|\bvid|\bprzy)?\s*(\d+(?:[.,]\d+)?)\s*(MHz|kHz|GHz)\b", text, re.IGNORECASE)
    if at and not re.search(r"\d\s*[-–]\s*$", text[: at.start(1)]):
        unit = units.find(at.group(2))
        assert unit is not None
        out.frequency = f"{float(at.group(1).replace(',', '.')) * unit.factor:g}"
        text = text[: at.start()] + " " + text[at.end() :]
    if not found:
        text = text.strip()
        tail = re.search(r"(?:^|[\s_/,:-]|(?<=\w)(?=%))(?:in\s+|en\s+)?([^\W\d_]{1,5}|%|°[CF]|Ω|'|ft|µs)\.?$", text)
        unit = units.find(tail.group(1)) if tail else None
        camel = re.search(r"(?<=[a-z0-9])(DB|dB|MHZ|NS|[A-Z][a-z]{1,9}|MHz)$", text)
        if unit is None and camel:
            unit, tail = units.find(camel.group(1)), camel
        if unit is not None and tail and tail.group(1) not in ("C", "c", "S", "s", "ratio", "in", "IN", "PS", "ps"):
            found = unit.name
            text = text[: tail.start()]
    return text, found


def without_unit(text: str) -> str:
    """The text of a heading without its unit."""
    return _unit(text, Heading(text))[0]


def _all_units(inside: str) -> bool:
    """Several units, as of the points of a curve: "MHz;dB", "ns, m"."""
    parts = [p for p in re.split(r"[;,:/|]|\s+", inside) if p]
    return len(parts) == 2 and all(len(p) > 1 and units.find(p) is not None for p in parts)


def _match(tokens: list[tuple[str, int]], out: Heading, inner: int) -> None:
    """Longest phrases first, from the innermost level outwards in weight."""
    used = [False] * len(tokens)
    hits: list[tuple[int, int, tuple[WordMeaning, ...]]] = []
    most = words.longest()
    alone = sum(d == 0 for _, d in tokens) == 1
    for size in range(min(most, len(tokens)), 0, -1):
        for at in range(len(tokens) - size + 1):
            if any(used[at : at + size]):
                continue
            part = tokens[at : at + size]
            if len({d for _, d in part}) > 1 and any(len(t) == 1 for t, _ in part):
                continue  # "p", "f" are an element and its attribute, and not pass or fail.
            key = " ".join(t for t, _ in part)
            meanings = _meanings(key, alone)
            if not meanings:
                continue
            for i in range(at, at + size):
                used[i] = True
            if size == 1 and len(key) == 1 and not any((key, m.id) in _ALONE for m in meanings):
                out.letters.append(key)
            hits.append((at, size, meanings))
    _numbers(tokens, used, out)
    hits += _abbreviated(tokens, used, out)
    hits += _left_over(tokens, used, out, inner)
    weak = [t for t, d in tokens if d == 0]
    outer = any(d > 0 for _, d in tokens)
    said = any(min(d for _, d in tokens[a : a + n]) == 0 for a, n, _ in hits)
    telling = any(min(d for _, d in tokens[a : a + n]) > 0 and _tells(ms) for a, n, ms in hits)
    if outer and weak and telling and all(t in _WEAK for t in weak):
        # "order", "number": the outer word says what is numbered.
        hits = [h for h in hits if min(d for _, d in tokens[h[0] : h[0] + h[1]]) > 0 or h[1] > len(weak)] or hits
    elif outer and weak and not said and not any(used[i] for i, (_, d) in enumerate(tokens) if d == 0):
        # An inner word that nobody knows: the outer ones tell of an end or a pair at the most.
        hits = [(a, n, tuple(m for m in ms if m.kind in ("end", "colour", "direction"))) for a, n, ms in hits]
    spans = [(at, size) for at, size, _ in hits if size > 1]
    hits = [h for h in hits if h[1] > 1 or not any(a <= h[0] < a + n for a, n in spans)]
    if out.pairs or any(m.kind == "parameter" for _, _, ms in hits for m in ms):
        # "Local" is an end beside a pair, whatever places it may name elsewhere.
        hits = [(a, n, _no_place(ms)) for a, n, ms in hits]
    elif any(m.id in _OF_UNITS for _, _, ms in hits for m in ms if m.kind == "field"):
        # So it is beside a unit: "Serial no. | local".
        hits = [(a, n, _no_place(ms)) for a, n, ms in hits]
    # The innermost words count first: outer ones fill what they leave open.
    for at, size, meanings in sorted(hits, key=lambda h: (min(d for _, d in tokens[h[0] : h[0] + h[1]]), h[0])):
        depth = min(d for _, d in tokens[at : at + size])
        _take(meanings, out, depth)


def _left_over(
    tokens: list[tuple[str, int]], used: list[bool], out: Heading, inner: int
) -> list[tuple[int, int, tuple[WordMeaning, ...]]]:
    """Words that are no phrase: known by their parts, their beginning or their consonants, or unknown."""
    hits = []
    for at, (token, depth) in enumerate(tokens):
        if used[at]:
            continue
        guess, whole = _guess(token)
        some = () if guess else _skeleton(token)
        if len({m.id for m in some}) == 1:
            guess = some
        elif depth == inner:
            out.maybe += some
        if guess:
            out.guessed |= depth == inner and not whole
            out.joined |= depth == inner and whole
            hits.append((at, 1, guess))
        elif len(token) == 1 and token.isalpha():
            out.letters.append(token)
        elif depth == inner:
            out.unknown.append(token)
    return hits


_VOWELS = re.compile(r"(?<=.)[aeiouy .,'/-]")
_SHORTEST, _LONGEST = 3, 6
_GUESSED = ("parameter", "generic", "field", "modifier", "end")


@cache
def _skeletons() -> tuple[dict[str, tuple[WordMeaning, ...]], dict[str, tuple[WordMeaning, ...]]]:
    """Phrases without their vowels, whole and cut at each length, with what they may mean."""
    out: tuple[dict[str, dict[tuple[str, str], WordMeaning]], ...] = ({}, {})
    for phrase, meanings in words.phrases().items():
        plain = _VOWELS.sub("", phrase)
        for size in range(_SHORTEST, min(len(plain), _LONGEST) + 1):
            found = out[size < len(plain)].setdefault(plain[:size], {})
            found.update({(m.kind, m.id): m for m in meanings if m.kind in _GUESSED})
    whole, cut = ({k: tuple(v.values()) for k, v in by.items() if v} for by in out)
    return whole, cut


def _skeleton(token: str) -> tuple[WordMeaning, ...]:
    """What a word may mean of which the vowels were left out, such as mrgn."""
    if not _SHORTEST <= len(token) <= _LONGEST or not token.isalpha() or _VOWELS.search(token):
        return ()
    whole, cut = _skeletons()
    return whole.get(token) or cut.get(token, ())


def _abbreviated(
    tokens: list[tuple[str, int]], used: list[bool], out: Heading
) -> list[tuple[int, int, tuple[WordMeaning, ...]]]:
    """Phrases of which words are cut short, such as "Ret. loss": clear where only one meaning begins so."""
    hits = []
    for size in (3, 2):
        for at in range(len(tokens) - size + 1):
            part = [t for t, _ in tokens[at : at + size]]
            if all(used[at : at + size]) or any(len(t) < 3 or not t.isalpha() for t in part):
                continue
            found = _begun(tuple(part))
            if found:
                hits.append((at, size, found))
                out.joined = True
                for i in range(at, at + size):
                    used[i] = True
    return hits


@lru_cache(maxsize=4096)
def _begun(part: tuple[str, ...]) -> tuple[WordMeaning, ...]:
    found: dict[tuple[str, str], WordMeaning] = {}
    for phrase, meanings in words.phrases().items():
        whole = phrase.split(" ")
        if len(whole) == len(part) and all(w.startswith(p) for w, p in zip(whole, part, strict=True)):
            found.update({(m.kind, m.id): m for m in meanings if m.kind in ("parameter", "field", "modifier")})
    return tuple(found.values()) if len({i for _, i in found}) == 1 else ()


def _meanings(key: str, alone: bool) -> tuple[WordMeaning, ...]:
    found = tuple(
        m for m in words.phrases().get(key, ()) if m.kind in _KINDS or (m.kind == "plain" and m.id == "filler")
    )
    if key in _SMALL:
        # A single letter means nothing by itself but the few that the trade uses so.
        found = tuple(m for m in found if (alone and (key, m.id) in _ALONE) or m.id == "filler")
    return found


def _tells(meanings: tuple[WordMeaning, ...]) -> bool:
    """Whether words say what something is of: a quantity, or a fact."""
    return any(m.kind in ("parameter", "generic", "field", "end", "colour") for m in meanings)


def _no_place(meanings: tuple[WordMeaning, ...]) -> tuple[WordMeaning, ...]:
    if any(m.kind == "end" for m in meanings):
        return tuple(m for m in meanings if m.kind != "field")
    return meanings


def _take(meanings: tuple[WordMeaning, ...], out: Heading, depth: int) -> None:
    kinds = {m.kind for m in meanings}
    for m in meanings:
        into: list[str] | None = {
            "parameter": out.parameters,
            "generic": out.generics,
            "field": out.fields,
            "end": out.ends,
            "direction": out.directions,
            "configuration": out.configurations,
            "medium": out.media,
        }.get(m.kind)
        if m.kind == "modifier":
            if depth == 0 or not (
                {"limit", "margin", "value"} & out.modifiers and m.id in ("limit", "margin", "value")
            ):
                out.modifiers.add(m.id)
        elif m.kind == "colour":
            if out.pairs.isdigit() and len(out.pairs) == 1 and not out.pair_word:
                out.pairs = ""  # "Skw4 orange": the digit is part of a word
            out.pairs = f"{out.pairs} {m.id}".strip() if m.id not in out.pairs.split() else out.pairs
        elif into is not None and m.id not in into:
            if m.kind == "field" and depth and out.fields and "field" in kinds:
                continue
            into.append(m.id)


def _numbers(tokens: list[tuple[str, int]], used: list[bool], out: Heading) -> None:
    """Runs of numbers: pairs, wavelengths."""
    at = 0
    while at < len(tokens):
        token, depth = tokens[at]
        if used[at] and token not in PAIR_WORDS:
            at += 1
            continue
        if token in WAVELENGTHS:
            used[at] = True
            if depth == 0 or not out.wavelength:
                out.wavelength = token
            if at + 1 < len(tokens) and tokens[at + 1][0] == "nm":
                used[at + 1] = True
            at += 1
            continue
        stop, digits, marked = at, [], False
        while stop < len(tokens) and (tokens[stop][0].isdigit() or tokens[stop][0] in PAIR_WORDS):
            if tokens[stop][0].isdigit():
                if tokens[stop][0] in WAVELENGTHS:
                    break
                digits.append(tokens[stop][0])
            else:
                marked = True
            stop += 1
        text = _pair_digits(digits)
        if text and (depth == 0 or not out.pairs):
            out.pairs, out.pair_word = text, marked
            for i in range(at, stop):
                used[i] = True
        at = max(stop, at + 1)


def _pair_digits(digits: list[str]) -> str:
    """Digits of one or two pairs, as "12", "12 36", "1 2" or "1"; "" where they name no pair."""
    joined = "".join(digits)
    if not joined or len(joined) > 4 or any(c not in "12345678" for c in joined):
        return ""
    if len(joined) == 4:
        return f"{joined[:2]} {joined[2:]}" if {joined[:2], joined[2:]} <= _CONTACTS else ""
    if len(joined) == 3:
        return ""
    return " ".join(digits) if len(digits) == 2 else joined


@lru_cache(maxsize=65536)
def _guess(token: str) -> tuple[tuple[WordMeaning, ...], bool]:
    """A word by its parts (Streckenlänge; then True) or by its beginning (atten, dämpf), where that is clear."""
    if len(token) < 4 or not token.isalpha():
        return (), False
    for many, one in (("ies", "y"), ("s", ""), ("es", ""), ("n", ""), ("en", "")):
        singular = _plain(token.removesuffix(many) + one) if token.endswith(many) and len(token) > 4 else ()
        if singular:
            return singular, True
    parts = _parts(token)
    if parts:
        return parts, True
    found = {
        (m.kind, m.id): m
        for phrase, meanings in words.phrases().items()
        if " " not in phrase and phrase.startswith(token) and len(phrase) - len(token) <= 9
        for m in meanings
        if m.kind in ("parameter", "generic", "field", "modifier", "end")
    }
    ids = {i for _, i in found}
    return (tuple(found.values()) if len(ids) == 1 else ()), False


def _parts(token: str) -> tuple[WordMeaning, ...]:
    for cut in range(3, len(token) - 2):
        head, tail = token[:cut], token[cut:]
        second = _plain(tail)
        if not second:
            continue
        for link in ("", "s", "n", "en", "es", "e"):
            stem = head[: -len(link)] if link and head.endswith(link) else head if not link else ""
            whole = words.phrases().get(f"{stem}{tail}")
            if whole:
                return tuple(m for m in whole if m.kind in _KINDS)
            first = _plain(stem) if len(stem) >= 3 else ()
            if first:
                both = words.phrases().get(f"{stem} {tail}")
                return tuple(m for m in (both or (*first, *second)) if m.kind in _KINDS)
    return ()


def _plain(word: str) -> tuple[WordMeaning, ...]:
    return (
        tuple(m for m in words.phrases().get(word, ()) if m.kind in (*_KINDS, "plain") and m.id != "empty")
        if len(word) >= 3
        else ()
    )


def shown(levels: Sequence[str]) -> str:
    """A heading for a reason."""
    return " | ".join(x for x in levels if x)
