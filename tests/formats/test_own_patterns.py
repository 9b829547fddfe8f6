"""Patterns of this program end on every text. Each of these tried for ever on some (found by fuzzing mails)."""

from __future__ import annotations

import random

import pytest

from archive.formats.draft.identifiers import LABEL_SHAPE
from archive.formats.mapping.build.not_placed import _LIST
from archive.formats.mapping.rows.text_rows import DRAWN, blank, drawn


def described(text: str) -> bool:
    """Parts of letters, digits, underscores and dots with a mark between each two, where a dot may be the mark; with a
    letter and a digit."""

    def part(some: str) -> bool:
        return bool(some) and all(c == "." or c == "_" or c.isalnum() for c in some)

    def parts(rest: str) -> bool:
        return part(rest) or any(
            part(rest[:i]) and rest[i] in "-/:." and parts(rest[i + 1 :]) for i in range(len(rest))
        )

    split = any(part(text[:i]) and text[i] in "-/:." and parts(text[i + 1 :]) for i in range(len(text)))
    return split and any(c.isdigit() for c in text) and any(c.isalpha() for c in text)


def test_the_shape_of_labels_is_the_one_described() -> None:
    draw = random.Random(4)
    seen = set()
    for _ in range(4_000):
        text = "".join(draw.choice("aB1.-/:_ ") for _ in range(draw.randint(1, 9)))
        assert bool(LABEL_SHAPE.match(text)) == described(text), text
        seen.add(described(text))
    assert seen == {True, False}
    assert LABEL_SHAPE.match("1A-A01") and LABEL_SHAPE.match("2.TR2.A117") and not LABEL_SHAPE.match("Results")


@pytest.mark.parametrize("unit", ["1a.", "a.1", "1.", "a-1.", "1a"])
def test_no_label_takes_for_ever(unit: str) -> None:
    assert not LABEL_SHAPE.match(unit * 20_000 + "!")


@pytest.mark.parametrize("line", ["-" * 20_000, "--- " * 20_000, "=-" * 20_000])
def test_no_line_takes_for_ever(line: str) -> None:
    assert drawn([line])
    assert not blank([f"{line}a"])
    assert not blank([f"{line}{DRAWN[2:3]}a b"])


def test_a_list_of_numbers_is_eight_or_more() -> None:
    for eight in ("1,2,3,4,5,6,7,8", "1.5 2 3 <4 5 -6 7 8;", "1,5;2,5;3,5;4,5;5,5;6,5;7,5;8,5"):
        assert _LIST.fullmatch(eight)
    assert not _LIST.fullmatch("1,2,3,4,5,6,7")
    assert not _LIST.fullmatch("1,2,3,4,5,6,7,")
    assert not _LIST.fullmatch("1," * 20_000 + "x")
