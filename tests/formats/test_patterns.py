"""Patterns of mappings that could try for ever are refused, and no others."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from archive import schemas
from archive.errors import Trouble
from archive.formats.base import patterns
from archive.formats.mapping.load import loads

EVER = [
    r"^(a+)+$",
    r"(a*)*b",
    r"(?:a|a)*$",
    r"(a|aa)+$",
    r"^(?:\w+\s?)*$",
    r"(.*,){20}x",
    r"((a?b?)+c)*",
    r"(?P<x>[a-z]+){2,}",
    r"(?:(?:ab)*c){3}",
    r"(a+)\1",
    r"(?P<n>a+)(?P=n)",
    r"(?i:a+)+",
]
FINE = [
    r"^Total\b",
    r"^Seite\ \d+\b",
    r"^(Sum|Mean):",
    r"(?:abc)+",
    r"^(?P<floor>\d+)-(?P<port>[A-Z]{1,2})$",
    r"[(+*]+",
    r"a\(b+\)+",
    r"[^)]+\)?",
    r"(?=.*x)y+",
    r"(a{3}){2}",
    r"x{,3}y{2,}",
    r"[]a)]+",
    r"(?#a+)b*",
    r"a{b}+",
    r"(ab)?(cd)*",
]


@pytest.mark.parametrize("pattern", EVER)
def test_a_pattern_that_could_try_for_ever(pattern: str) -> None:
    re.compile(pattern)
    assert "for ever" in patterns.fault(pattern)


@pytest.mark.parametrize("pattern", FINE)
def test_a_pattern_that_ends(pattern: str) -> None:
    re.compile(pattern)
    assert patterns.fault(pattern) == ""


def test_what_is_no_pattern() -> None:
    assert "no regular expression" in patterns.fault("(a")


def test_those_that_come_along_are_fine() -> None:
    mappings = sorted((schemas.root().parent / "fixtures" / "exports").glob("*/mapping.toml"))
    assert len(mappings) > 10
    skips = [s for m in mappings for f in tomllib.loads(m.read_text("utf-8"))["file"] for s in f.get("skip", [])]
    assert skips
    assert [s for s in skips if patterns.fault(s)] == []


MAPPING = """
[mapping]
layout = "wren"
[[file]]
kind = "report"
{file}
[[file.table]]
rows = "links"
{table}
fields = [{{ from = "Link", to = "records.link_label"{field} }}]
"""


@pytest.mark.parametrize(
    ("place", "line"),
    [
        ("file", "skip = ['^(a+)+$']"),
        ("file", "block = '/^(a+)+$/'"),
        ("table", "title = '/^(a+)+$/'"),
        ("field", ", split = '/^(?P<floor>(a+)+)$/'"),
        ("table", "title = '/^(a/'"),
        ("field", ", split = '/(a/'"),
    ],
)
def test_a_mapping_with_such_a_pattern_is_refused(place: str, line: str) -> None:
    parts = {"file": "", "table": "", "field": "", place: line}
    with pytest.raises(Trouble) as raised:
        loads(MAPPING.format(**parts).encode())
    assert raised.value.code == "mapping.not-a-pattern"
    assert loads(MAPPING.format(file="", table="", field="").encode()).layout == "wren"


def test_the_patterns_that_were_refused_do_try_for_ever(tmp_path: Path) -> None:
    """One of them, on a text of 24 letters and a mark: a thousand times as long as on one of 14."""
    import time

    def seconds(letters: int) -> float:
        begun = time.perf_counter()
        assert re.search(EVER[0], "a" * letters + "!") is None
        return time.perf_counter() - begun

    assert seconds(22) > 20 * max(seconds(12), 1e-5)
