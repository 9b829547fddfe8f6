"""The generator itself: the same document for the same seed, truth that stands in it, a scorer that counts rightly."""

from __future__ import annotations

import json
from dataclasses import fields

import pytest

from tests.benchmarks import layouts as benchmark
from tests.formats.layouts import Traits, build, compare, draw, make, seeds_of, shrink, simpler
from tests.formats.layouts.pen import Pen, words_of
from tests.formats.layouts.scoring import Read

SEEDS = range(40)


def _perfect(facts: list[dict[tuple[str, ...], object]]) -> list[Read]:
    return [Read(str(f["field", "label"]), None, {k: [v] for k, v in f.items()}) for f in facts]


def test_a_seed_is_one_document_in_each_split() -> None:
    """The same bytes and truth at each call; train and test have nothing in common under one number."""
    for seed in (0, 3, 9):
        assert make(seed).files == make(seed).files
        assert make(seed).facts == make(seed).facts
        assert make(seed, "test").files != make(seed).files


def test_every_document_has_truth_of_each_of_its_tests() -> None:
    """No test without its label and a measured item; labels of a text stand in its bytes."""
    kinds = set()
    for seed in SEEDS:
        layout = make(seed)
        assert len(layout.facts) == layout.traits.tests
        for facts in layout.facts:
            kinds |= {key[0] for key in facts}
            assert any(key[0] in ("scalar", "worst", "curve") for key in facts)
            if layout.traits.container not in ("xlsx", "folder"):
                label = str(facts["field", "label"])
                (content,) = layout.files.values()
                assert any(label.encode(e) in content for e in ("utf-8", "utf-16-le"))
    assert kinds == {"field", "scalar", "worst", "curve"}


def test_numbers_of_a_plain_document_are_its_truth() -> None:
    """A JSON of one row per link holds each number of the truth, as printed."""
    layout = build(Traits(container="json", scalars=("length",), tests=2))
    (rows,) = json.loads(layout.files["results.json"]).values()
    assert len(rows) == 2
    for row, facts in zip(rows, layout.facts, strict=True):
        numbers = {v for k, v in facts.items() if k[0] in ("scalar", "worst")}
        assert numbers
        assert numbers <= set(row.values())


def test_every_trait_is_drawn_otherwise_than_plain_somewhere() -> None:
    """No trait is there for nothing."""
    plain, drawn = Traits(), [draw(seed) for seed in range(300)]
    for field in fields(Traits):
        if field.name != "split":
            assert any(getattr(t, field.name) != getattr(plain, field.name) for t in drawn), field.name


def test_some_words_are_drawn_by_test_seeds_alone() -> None:
    """Documents for training say no word of held_out.toml under its term; those for testing say some."""
    known, more = words_of(False), words_of(True)
    held = {
        (term, language, word)
        for term, of in more.items()
        for language, words in of.items()
        for word in set(words) - set(known[term].get(language, []))
    }
    assert len(held) > 50
    said = {
        (split, (term, pen.traits.language, pen.word(term)) in held)
        for split in ("train", "test")
        for seed in SEEDS
        for pen in [Pen(draw(seed, split))]
        for term in known
    }
    assert said == {("train", False), ("test", False), ("test", True)}


def test_the_scorer_counts_right_missing_and_wrong() -> None:
    """A perfect reading is all right; an item left out is missing, one changed or invented is wrong."""
    facts = make(2).facts
    whole = compare(facts, _perfect(facts))
    assert (whole.right, whole.wrong, whole.missing) == (whole.of, 0, 0)
    read = _perfect(facts)
    key = next(k for k in facts[0] if k[0] == "scalar")
    del read[0].items[key]
    assert (compare(facts, read).missing, compare(facts, read).wrong) == (1, 0)
    read[0].items[key] = [-1.0]
    assert (compare(facts, read).missing, compare(facts, read).wrong) == (0, 1)
    read[1].items["scalar", "temperature", ""] = [21.0]
    assert compare(facts, read).wrong == 2
    stranger = Read("Total", None, {("field", "label"): ["Total"], ("scalar", "length", ""): [3.0]})
    assert compare(facts, [*_perfect(facts), stranger]).wrong == 2
    assert compare(facts, []).missing == whole.of


def test_curves_under_less_than_their_place_are_missing_not_wrong() -> None:
    """A curve without its end says nothing false; one under another end does."""
    layout = build(Traits(shape="points", parameters=("return_loss",), tests=1))
    read = _perfect(layout.facts)
    key = next(k for k in layout.facts[0] if k[0] == "curve")
    value = read[0].items.pop(key)
    read[0].items[(*key[:2], "", *key[3:])] = value
    assert (compare(layout.facts, read).missing, compare(layout.facts, read).wrong) == (1, 0)
    del read[0].items[(*key[:2], "", *key[3:])]
    other = (*key[:2], "remote" if key[2] == "local" else "local", *key[3:])
    read[0].items[other] = [*read[0].items[other], *value]
    assert compare(layout.facts, read).wrong == 1


def test_shrinking_ends_at_the_trait_that_matters() -> None:
    """Everything else becomes plain."""
    start = next(t for t in map(draw, range(200)) if t.footer and t.container == "csv" and t.shape == "summary")
    found = shrink(start, lambda t: t.footer)
    assert found.footer
    assert [t for t in simpler(found) if t.footer] == []


def test_seeds_are_said_with_their_split() -> None:
    """A bare range is of train; anything else is refused."""
    assert seeds_of("3-4,test:7") == [("train", 3), ("train", 4), ("test", 7)]
    with pytest.raises(ValueError, match="not like"):
        seeds_of("other:1")


def test_the_benchmark_measures_without_breaking() -> None:
    """Its quick form: shares between 0 and 1, no command that ends with a traceback."""
    rows = benchmark.run(quick=True)
    assert rows[0]["documents"] == 6
    assert rows[0]["items"] > 100
    assert rows[0]["broke"] == 0
    shares = [row["drafted_right"] for row in rows if "drafted_right" in row]  # other rows name what is lost
    assert len(shares) > 5
    assert all(0 <= share <= 1 for share in shares)
