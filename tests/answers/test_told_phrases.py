"""Findings and reasons in translated documents: the sentence is the rule's or the phrase's, what is quoted stays."""

import re

import pytest
from answers_making import CONFLICT, EXPIRED, FLIPPED, POINTS, STANDS
from test_claim import ON

from archive import schemas
from archive.answers.claim.compose import compose
from archive.answers.claim.gather import gather
from archive.answers.documents import html
from archive.answers.finding_text import finding_text, remedy_text
from archive.answers.wording import ENGLISH, Wording
from archive.validation import catalogue
from archive.vocabulary import told_phrases

LANGUAGES = ("de", "fr", "es")
REASONS = (  # as archive.grading tells them
    "covers 1-350 of 1-500 MHz",
    "NEXT, PS NEXT: worst points only; propagation delay, delay skew: not there",
    "event 3 at 1.204 km, taken for a splice: mean of 0.050 dB there and -0.020 dB back",
    "limit unknown: 'House limit 7'; no category, class or application of the library is named",
    "one direction of fibre A; that one is enough is from memory",
    "the instrument says pass, and the margin is smaller than half a step of its numbers",
    "insertion loss: worst margin 1.02 dB here, 1.4 by the instrument",
)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("text", REASONS)
def test_a_reason_is_said_in_the_language_with_its_figures(language, text):
    said = Wording(language).told(text)
    assert said != text and ENGLISH.told(text) == text
    assert sorted(re.findall(r"\d[\d.,]*\d|\d", said)) == sorted(re.findall(r"\d[\d.,]*\d|\d", text))
    for word in ("covers", "worst points", " taken ", "unknown", "memory", "smaller", " here"):
        assert word not in said


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_rule_tells_its_finding_and_remedy_in_the_language(language):
    words = Wording(language)
    for name, rule in catalogue.rules().items():
        filled = {"where": "7-AA", "found": "8-BB", "expected": "9-CC"}
        finding = {"rule": name, "message": rule.message.format(**filled), "remedy": rule.remedy, **filled}
        said = finding_text(finding, words)
        assert finding_text(finding, ENGLISH) == finding["message"]
        assert said != finding["message"] or set(finding["message"]) <= set("7-AA8BB9CC:;., "), name
        assert all((value in finding["message"]) == (value in said) for value in filled.values()), name
        assert remedy_text(finding, words) != rule.remedy, name


def test_a_finding_that_was_told_in_another_sentence_stays_as_it_is_stored():
    finding = {"rule": "zone-missing", "message": "A sentence of an older rule.", "found": "2024-06-10T08:24:46"}
    assert finding_text(finding, Wording("de")) == "A sentence of an older rule."


def test_labels_names_and_unknown_words_are_left_alone():
    words = Wording("de")
    for text in (
        "1A-A06",
        "Lantern Quay 4",
        "a sentence that nobody knows, with pass in it",
        "tia-568.2-d/cat6a/channel",
    ):
        assert words.told(text) == text
    assert words.told("2024-06-10") == "10. Juni 2024"
    assert words.told("NEXT local 1-2/4-5") == "NEXT lokal 1-2/4-5"


@pytest.mark.parametrize("label", [STANDS, FLIPPED, EXPIRED, POINTS, CONFLICT])
def test_no_sentence_of_a_rule_stands_in_english_in_a_translated_claim(troubles, label):
    facts = gather(troubles, label, on=ON)[0]
    english, german = html(compose(facts)), html(compose(facts, Wording("de")))
    findings = [f for t in facts.tests for f in t.rows("findings") if f["status"] == "raised"]
    shown = {s for f in findings for s in (f["message"], f["remedy"]) if s in english}
    assert not [s for s in shown if s in german and " " in s]
    custody = {what for what, _, _ in facts.steps} | {e["what"] for e in facts.history} | set(facts.cautions)
    assert not [s for s in custody if s in german]
    for t in facts.tests:
        for v in t.rows("verdicts"):
            if v["reason"] and v["reason"] in english:
                assert v["reason"] not in german


def test_phrases_are_tried_from_the_longer_to_the_shorter_and_each_is_one_of_its_own():
    texts = told_phrases.texts()
    assert len(texts) == len(set(texts)) and set(schemas.load("told.toml")) == {"texts"}
    for text in texts:
        plain = re.sub(r"\{(\w+)\}", lambda m: _SAMPLE.get(m[1], "7 dB"), text)
        found = told_phrases.recognised(plain)
        assert found is not None and found[0] == text, (plain, found)


_SAMPLE = {
    "parameter": "NEXT",
    "parameters": "NEXT, PS NEXT",
    "pair": "1-2/3-6",
    "end": "local",
    "contact": "3",
    "verdict": "pass",
    "count": "5",
    "points": "5",
    "needed": "4",
    "ends": "2",
    "number": "2",
    "wanted": "B",
    "letter": "C",
    "field": "link_label",
    "day": "2024-06-10",
    "words": "some words",
    "names": "some names",
    "what": "a thing",
    "place": "a place",
    "between": "7 and 9 MHz",
}
