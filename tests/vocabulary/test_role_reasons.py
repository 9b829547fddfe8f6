"""Reasons of roles: each is known again from its sentence, and stands in the language of a document."""

from __future__ import annotations

import pytest

from archive.answers.wording import Wording
from archive.vocabulary.role_reasons import REASONS, reason, recognised

FILLED = {"record": "re-" + "0a" * 16, "count": "3", "less": "2", "day": "2024-07-01"}


@pytest.mark.parametrize("key", REASONS)
def test_a_reason_is_known_again_from_its_sentence(key: str) -> None:
    template, filled = recognised(reason(key, **FILLED)) or ("", {})
    assert template == REASONS[key]
    assert filled == {k: v for k, v in FILLED.items() if f"{{{k}}}" in template}


@pytest.mark.parametrize("locale", ["de", "fr", "es"])
@pytest.mark.parametrize("key", REASONS)
def test_a_reason_is_translated_with_what_it_names(key: str, locale: str) -> None:
    english = reason(key, **FILLED)
    told = Wording(locale).reason(english)
    assert told != english
    for blank, value in FILLED.items():
        if f"{{{blank}}}" in REASONS[key]:
            assert (Wording(locale).day(value) if blank == "day" else value) in told


def test_several_reasons_are_told_each() -> None:
    both = f"{reason('only')}; {reason('withdrawn')}"
    assert Wording("de").reason(both) == "die einzige Messung; zurückgezogen"
    assert Wording("en").reason(both) == both


def test_a_sentence_of_another_kind_stands_as_it_is() -> None:
    assert recognised("tested to 100 MHz only") is None
    assert Wording("de").reason("tested to 100 MHz only") == "tested to 100 MHz only"
