"""Words folded, and phrases found in them as patterns tried one after the other would find them."""

from __future__ import annotations

import re

from hypothesis import given
from hypothesis import strategies as st

from archive.vocabulary.phrases import PhraseBook, fold, phrase, tokens

_BEFORE = r"(?:(?<![a-z0-9.])|(?<=[a-z0-9])(?=[^\x00-\x7f]))"
_AFTER = r"(?:(?![a-z0-9]|\.[a-z0-9])|(?<=[^\x00-\x7f])(?=[a-z0-9]))"

words = st.sampled_from(["cat", "6", "6a", "a", "cat6", "568", "c.2", "класс", "類", "5e", "in", "."])
phrases = st.lists(st.tuples(words.filter(lambda w: w != "."), st.sampled_from(" _")), min_size=1, max_size=3).map(
    lambda parts: "".join(w + s for w, s in parts)[:-1]
)
texts = st.lists(st.tuples(words, st.sampled_from(["", " ", " "])), max_size=8).map(
    lambda parts: " ".join("".join(w + s for w, s in parts).split())
)


def _by_patterns(book: list[str], text: str) -> tuple[list[tuple[str, str]], str]:
    """The same by one pattern per phrase, longest first."""
    found = []
    for listed in sorted(set(book), key=lambda p: (-len(p.replace(" ", "")), p)):
        inner = re.escape(listed).replace(r"\ ", " ?").replace("_", " ")
        starts = [m.span() for m in re.finditer(_BEFORE + inner + _AFTER, text)]
        found += [(listed, start, end) for start, end in starts]
    taken: list[tuple[str, str]] = []
    left = list(text)
    for listed, start, end in found:
        if "\n" not in left[start:end]:
            taken.append((listed, text[start:end]))
            left[start:end] = "\n" * (end - start)
    return taken, " ".join("".join(left).split())


@given(st.lists(phrases, max_size=6), texts)
def test_phrases_are_those_that_patterns_find(book: list[str], text: str) -> None:
    found = PhraseBook((p, p) for p in book).take(text)
    assert found == _by_patterns(book, text)


def test_a_phrase_counts_only_as_a_whole_and_the_longest_first() -> None:
    book = PhraseBook({"cat 6": 6, "cat 6a": 7, "568 b": 1, "6 e_a": 2}.items())
    assert book.take("cat 6a and cat6") == ([(7, "cat 6a"), (6, "cat6")], "and")
    assert book.take("568 b.2 and cat 6b") == ([], "568 b.2 and cat 6b")
    assert book.take("6 ea") == ([], "6 ea")
    assert book.take("6e a") == ([(2, "6e a")], "")
    assert PhraseBook[int]([]).take("cat 6") == ([], "cat 6")


def test_letters_of_another_script_beside_a_phrase_make_it_no_other() -> None:
    book = PhraseBook({"cat 6a": 1, "チャネル": 2}.items())
    assert book.take("cat6aチャネルcat6a") == ([(1, "cat6a"), (1, "cat6a"), (2, "チャネル")], "")


def test_folded_letters_are_small_and_without_latin_accents() -> None:
    assert fold("ÜBERTRAGUNGS-Straße Eₐ") == "ubertragungs-strasse ea"
    assert fold("Łącze ŒUVRE Ørsted") == "lacze oeuvre orsted"
    assert fold("カテゴリー") == "カテゴリー"


def test_words_are_cut_where_writers_cut_them() -> None:
    assert tokens("returnLoss_dB @100MHz") == ("return", "loss", "d", "b", "100", "mhz")
    assert phrase("Prüf-Ergebnis (gesamt)") == "pruf ergebnis gesamt"
    assert phrase("l'essai") == "l essai"
