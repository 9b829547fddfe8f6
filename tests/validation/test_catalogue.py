"""The catalogue, and that code and catalogue say the same."""

from __future__ import annotations

import re
from typing import get_args

import pytest

from archive import schemas, vocabulary
from archive.tables import Batch
from archive.validation import catalogue
from archive.validation.catalogue import findings
from archive.validation.catalogue.declared_rules import Severity
from archive.validation.catalogue.policy import Policy
from archive.validation.catalogue.registry import Raised, rule
from archive.validation.rules import job_rules, record_rules
from tests.validation.conftest import untested

RULES = catalogue.rules()


def test_every_rule_has_a_test_that_it_fires_and_one_that_it_stays_silent() -> None:
    assert untested() == []


def test_code_and_catalogue_name_the_same_rules() -> None:
    """Rules over records and over jobs have a function each; what is not in the catalogue has none."""
    assert set(record_rules()) == {r.name for r in RULES.values() if r.by == "record"}
    by_job = {r.name for r in RULES.values() if r.by == "job"}
    # the three rules about copies come from the detector, not from a function of their own
    assert set(job_rules()) == {n for n in by_job if RULES[n].group.name != "copies"}


def test_the_function_of_a_rule_is_in_the_file_named_as_its_declaration() -> None:
    functions = {**record_rules(), **job_rules()}
    assert functions
    assert {n: f.__module__.rpartition(".")[2] for n, f in functions.items()} == {n: RULES[n].file for n in functions}


def test_severities_are_those_of_the_vocabulary() -> None:
    assert set(get_args(Severity)) == set(vocabulary.words("severity"))


def test_a_name_outside_the_catalogue_cannot_be_raised() -> None:
    with pytest.raises(catalogue.UnknownRule):
        rule("a-rule-that-nobody-wrote")
    with pytest.raises(catalogue.UnknownRule):
        rule("a-rule-that-nobody-wrote")
    with pytest.raises(catalogue.UnknownRule):
        ids = Batch.from_rows({"records": []})["records"].column("record_id")
        findings.table("a-rule-that-nobody-wrote", Policy(), ids, ids, Raised([]))


@pytest.mark.parametrize("name", RULES)
def test_texts_are_sentences(name: str) -> None:
    """Meaning, reason, message and remedy are whole sentences; places in a message are those that findings fill."""
    entry = RULES[name]
    for text in (entry.meaning, entry.why, entry.remedy):
        assert re.search(r"[.!?]$", text), text
    assert set(re.findall(r"{(\w*)}", entry.message)) <= {"where", "found", "expected"}
    assert entry.severity in vocabulary.words("severity")


@pytest.mark.parametrize("name", RULES)
def test_sources_are_known(name: str) -> None:
    """Every source id stands in sources.toml; a rule without a source says so in words."""
    source = RULES[name].source
    ids = re.findall(r"\bS\d+\b", source)
    assert set(ids) <= set(schemas.load("sources.toml"))
    if not ids:
        plain = ("no source", "from memory", "definition", "physics", "contract", "schedule", "common practice")
        words = (
            *plain,
            "schemas/",
            "house rule",
            "ISO/IEC",
            "conservation",
            "reciprocity",
            "our own",
            "published",
            "not known",
        )
        assert any(w in source for w in words), source


def test_verdicts_and_marks_in_words() -> None:
    """No text of the catalogue carries a mark that stands for a verdict."""
    for entry in RULES.values():
        text = " ".join((entry.meaning, entry.why, entry.message, entry.remedy, entry.source))
        assert not re.search(r"[\u2713\u2714\u2717\u2718\u2605*]", text), entry.name


def test_a_rule_may_not_be_answered_for_twice() -> None:
    record_rules(), job_rules()  # both have their functions before another one is tried, whichever test runs first
    with pytest.raises(ValueError, match="two functions"):
        rule("limit-missing")(lambda look, limits: iter(()))
    with pytest.raises(ValueError, match="is raised by"):
        rule("polarity-crossed")


def test_whoever_is_told_to_clean_or_turn_a_plug_is_told_of_the_light_first() -> None:
    """IEC 60825-2, common practice: nobody opens a fiber that may carry light."""
    told = [r for r in catalogue.rules().values() if re.search(r"(?i)\bclean\b|plugs?\b.*(turn|adapter)", r.remedy)]
    glass = [r for r in told if "fiber" in r.group.name]
    assert len(glass) >= 5
    for told_by in glass:
        assert told_by.remedy.index("no light is there") < told_by.remedy.lower().index("then"), told_by.name
