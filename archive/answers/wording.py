"""Words, numbers, dates and lengths of documents, by language and place.

Texts are English in the code and pass through a gettext catalogue: schemas/messages/LANGUAGE.po, read as it is,
translates them; muniment.pot there lists them all.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from archive import schemas

METRES_PER_FOOT = 0.3048  # international foot, exact by definition (1959 agreement)


@cache
def _catalogue(language: str) -> dict[str, str]:
    """Translations of one language; empty where there is no file for it."""
    from babel.messages.pofile import read_po

    path = schemas.root() / "messages" / f"{language}.po"
    if not path.is_file():
        return {}
    with path.open("rb") as file:
        return {str(m.id): str(m.string) for m in read_po(file) if m.id and m.string}


@dataclass(frozen=True)
class Wording:
    """How a document speaks. locale: such as "en", "en_US", "de"; lengths: "m" or "ft"."""

    locale: str = "en"
    lengths: str = "m"

    @property
    def language(self) -> str:
        """The language alone."""
        return self.locale.split("_")[0]

    def __call__(self, text: str, **values: object) -> str:
        """The text in the document's language, with {names} filled in."""
        found = _catalogue(self.language).get(text, text)
        return found.format(**values) if values else found

    def number(self, value: float | None, decimals: int = 1, *, empty: str = "") -> str:
        """A number with a fixed count of decimals. Null gives `empty`."""
        from babel.numbers import format_decimal

        if value is None:
            return empty
        rounded = round(value, decimals) + 0.0  # + 0.0 turns minus zero into zero
        pattern = "#,##0" + ("." + "0" * decimals if decimals else "")
        return str(format_decimal(rounded, format=pattern, locale=self.locale))

    def free(self, value: float | None, *, empty: str = "") -> str:
        """A number with as many decimals as it needs, at most six."""
        from babel.numbers import format_decimal

        return empty if value is None else str(format_decimal(value, format="#,##0.######", locale=self.locale))

    def day(self, iso: str | None, *, empty: str = "") -> str:
        """An ISO 8601 date or date-time as a date, with the time where it is there; other words stay."""
        from babel.dates import format_date

        if not iso:
            return empty
        try:
            day = date.fromisoformat(iso[:10])
        except ValueError:
            return iso
        text = format_date(day, format="d MMMM y" if self.language == "en" else "long", locale=self.locale)
        return f"{text} {iso[11:16]}" if len(iso) >= 16 else text

    def length(self, metres: float | None, *, empty: str = "") -> str:
        """A length with its unit."""
        if metres is None:
            return empty
        if self.lengths == "ft":
            return f"{self.number(metres / METRES_PER_FOOT, 0)} ft"
        return f"{self.number(metres, 1)} m"

    def verdict(self, word: str | None) -> str:
        """A verdict as it is printed."""
        return {"pass": self("pass"), "fail": self("fail"), "informative": self("informative")}.get(
            word or "", self("not graded")
        )

    def yes(self, value: bool | None) -> str:
        """Yes, no, or not stated."""
        return self("not stated") if value is None else self("yes") if value else self("no")


ENGLISH = Wording()


def message_files() -> list[Path]:
    """The catalogues that are there."""
    return sorted((schemas.root() / "messages").glob("*.po*"))


def value_text(wording: Wording, value: float | None, unit: str) -> str:
    """A value of a parameter with the decimals its unit deserves: dB 1, ns 0, ohm 2, % 2, m 1."""
    decimals = {"dB": 1, "ns": 0, "ohm": 2, "%": 2, "m": 1}.get(unit, 2)
    return wording.number(value, decimals)


def plain(value: Any) -> str:
    """Any cell as text; null is empty."""
    return "" if value is None else str(value)
