"""The numbers behind the simulator name their sources."""

import re

from archive import schemas
from archive.demo import cables


def test_every_source_that_is_named_stands_in_the_list():
    text = (schemas.root() / "simulator.toml").read_text(encoding="utf-8")
    named = set(re.findall(r"\b[SG]\d+\b", text))
    assert len(named) >= 8
    assert named <= set(schemas.load("sources.toml"))


def test_what_is_not_sourced_says_that_it_is_invented():
    text = (schemas.root() / "simulator.toml").read_text(encoding="utf-8")
    for heading in ("[spread]", "[margins]", "[accuracy_db]"):
        before = text[: text.index(f"\n{heading}\n")].rsplit("\n\n", 1)[-1]
        assert "INVENTED" in before, heading


def test_the_limits_that_the_instrument_names_are_in_the_library():
    from archive import limits

    for category in cables.facts()["category"].values():
        for configuration, limit_id in category["limit"].items():
            assert limits.get(limit_id).established
            found = limits.find(category["limit_words"][configuration], "2024-06-10")
            assert found.limit_id == limit_id
