"""How one document writes words, pairs, numbers, units, dates: everything that traits say about a single cell."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from random import Random

from tests.formats.layouts.traits import Traits
from tests.formats.layouts.truth import PAIRS

HERE = Path(__file__).parent

_NUMBERED = {"t568a": ("4-5", "3-6", "1-2", "7-8"), "t568b": ("4-5", "1-2", "3-6", "7-8")}
"""Pairs 1 to 4 of the two wirings of the eight-contact connector."""
_COLOURS = ("blue", "orange", "green", "brown")
_TO_METRES = {"m": 1.0, "ft": 0.3048}
_TO_MHZ = {"MHz": 1.0, "kHz": 1e-3, "Hz": 1e-6}


@dataclass(frozen=True)
class Number:
    """A number as printed, without its unit; value is what was printed, in the unit of the tables; unit as written."""

    text: str
    value: float
    unit: str = ""
    mark: str = ""


Cell = str | Number | datetime | None


@cache
def words_of(held_out: bool) -> dict[str, dict[str, list[str]]]:
    """Words by term and language; held_out adds those that only the test seeds use."""
    known = tomllib.loads((HERE / "words.toml").read_text("utf-8"))
    more = tomllib.loads((HERE / "held_out.toml").read_text("utf-8")) if held_out else {}
    for term, of in more.items():
        for language, words in of.items():
            known[term][language] = [*known[term].get(language, []), *words]
    return known


class Pen:
    """Writes cells and headings as one document does."""

    def __init__(self, traits: Traits) -> None:
        self.traits = traits
        self.unknown: list[str] = []
        self._words = words_of(traits.split == "test")
        self._said: dict[str, str] = {}
        self._scheme = traits.pairs if traits.pairs in _NUMBERED else ("t568a" if traits.seed % 2 else "t568b")

    def _draw(self, about: str) -> Random:
        return Random(f"{self.traits.split} {self.traits.seed} {about}")

    def words(self, term: str) -> list[str]:
        """All words for a term in the language of the document."""
        of = self._words[term]
        return of.get(self.traits.language) or of.get("en") or of["any"]

    def word(self, term: str) -> str:
        """The word of this document for a term, in its language or an abbreviation used everywhere."""
        if term not in self._said:
            r, of = self._draw(term), self._words[term]
            short = "any" in of and r.random() < 0.55
            self._said[term] = r.choice(of["any"] if short else self.words(term))
        return self._said[term]

    def term(self, term: str, share: float = 1.0) -> str:
        """A word for a heading: now and then one that stands in no list. share: of the traits' share of those."""
        known = f"{term} {share}"
        if known not in self._said:
            self._said[known] = self._heading_word(term, share)
        return self._said[known]

    def _heading_word(self, term: str, share: float) -> str:
        word, r = self.word(term), self._draw(f"unknown {term}")
        if r.random() >= self.traits.unknown * share:
            return word
        self.unknown.append(term)
        if r.random() < 0.6:
            kept = [c for i, c in enumerate(word) if i == 0 or c.lower() not in "aeiouyåäöéèêàíóúãõ .,'-/ąęł"]
            return "".join(kept)[: r.randrange(3, 6)].capitalize() + r.choice(("", "", ".", str(r.randrange(1, 9))))
        return r.choice("KQXZWVM") + r.choice(("", "z", "q", "f")) + str(r.randrange(1, 90))

    def heading(self, parts: tuple[str, ...], unit: str = "") -> str:
        """Parts of a heading (quantity first, then end, pair, kind) joined, with the unit where traits put it."""
        said = [p for p in parts if p]
        if self.traits.pair_first and len(said) > 1:
            said = [*said[1:], said[0]]
        text = self.traits.joiner.join(said)
        text = {"upper": text.upper(), "lower": text.lower()}.get(self.traits.case, text)
        return text + self.unit_of_heading(unit)

    def unit_of_heading(self, unit: str) -> str:
        """The unit as it stands at the end of a heading, or nothing."""
        place = self.traits.unit_place
        if not unit or place in ("row", "cell", "column", "none"):
            return ""
        return f"_{unit}" if place == "suffix" else f" {place[0]}{unit}{place[1]}"

    def pair(self, pair: str) -> str:
        """A pair as this document writes it."""
        t = self.traits
        if t.pairs in _NUMBERED:
            return str(_NUMBERED[t.pairs].index(pair) + 1)
        if t.pairs == "colours":
            return self.word(_COLOURS[_NUMBERED[self._scheme].index(pair)])
        return pair.replace("-", {"1-2": "-", "12": "", "1,2": ",", "1/2": "/"}[t.pairs])

    def pairing(self, pairing: str) -> str:
        """A pair or a combination."""
        return self.traits.between.join(self.pair(p) for p in pairing.split("/"))

    def wiring(self) -> str:
        """The scheme that pairs by number or colour need; empty where contacts are written."""
        return self._scheme.upper() if self.traits.pairs in (*_NUMBERED, "colours") else ""

    def sorted_pairs(self) -> list[str]:
        """Pairs in the order in which this document lists them."""
        return list(_NUMBERED[self.traits.pairs]) if self.traits.pairs in _NUMBERED else list(PAIRS)

    def end(self, end: str) -> str:
        """An end as this document writes it; empty for none."""
        if not end:
            return ""
        if self.traits.ends == "letters":
            return "A" if end == "local" else "B"
        word = self.word("main_end" if end == "local" else "remote_end")
        other = self.word("remote_end" if end == "local" else "main_end")
        if self.traits.ends == "initials" and word[0].lower() != other[0].lower():
            return word[0].upper()
        return word

    def verdict(self, passed: bool) -> str:
        """The word for pass or fail: of one row of words, so that both belong together."""
        words = self.words("passed"), self.words("failed")
        which = self._draw("verdict").randrange(min(map(len, words)))
        return words[0 if passed else 1][which]

    def number(self, value: float, places: int, unit: str = "", factor: float = 1.0, *, signed: bool = False) -> Number:
        """A number rounded to places and printed; its value is what was printed, times factor."""
        printed = round(value, places)
        text = f"{abs(printed):,.{places}f}"
        marks = {",": self.traits.thousands, ".": self.traits.decimal}
        if self.traits.outside == "thin":
            marks[","] = "\u202f"
        text = "".join(marks.get(c, c) for c in text)
        sign = "-" if printed < 0 else "+" if signed else ""
        return Number(sign + text, round(float(f"{printed:.{places}f}") * factor, 9), unit)

    def decibels(self, value: float) -> Number:
        """A loss or isolation, below zero where the document writes it so."""
        places = 2 if self.traits.step < 0.1 else 1
        n = self.number(value, places, "dB")
        return Number("-" + n.text, n.value, "dB") if self.traits.negative and n.value else n

    def margin(self, value: float) -> Number:
        """A margin; in words, over and under, where a habit outside the language says so."""
        n = self.number(value, 2 if self.traits.step < 0.1 else 1, "dB", signed=self._draw("sign").random() < 0.3)
        if self.traits.outside == "words":
            return Number(f"{n.text.lstrip('+-')} {'under' if value < 0 else 'over'}", n.value, "dB")
        if self.traits.outside == "starred" and value < 1.0:
            return Number(n.text, n.value, "dB", "*")
        return n

    def frequency(self, mhz: float) -> Number:
        """A frequency in the unit of the document."""
        unit = self.traits.frequency_unit
        factor = _TO_MHZ[unit]
        return self.number(mhz / factor, 2 if unit == "MHz" else 0, unit, factor)

    def length(self, metres: float) -> Cell:
        """A length in the unit of the document, or in feet and inches."""
        if self.traits.outside == "feet":
            inches = round(metres / 0.0254)
            return Number(f"{inches // 12}' {inches % 12}\"", inches * 0.0254, "")
        unit = self.traits.length_unit
        return self.number(metres / _TO_METRES[unit], 1 if unit == "m" else 0, unit, _TO_METRES[unit])

    def scalar(self, quantity: str, value: float) -> Cell:
        """A scalar of a pair or of the link."""
        if quantity == "length":
            return self.length(value)
        return self.number(value, 2 if quantity == "resistance" else 0, unit_of(quantity, self.traits))

    def day(self, when: datetime) -> str:
        """A date without its time."""
        if self.traits.outside == "week":
            return "{}-W{:02d}-{}".format(*when.isocalendar())
        return when.strftime(self.traits.date)

    def clock(self, when: datetime) -> str:
        """A time of day."""
        return when.strftime("%H:%M")


def unit_of(quantity: str, traits: Traits) -> str:
    """The unit in which a document writes a quantity."""
    units = {"length": traits.length_unit, "delay": "ns", "skew": "ns", "resistance": "Ω", "velocity": "%"}
    if quantity == "resistance" and traits.encoding not in ("utf-8", "utf-8-sig", "utf-16"):
        return "Ohm"
    return units.get(quantity, "dB")


def expected(cell: Cell) -> float:
    """The value that a reader should find in a cell, in the unit of the tables."""
    assert isinstance(cell, Number)
    return cell.value
