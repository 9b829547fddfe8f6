"""Headings that differ by one word only: what one of them says tells what the others can be.

Columns such as "RL near 12 value", "RL xq 12 value", "RL near 12 limit" are a product of quantity, end, pair and part.
Words that stand in equal surroundings are alternatives of one such factor. A word that nobody knows is then the other
end, or the part of the quantity that its numbers bear out.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from archive import vocabulary
from archive.formats.draft import heading, shape
from archive.formats.draft.columns import Seen
from archive.formats.draft.heading import Heading
from archive.formats.draft.hypotheses import LIKELY
from archive.formats.draft.keys import lettered
from archive.formats.draft.quantities import dimension_of
from archive.formats.draft.relations import median_level, quantity_of
from archive.vocabulary import phrases

Names = dict[int, tuple[str, ...]]
"""Words of each column's heading, by the column's number."""

_CONTACTS = ("12", "36", "45", "78")
_ORDER = ("1", "2", "3", "4")
_PARTS = frozenset(("value", "limit", "margin", "frequency", "verdict"))
_ALIKE = 0.6
"""Share of their surroundings that two words must have in common."""


def settle(seen: Sequence[Seen]) -> None:
    """Lets the headings of a table explain each other."""
    _glued(seen)
    names = _names(seen)
    for slot in _slots(names):
        # A letter alone would be a frequency or a value: beside other words it names an end at the most.
        known = {w: heading.read(w) if len(w) > 1 or w.isdigit() else Heading(w, letters=[w]) for w in slot}
        open_words = [w for w in slot if _open(known[w])]
        if not open_words:
            continue
        if any(known[w].ends for w in slot) or len(open_words) == len(slot) == 2:
            _ends(seen, names, slot, known)
        if any(known[w].modifiers & _PARTS for w in slot):
            # What its cells say comes first: a frequency tells the limit beside it.
            for word in sorted(open_words, key=lambda w: not _by_cells(_holding(seen, names, w))):
                _part(seen, names, word, slot)
    _quantities(seen)


def _readings(s: Seen) -> tuple[Heading, Heading, Heading]:
    return s.heading, s.own, s.inner


def _open(h: Heading) -> bool:
    """Whether nobody knows a word, or it is a letter."""
    return bool(h.unknown or h.letters or h.maybe or h.guessed) and not h.pairs


# ---- pairs at the end of a word that has digits of its own


def _glued(seen: Sequence[Seen]) -> None:
    """Names such as zf2612, zf2636, zf2645, zf2678: four that differ by the contacts, or the numbers, of the pairs."""
    by: dict[tuple[str, ...], dict[str, Seen]] = defaultdict(dict)
    for s in seen:
        if s.heading.pairs or not s.column.levels:
            continue
        words = phrases.tokens(heading.without_unit(s.column.levels[-1]))
        for at, word in enumerate(words):
            for size in (2, 1):
                if word.isdigit() and len(word) >= size:
                    key = (*words[:at], f"{word[:-size]}.{size}", *words[at + 1 :])
                    by[key][word[-size:]] = s
    for found in by.values():
        for pairs in (_CONTACTS, _ORDER):
            if set(found) >= set(pairs) and all(s.numeric for s in found.values()):
                for pair in pairs:
                    for h in _readings(found[pair]):
                        h.pairs = pair
                        h.unknown = [u for u in h.unknown if not re.search(r"\d", u)]


# ---- words that stand in equal surroundings


def _names(seen: Sequence[Seen]) -> Names:
    """The words of each heading without its unit; words that only ever stand together are one."""
    out = {}
    for n, s in enumerate(seen):
        if not s.source.startswith("@") or s.column.levels[-1] not in ("", "@block"):
            out[n] = _words(" ".join(heading.without_unit(x) for x in s.column.levels))
    for _ in range(3):
        count: dict[str, int] = defaultdict(int)
        both: dict[tuple[str, str], int] = defaultdict(int)
        for words in out.values():
            for w in words:
                count[w] += 1
            for couple in pairwise(words):
                both[couple] += 1
        always = {c for c, n in both.items() if n == count[c[0]] == count[c[1]] and not any(x.isdigit() for x in c)}
        out = {n: _joined(words, always) for n, words in out.items()}
    return out


def _words(text: str) -> tuple[str, ...]:
    """The words of a heading; a code such as Kf67 is one."""
    out: list[str] = []
    at = 0
    for match in heading.CODE.finditer(text):
        if heading.is_code(match):
            out += [*phrases.tokens(text[at : match.start()]), match.group().casefold()]
            at = match.end()
    return (*out, *phrases.tokens(text[at:]))


def _joined(words: Sequence[str], always: set[tuple[str, str]]) -> tuple[str, ...]:
    out: list[str] = []
    last = ""
    for w in words:
        if out and (last, w) in always:
            out[-1] = f"{out[-1]} {w}"
        else:
            out.append(w)
        last = w
    return tuple(out)


def _slots(names: Names) -> list[list[str]]:
    """Words that are alternatives of each other, in the order in which they come."""
    around: dict[str, set[tuple[tuple[str, ...], tuple[str, ...]]]] = defaultdict(set)
    for words in names.values():
        for at, w in enumerate(words):
            if len(words) > 1:
                around[w].add((words[:at], words[at + 1 :]))
    many = [w for w, places in around.items() if len(places) > 1]
    out: list[list[str]] = []
    taken: set[str] = set()
    for n, word in enumerate(many):
        if word in taken:
            continue
        slot = [word]
        for other in many[n + 1 :]:
            common = len(around[word] & around[other])
            if other not in taken and common > 1 and common >= _ALIKE * min(len(around[word]), len(around[other])):
                slot.append(other)
        if len(slot) > 1:
            taken |= set(slot)
            out.append(slot)
    return out


def _holding(seen: Sequence[Seen], names: Names, word: str) -> list[Seen]:
    return [seen[n] for n, words in names.items() if word in words]


# ---- ends


def _ends(seen: Sequence[Seen], names: Names, slot: Sequence[str], known: dict[str, Heading]) -> None:
    """Of two alternatives, where the quantity has ends, one that is known says the other; else the first is local."""
    told = {w: known[w].ends[0] for w in slot if len(set(known[w].ends)) == 1}
    rest = [w for w in slot if w not in told]
    if len(slot) != 2 or len(rest) not in (1, 2) or not all(_open(known[w]) for w in rest):
        return
    columns = {w: _holding(seen, names, w) for w in slot}
    ended = [s for w in slot for s in columns[w] if s.heading.parameters]
    if not ended or not all(vocabulary.parameter(s.heading.parameters[0]).ends for s in ended):
        return
    if len(rest) == 1:
        (other,) = told.values()
        told[rest[0]] = "remote" if other == "local" else "local"
    else:
        told = lettered(rest) or {rest[0]: "local", rest[1]: "remote"}
    for w in rest:
        for s in columns[w]:
            _say(s, w)
            for h in _readings(s):
                h.ends = [told[w]]
            if len(rest) == 2 and not lettered(rest):
                s.column.doubt = "nothing says which end is which: the first is taken as the local one"


def _say(s: Seen, word: str) -> None:
    """Takes a word from what nobody knows of a heading."""
    parts = set(word.split())
    for h in _readings(s):
        h.unknown = [u for u in h.unknown if not set(phrases.tokens(u)) & parts]
        h.letters = [x for x in h.letters if x not in parts]
        h.guessed = False


# ---- parts of a quantity: value, limit, margin


def _part(seen: Sequence[Seen], names: Names, word: str, slot: Sequence[str]) -> None:
    """A word beside others for parts of a quantity, by its unit or by its numbers."""
    columns = _holding(seen, names, word)
    found = _by_cells(columns)
    if not found:
        beside = [_beside(seen, names, n, word, slot) for n, words in names.items() if word in words]
        said = {_by_numbers(seen[n], parts) for n, parts in beside}
        found = said.pop() if len(said) == 1 else ""
        found = found or _by_frequency([(seen[n], parts) for n, parts in beside])
    if not found:
        return
    for s in columns:
        _say(s, word)
        for h in _readings(s):
            h.modifiers = (h.modifiers - _PARTS) | {found}
            h.fields = [f for f in h.fields if f not in ("verdict", "limit_name")]


# ---- quantities


def _quantities(seen: Sequence[Seen]) -> None:
    """Words that nobody knows above levels of pairs, where no quantity is named: what pairs, ends and levels tell."""
    named = [h for s in seen for h in (s.heading,) if h.parameters]
    taken = {
        f"ps_{p}" if "power_sum" in h.modifiers and not p.startswith("ps_") else p for h in named for p in h.parameters
    }
    by: dict[str, list[Seen]] = defaultdict(list)
    for s in seen:
        h = s.heading
        if len(h.unknown) == 1 and h.pairs and not (h.parameters or h.generics or h.fields):
            by[h.unknown[0]].append(s)
    for word, columns in by.items():
        levels = [s for s in columns if _is_level(s)]
        if not levels:
            continue
        values = np.concatenate([s.profile.values for s in levels])
        ended = any(s.heading.ends for s in columns)
        found, likely = quantity_of({s.heading.pairs for s in columns}, ended, None, taken, median_level(values))
        if not found or likely < LIKELY:
            continue
        taken.add(found)
        for s in columns:
            _say(s, word)
            for h in _readings(s):
                h.parameters = [found]
            s.column.doubt = s.column.doubt or f"nothing but pairs and levels says that {word!r} is a quantity"


def _is_level(s: Seen) -> bool:
    """Whether a column holds levels that are no limits and margins."""
    return s.numeric and dimension_of(s.heading.unit or s.profile.unit) == "level" and not s.heading.modifiers & _OTHERS


_OTHERS = frozenset(("limit", "margin"))


def _by_cells(columns: Iterable[Seen]) -> str:
    listed = list(columns)
    if all(s.profile.verdicts > 0.8 and not s.numeric for s in listed):
        return "verdict"
    if all(dimension_of(s.heading.unit or s.profile.unit) == "frequency" for s in listed):
        return "frequency"
    return ""


def _beside(seen: Sequence[Seen], names: Names, n: int, word: str, slot: Sequence[str]) -> tuple[int, dict[str, Seen]]:
    """The columns that differ from one by another word of the slot, by the part that they say."""
    words = names[n]
    at = words.index(word)
    out: dict[str, Seen] = {}
    for m, other in names.items():
        if m != n and len(other) == len(words) and other[:at] == words[:at] and other[at + 1 :] == words[at + 1 :]:
            part = seen[m].heading.modifiers & _PARTS
            if other[at] in slot and len(part) == 1:
                out[next(iter(part))] = seen[m]
    return n, out


def _by_numbers(s: Seen, parts: dict[str, Seen]) -> str:
    """limit or margin: what with a value makes both, or what makes one limit at each frequency."""
    if not s.numeric or "value" not in parts:
        return "value" if s.numeric and {"frequency", "limit", "margin"} <= parts.keys() else ""
    value, mine = np.abs(parts["value"].profile.values), s.profile.values
    if "limit" in parts or "margin" in parts:
        name = "margin" if "limit" in parts else "limit"
        other = parts["limit" if "limit" in parts else "margin"].profile.values
        limit, margin = (np.abs(other), mine) if name == "margin" else (np.abs(mine), other)
        ok = np.isfinite(value) & np.isfinite(limit) & np.isfinite(margin)
        off = np.abs(np.abs(value - limit) - np.abs(margin))[ok]
        return name if len(off) > 1 and float((off < 0.16).mean()) > 0.9 else ""
    return ""


def _by_frequency(beside: Sequence[tuple[Seen, dict[str, Seen]]]) -> str:
    """value, limit or margin: by what is the same at each frequency of a quantity, alone or with another."""
    every = [(s, parts) for s, parts in beside if s.numeric and "frequency" in parts]
    other = next((k for k in ("value", "margin", "limit") if all(k in p for _, p in every)), "")
    if not every or not all(_is_level(s) for s, _ in every):
        return ""
    if not other:
        alone = not any(_PARTS & p.keys() - {"frequency", "verdict"} for _, p in every)
        return "value" if alone else ""
    at = np.concatenate([p["frequency"].profile.values for _, p in every])
    known = np.concatenate([p[other].profile.values for _, p in every])
    mine = np.concatenate([s.profile.values for s, _ in every])
    of = [str(s.heading.parameters[:1] + sorted(s.heading.modifiers & {"power_sum"})) for s, _ in every]
    names = [n for n, (s, _) in zip(of, every, strict=True) for _ in range(len(s.profile.values))]
    if other == "value":
        return shape.part_of(names, at, known, mine)
    limit = shape.same_at(names, at, np.abs(mine))
    value = max(shape.same_at(names, at, np.abs(mine) + known), shape.same_at(names, at, np.abs(mine) - known))
    if other == "limit":
        return ""
    return "limit" if limit > 0.9 and value < 0.6 else "value" if value > 0.9 and limit < 0.6 else ""
