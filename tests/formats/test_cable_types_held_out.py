"""Descriptions by a second writer, who had not seen the rules: what is read right, and that nothing is guessed."""

from __future__ import annotations

import tomllib
from collections import Counter
from pathlib import Path

from archive.formats.cable_types import neutral
from archive.vocabulary import cables

ROWS: list[dict[str, str]] = tomllib.loads(
    (Path(__file__).parent / "cable_descriptions_held_out.toml").read_text(encoding="utf-8")
)["description"]
_UNDECIDED = {"unknown", "open", "screened", "contradicted"}


def test_the_list_is_whole() -> None:
    assert set(Counter(row["language"] for row in ROWS).values()) == {20}
    assert len({row["text"] for row in ROWS}) == len(ROWS) == 200


def test_known_parts_are_read_and_none_is_guessed() -> None:
    """Out of sample, before the rules were widened: 538 of 564 right, none wrong, 4 guessed. Now 560, none, none."""
    known = right = 0
    wrong, guessed = [], []
    for row in ROWS:
        found = cables.known(neutral(row["text"]))
        for part in cables.PARTS:
            want, got = row[part], found.get(part, "")
            if want in _UNDECIDED:
                guessed += [(row["text"], part, got)] if got else []
                continue
            known += 1
            right += got == want
            wrong += [(row["text"], part, got)] if got not in ("", want) else []
    assert (wrong, guessed) == ([], [])
    assert known == 564
    assert right >= 560


def test_what_the_words_leave_undecided_is_told_as_that() -> None:
    rows = [(row["text"], part, row[part]) for row in ROWS for part in ("class", "construction")]
    told = [(text, part, cables.said(neutral(text)).get(part, "")) for text, part, want in rows if want == "screened"]
    assert len(told) > 20
    assert [row for row in told if row[2] != cables.SCREENED] == []
    contradicted = [(text, part) for text, part, want in rows if want == cables.CONTRADICTED]
    assert len(contradicted) > 5
    assert [x for x in contradicted if cables.state(neutral(x[0]), x[1]) != cables.CONTRADICTED] == []
