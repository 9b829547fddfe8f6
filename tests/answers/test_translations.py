"""German, French and Spanish texts of documents: complete, with the same words to fill in, honest about themselves."""

import re
import string
from dataclasses import replace

import pytest
from answers_making import FLIPPED, JOB, STANDS
from babel.messages.pofile import read_po
from test_claim import ON

from archive import schemas
from archive.answers import messages
from archive.answers.book.compose import asked, volumes
from archive.answers.book.gather import gather as gather_job
from archive.answers.claim.compose import compose
from archive.answers.claim.gather import gather
from archive.answers.documents import html, pdf
from archive.answers.translated import translation_note
from archive.answers.wording import ENGLISH, Wording

LANGUAGES = ("de", "fr", "es")


def shipped(language):
    """The messages of a translation, without its head."""
    with (schemas.root() / "messages" / f"{language}.po").open("rb") as file:
        return [m for m in read_po(file, abort_invalid=True) if m.id]


def filled_in(text):
    """Names of what is filled in."""
    return sorted(name for _, name, _, _ in string.Formatter().parse(text) if name is not None)


def test_translations_are_those_that_are_tested():
    assert sorted(p.stem for p in (schemas.root() / "messages").glob("*.po")) == sorted(LANGUAGES)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_translation_has_every_text_and_no_other(language):
    listed = shipped(language)
    assert {m.id for m in listed} == set(messages.texts()), "see `python -m archive.answers.messages`"
    assert all(m.string and not m.fuzzy for m in listed)


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_filled_in_and_its_edges_are_the_same(language):
    listed = shipped(language)
    assert len(listed) > 500
    for m in listed:
        assert filled_in(m.string) == filled_in(m.id), m.id
        # A text that goes on after another, or is gone on after, keeps its spaces.
        assert (m.string[0] == " ") >= (m.id[0] == " "), m.id
        assert m.string.endswith(" ") or not m.id.endswith(" ") or m.string.endswith("’"), m.id


@pytest.mark.parametrize("language", LANGUAGES)
def test_documents_are_in_the_language_with_its_dates_and_say_that_english_counts(troubles, language):
    words = Wording(language)
    facts = replace(gather(troubles, FLIPPED, on=ON)[0], reason="")
    page = html(compose(facts, words))
    assert f'<html lang="{language}">' in page
    (note,) = translation_note(words)
    counts = note.text
    assert counts in page and "English text counts" not in page
    assert words.day("2030-01-15") in page and ENGLISH.day("2030-01-15") not in page
    for text in ("Before you rely on this record", "Custody and proof", "Neighbours", "smallest margin", "Time line"):
        assert words(text) != text and words(text) in page and f">{text}<" not in page, text
    book = next(volumes(gather_job(troubles, JOB), asked("summary,results"), words)).document
    assert counts in repr(book.sections[0].blocks) and words("Results per link") in repr(book.sections)


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_translated_claim_is_set_and_its_letters_are_there(troubles, language, tmp_path):
    made = pdf(compose(gather(troubles, STANDS, on=ON)[0], Wording(language)))
    assert made.startswith(b"%PDF-") and len(re.findall(rb"/Type\s*/Page\b", made)) >= 1


def test_the_english_documents_say_nothing_of_translations(troubles):
    assert "English text counts" not in html(compose(gather(troubles, STANDS, on=ON)[0]))
