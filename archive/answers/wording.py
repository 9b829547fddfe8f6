"""Words, numbers, dates and lengths of documents, by language and place.

Texts are English in the code and pass through a gettext catalogue: schemas/messages/LANGUAGE.po, or a file of one's
own, read as it is. schemas/messages/muniment.pot lists them all (archive.answers.messages makes it).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from archive import schemas, vocabulary
from archive.errors import Trouble
from archive.vocabulary import role_reasons, told_phrases

METRES_PER_FOOT = 0.3048  # international foot, exact by definition (1959 agreement)
_DECIMALS = {"dB": 1, "ns": 0, "ohm": 2, "%": 2, "m": 1, "degC": 0, "ft": 0, "dBm": 1, "nF": 2}
"""Decimals that a unit deserves; two for any other."""
_ENGLISH = ("en", "en_US", "en_GB")
_MINUS = "\u2212"
_MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}(T\d{2}:\d{2}(:\d{2}(\.\d+)?)?)?")
_WAYS = ("local-remote", "remote-local")
_UNITS = {"ohm": "Ω", "degC": "°C"}
_EXACT = 1e-9
"""Smallest value that is distinguished from zero, as in archive.grading.arithmetic."""


@cache
def _catalogue(path: Path) -> dict[str, str]:
    """Translations of one file. Errors: Trouble where it is no catalogue."""
    from babel.messages.pofile import PoFileError, read_po

    try:
        with path.open("rb") as file:
            read = read_po(file, abort_invalid=True)
    except (OSError, PoFileError, UnicodeDecodeError, ValueError) as error:
        raise Trouble(
            "this is no catalogue of texts",
            code="document.not-a-catalogue",
            where=str(path),
            found=str(error),
            expected="a gettext .po file in UTF-8, made from schemas/messages/muniment.pot",
        ) from None
    return {str(m.id): str(m.string) for m in read if m.id and m.string and not m.fuzzy}


@dataclass(frozen=True)
class Wording:
    """How a document speaks.

    locale: such as "en", "en_US", "de". lengths: "m" or "ft". catalogue: a .po file; without one, that of the
    locale's language in schemas/messages, and without that English. Errors: Trouble for a locale that is none.
    """

    locale: str = "en"
    lengths: str = "m"
    catalogue: Path | None = None

    def __post_init__(self) -> None:
        if self.locale in _ENGLISH:
            return
        from babel import Locale, UnknownLocaleError

        try:
            Locale.parse(self.locale)
        except (UnknownLocaleError, ValueError, TypeError):
            raise Trouble(
                "no such locale",
                code="document.unknown-locale",
                found=self.locale,
                expected="such as en, en_US, de or pt_BR",
            ) from None

    @cached_property
    def _texts(self) -> Mapping[str, str]:
        if self.catalogue is not None:
            return _catalogue(self.catalogue)
        path = schemas.root() / "messages" / f"{self.locale.split('_')[0]}.po"
        return _catalogue(path) if path.is_file() else {}

    @property
    def language(self) -> str:
        """The language of the texts."""
        return self.locale.split("_")[0] if self._texts else "en"

    @property
    def translated(self) -> bool:
        """Whether the texts are in the language that the locale asks for."""
        return self.language == self.locale.split("_")[0]

    @property
    def original(self) -> bool:
        """Whether the texts are the English ones, which count."""
        return self.language == "en"

    @property
    def _locale(self) -> str:
        """The locale of numbers and dates: words and dates change together."""
        return self.locale if self.translated else "en"

    def __call__(self, text: str, **values: object) -> str:
        """The text in the document's language, with {names} filled in.

        A translation that names something that is not there gives way to the English.
        """
        found = self._texts.get(text, text)
        if not values:
            return found
        try:
            return found.format(**values)
        except (KeyError, IndexError, ValueError):
            return text.format(**values)

    def counted(self, count: int, one: str, many: str, **values: object) -> str:
        """The one text or the other, by how the language counts; {count} in it is the number as it is printed."""
        singular = count in (0, 1) if self.language == "fr" else count == 1
        return self(one if singular else many, count=self.number(count, 0), **values)

    def term(self, word: str | None) -> str:
        """A word of the vocabulary as people write it: full-sweep as full sweep."""
        return self(word.replace("-", " ").replace("_", " ")) if word else ""

    def reason(self, why: str) -> str:
        """Why a record counts or does not, as roles tell it, in the document's language; of several each, and as it is
        where it is none of theirs."""
        if told := role_reasons.recognised(why):
            template, filled = told
            if "day" in filled:
                filled["day"] = self.day(filled["day"])
            return self(template, **filled)
        parts = why.split("; ")
        return "; ".join(map(self.reason, parts)) if len(parts) > 1 else self.told(why)

    def told(self, text: str) -> str:
        """A text that is stored in English, such as why a record is not graded, as far as its phrases are known; what
        is quoted in it stays as it is, but days, and so does what is not known."""
        if _MOMENT.fullmatch(text):
            return self.day(text)
        if self.original or not text:
            return text
        if text in self._texts:
            return self(text)
        if text in _WAYS:
            return self.way(text)
        if found := told_phrases.recognised(text):
            template, filled = found
            return self(template, **{name: self.told(part) for name, part in filled.items()})
        for mark in ("; ", ", "):
            parts = text.split(mark)
            if len(parts) < 2:
                continue
            said = [self.told(part) for part in parts]
            if mark == "; " or all(a != b or self._kept(a) for a, b in zip(parts, said, strict=True)):
                return mark.join(said)
        return text

    def _kept(self, text: str) -> bool:
        """Whether a part of a stored text is the same in every language: a name, a quantity, a term kept as it is."""
        return " " not in text or text in self._texts or told_phrases.is_quantity(text)

    def parameter(self, name: str) -> str:
        """The printed name of a parameter, or of one at one wavelength, such as optical_loss_850nm."""
        of, nm = vocabulary.wavelength_of(name)
        printed = self(vocabulary.parameter(of).name)
        return self("{parameter} at {nm} nm", parameter=printed, nm=nm) if nm else printed

    def unit(self, unit: str) -> str:
        """A unit as it is printed."""
        return "ft" if unit == "m" and self.lengths == "ft" else _UNITS.get(unit, unit)

    def headed(self, name: str) -> str:
        """A parameter's name with its unit, for the head of a column or an axis."""
        return f"{self.parameter(name)}, {self.unit(vocabulary.parameter(name).unit)}"

    def end(self, end: str | None) -> str:
        """An end in two words."""
        return {"local": self("local end"), "remote": self("remote end")}.get(end or "", "")

    def way(self, direction: str | None) -> str:
        """A direction in words."""
        ways = {"local-remote": self("local to remote"), "remote-local": self("remote to local")}
        return ways.get(direction or "", "")

    def number(self, value: float | None, decimals: int = 1, *, empty: str = "") -> str:
        """A number with a fixed count of decimals. Null gives `empty`."""
        if value is None:
            return empty
        rounded = round(value, decimals) + 0.0  # + 0.0 turns minus zero into zero
        if self._locale in _ENGLISH:
            return f"{rounded:,.{decimals}f}".replace("-", _MINUS)
        from babel.numbers import format_decimal

        pattern = "#,##0" + ("." + "0" * decimals if decimals else "")
        return str(format_decimal(rounded, format=pattern, locale=self._locale)).replace("-", _MINUS)

    def free(self, value: float | None, *, empty: str = "") -> str:
        """A number with as many decimals as it needs, at most six."""
        from babel.numbers import format_decimal

        if value is None:
            return empty
        return str(format_decimal(value, format="#,##0.######", locale=self._locale)).replace("-", _MINUS)

    def value(self, value: float | None, unit: str, decimals: int | None = None) -> str:
        """A value with the decimals that its unit deserves, without the unit; metres in feet where those are wanted."""
        if value is not None and unit == "m" and self.lengths == "ft":
            value, unit = value / METRES_PER_FOOT, "ft"
        return self.number(value, _DECIMALS.get(unit, 2) if decimals is None else decimals)

    def margin(self, value: float | None, unit: str) -> str:
        """A margin: with more decimals than its unit deserves where fewer would make none of it."""
        return self.value(value, unit, decimals_of(value, unit))

    def day(self, iso: str | None, *, empty: str = "") -> str:
        """An ISO 8601 date or date-time as a date, with the time where it is there; other words stay."""
        from babel.dates import format_date

        if not iso:
            return empty
        try:
            day = date.fromisoformat(iso[:10])
        except ValueError:
            return iso
        text = format_date(day, format="d MMMM y" if self._locale == "en" else "long", locale=self._locale)
        return f"{text}, {iso[11:16]}" if len(iso) >= 16 else text

    def length(self, metres: float | None, *, empty: str = "") -> str:
        """A length with its unit."""
        if metres is None:
            return empty
        return f"{self.value(metres, 'm')} {self.unit('m')}"

    def verdict(self, word: str | None) -> str:
        """A verdict as it is printed."""
        return {"pass": self("pass"), "fail": self("fail"), "informative": self("informative")}.get(
            word or "", self("not graded")
        )

    def marked(self, word: str | None, *, marginal: bool | None = False, provisional: bool | None = False) -> str:
        """A verdict as it is printed, with what must stand beside it."""
        marks = [(marginal, self("marginal")), (provisional, self("provisional"))]
        return ", ".join([self.verdict(word), *(text for there, text in marks if there)])

    def listed(self, names: Sequence[str]) -> str:
        """Names in a row, with "and" before the last."""
        from babel.lists import format_list

        return str(format_list(names, locale="en_GB" if self.language == "en" else self.language))

    def some(self, names: Iterable[str], most: int = 12) -> str:
        """Names in a row, the first of them where there are many, and how many there are more."""
        listed = list(names)
        shown = ", ".join(listed[:most])
        return shown if len(listed) <= most else self("{names} and {count} more", names=shown, count=len(listed) - most)


ENGLISH = Wording()


def decimals_of(value: float | None, unit: str) -> int:
    """Decimals that a margin needs: those of its unit, more where it would be rounded to none."""
    decimals = _DECIMALS.get(unit, 2)
    while value is not None and abs(value) >= _EXACT and round(value, decimals) == 0 and decimals < 9:
        decimals += 1
    return decimals


def plain(value: Any) -> str:
    """Any cell as text; null is empty."""
    return "" if value is None else str(value)
