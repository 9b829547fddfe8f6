"""The limit of a record is the same for a rule and for a grade, and the day of the test chooses the edition."""

from __future__ import annotations

import itertools

from archive.grading.resolve_limit import resolve as resolve_named
from archive.tables import Batch
from archive.validation.look import RecordLook
from archive.validation.look.limits_of import resolve

WORDS = (
    "Cat 6 perm. link",
    "TIA Cat 6A",
    "EN 50173 Class EA permanent link",
    "tia-568.2-d/cat6a/permanent-link",
    "",
    "?",
)


def test_rules_and_grades_resolve_alike() -> None:
    """Words, configuration, connections and day in all combinations; some resolve, some do not."""
    cases = itertools.product(
        WORDS, ("permanent-link", "channel", None), (None, 2, 3), ("2001-05-01", "2010-01-01T10:00", "2025-01-01", None)
    )
    rows = [
        {
            "record_id": f"r{i}",
            "evidence": "full-sweep",
            "limit_found": words,
            "configuration": configuration,
            "connections": connections,
            "tested_local": day,
        }
        for i, (words, configuration, connections, day) in enumerate(cases)
    ]
    batch = Batch.from_rows({"records": rows})
    graded = [n.limit_id or "" for n in resolve_named(batch, {})]
    assert list(RecordLook(batch, "2026-11-25").limits.ids) == graded
    assert 0 < sum(map(bool, graded)) < len(graded)


def test_the_day_of_the_test_chooses_the_edition() -> None:
    """In 2009 the addendum of 2008 to TIA/EIA-568-B was the one edition with category 6A; later ones leave it open."""
    words = "TIA Cat 6A permanent link"
    assert resolve(words, "", "2009-05-01")[0] == "tia-568-b/cat6a/permanent-link"
    assert resolve(words)[0] == ""
