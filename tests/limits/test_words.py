"""From an export's words to a limit: any order, spelling and language; never a guess."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive import limits
from archive.limits import find
from archive.limits.phrases import all_phrases, normal, take

CASES = tomllib.loads((Path(__file__).parent / "words.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("row", CASES["resolved"], ids=[" ".join(r[:1] + r[2:]) for r in CASES["resolved"]])
def test_resolved(row: list[str]) -> None:
    words, limit_id, *tested_on = row
    found = find(words, *tested_on)
    assert found.limit_id == limit_id, found
    assert found.candidates == (limit_id,) and found.reason


@pytest.mark.parametrize("row", CASES["open"], ids=[" ".join(r[:1] + r[3:]) or "nothing" for r in CASES["open"]])
def test_not_resolved(row: list[str]) -> None:
    words, reason, candidate, *tested_on = row
    found = find(words, *tested_on)
    assert found.limit_id is None and reason in found.reason, found
    assert candidate in found.candidates if candidate else True


def test_every_id_is_its_own_words() -> None:
    for limit_id in limits.ids():
        assert find(limit_id).limit_id == limit_id


# Ways to write an edition, a category or class and a configuration, with what they mean: joined in any order.
EDITIONS = {
    "tia-568.2-d": ["TIA-568.2-D", "568.2-D", "ANSI/TIA 568.2D"],
    "tia-568-c.2": ["TIA-568-C.2", "568-C", "EIA/TIA 568C.2"],
    "tia-568-b": ["568-B", "TIA/EIA-568-B.2"],
    "iso-11801-1": ["ISO/IEC 11801-1:2017", "ISO 11801-1", "11801-1"],
    "iso-11801": ["ISO/IEC 11801:2002", "ISO11801", "11801 2nd edition"],
    "en-50173-1": ["EN 50173-1:2018", "DIN EN 50173-1:2018", "EN50173-1 2018"],
}
NAMES = {
    "cat5e": ["Cat 5e", "Category 5 enhanced", "Kategorie 5e", "CAT5E", "5e", "catégorie 5e"],
    "cat6": ["Cat 6", "CAT.6", "Kat6", "categoría 6", "Kategorie 6"],
    "cat6a": ["Cat 6A", "cat6a", "6A", "category 6 augmented", "Kategorie 6A", "Cat 6ₐ"],
    "class-d": ["Class D", "Klasse D", "classe D", "clase D"],
    "class-e": ["Class E", "Klasse E", "classe E"],
    "class-ea": ["Class EA", "Klasse E_A", "Class Eₐ", "classe E indice A", "class E with subscript A"],
    "class-f": ["Class F", "Klasse F"],
}
PLACES = {
    "channel": ["channel", "Übertragungsstrecke", "canal", "Kanal", "CH"],
    "permanent-link": ["permanent link", "perm. link", "PL", "Installationsstrecke", "lien permanent"],
}
COUNTS = {
    "2": ["2 connectors", "two connections", "zwei Verbindungen"],
    "3": ["3 connections", "trois connexions", "with CP"],
}


@st.composite
def wordings(draw: st.DrawFn) -> tuple[str, str]:
    edition = draw(st.sampled_from(sorted(EDITIONS)))
    of_tia = edition.startswith("tia")
    name = draw(st.sampled_from([n for n in NAMES if n.startswith("cat") == of_tia]))
    place = draw(st.sampled_from(sorted(PLACES)))
    parts = [draw(st.sampled_from(w)) for w in (EDITIONS[edition], NAMES[name], PLACES[place])]
    limit_id = f"{edition}/{name}/{place}"
    if place == "permanent-link" and not of_tia:
        count = draw(st.sampled_from(sorted(COUNTS)))
        parts.append(draw(st.sampled_from(COUNTS[count])))
        limit_id += f"-{count}"
    words = draw(st.sampled_from([", ", " - ", "; ", " / ", "  "])).join(draw(st.permutations(parts)))
    return draw(st.sampled_from([words, words.upper(), words.lower()])), limit_id


@settings(max_examples=300, deadline=None)
@given(wordings())
def test_any_order_spelling_and_language(case: tuple[str, str]) -> None:
    words, limit_id = case
    assert find(words).limit_id == limit_id, (words, find(words))


@settings(max_examples=300, deadline=None)
@given(wordings(), st.integers(min_value=0, max_value=2))
def test_a_part_left_out_is_never_filled_in(case: tuple[str, str], which: int) -> None:
    """Without its edition, category or configuration a wording resolves to nothing, and names the right one."""
    _, limit_id = case
    edition, name, place = limit_id.split("/")
    base, count = (place[:-2], place[-1]) if place[-2:] in ("-2", "-3") else (place, "")
    parts = [EDITIONS[edition][0], NAMES[name][0], PLACES[base][0]]
    del parts[which]
    found = find(" ".join([*parts, *([COUNTS[count][0]] if count else [])]))
    assert found.limit_id is None
    assert limit_id in found.candidates


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_answered(text: str) -> None:
    found = find(text)
    assert found.limit_id is None or found.limit_id in limits.ids()
    assert set(found.candidates) <= set(limits.ids()) and found.reason


def test_words_that_no_rule_knows_are_told() -> None:
    assert find("TIA-568.2-D Cat 6A channel, blue cable").unread == ("blue", "cable")


def test_normal_form() -> None:
    assert normal("TIA/EIA-568-B.2-1 Cat.6A") == "tia eia 568 b.2 1 cat 6a"
    assert normal("Klasse Eₐ, ÜBERTRAGUNGSSTRECKE") == "klasse ea ubertragungsstrecke"
    assert normal("classe E à deux connexions") == "classe e deux connexions"
    assert normal("IEEE 802.3, 2.5GBASE-T.") == "ieee 802.3 2.5gbase t"


def test_no_phrase_of_the_rules_hides_another() -> None:
    """A phrase must be found in its own words, whole."""
    meanings = all_phrases().meanings
    assert len(meanings) > 1000
    for phrase in meanings:
        words = phrase.replace("_", " ")
        found, left = take(words)
        assert [f.words for f in found] == [words]
        assert not left
