"""Patterns of mappings that could try for ever are refused, and no others."""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path

import pytest

from archive import schemas
from archive.confined import SECONDS
from archive.errors import Trouble
from archive.formats.base import patterns
from archive.formats.mapping.load import loads
from archive.formats.reading import Reading

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


@pytest.mark.parametrize(
    ("pattern", "most"),
    [
        (r".*,.*,.*x", 200),
        (r"^\w*\w*\w*x", 1_000),
        (r"(?:.*),(?:.*)x", 500),
        (r"[a-f]+[^a]*A", 20_000),  # the flag for either case must not hide that they overlap
        (r"\u0410+[А-Я]x", 20_000),
        (r"(?x) a+  a x", 20_000),
        (r"a?a?a?a?a?a?a?a?x", 3_000_000),
    ],
)
def test_a_pattern_that_gives_back_is_tried_here_on_short_texts_alone(pattern: str, most: int) -> None:
    assert 10 <= patterns.longest(pattern) <= most


@pytest.mark.parametrize(
    "pattern",
    [r"^Total\b", r"^Page \d+ of \d+$", r"^[^,]*,[^,]*,x", "^(" + "|".join("abcdefghijklmnopq") + ")x"],
)
def test_a_pattern_that_gives_nothing_back_is_tried_here_on_any_line(pattern: str) -> None:
    assert patterns.longest(pattern) > 1_000_000


def test_too_many_optional_parts_are_refused() -> None:
    assert "too many ways" in patterns.fault("a?" * 30 + "a" * 30)


def test_a_long_text_gives_what_a_short_one_gives() -> None:
    pattern = patterns.BoundedPattern(r"(?P<kind>\w+)(x)?,.*,.*!")
    short, long = "Total,a,b!", "Total," + "a," * 40_000 + "b!"
    assert len(short) < pattern.longest < len(long)
    for text in (short, long):
        found = pattern.search(text)
        assert found is not None
        assert found.groups() == ("Total", None)
        assert found["kind"] == "Total"
    assert pattern.match("!" + long) is None
    assert pattern.names == ["kind"]


def test_time_is_bounded_inside_a_pattern(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A cubic pattern on a line of half a megabyte would take days; the file is set aside, its neighbour is read."""
    monkeypatch.setenv(SECONDS, "2")
    folder = Path(__file__).parents[2] / "fixtures" / "exports" / "bramble-points"
    mapping = tmp_path / "mapping.toml"
    export = next(p for p in folder.glob("*.csv"))
    text = (folder / "mapping.toml").read_text()
    assert "skip" not in text
    mapping.write_text(text.replace("[[file]]", "[[file]]\nskip = ['.*a.*b.*c.*!']", 1))
    (tmp_path / "in").mkdir()
    shutil.copy(export, tmp_path / "in" / "good.csv")
    (tmp_path / "in" / "long.csv").write_bytes(export.read_bytes() + b"abc" * 150_000 + b"\n")
    reading = Reading([tmp_path / "in"], mapping=mapping)
    rows = [row for batch in reading for row in batch["set_aside"].to_pylist()]
    assert [f.records > 0 for f in reading.files] == [True, False]
    assert [row["path"] for row in rows] == ["long.csv"]
    assert "more time" in rows[0]["reason"]


def test_a_mapping_that_is_nested_too_deep_is_no_toml() -> None:
    with pytest.raises(Trouble, match="nested deeper"):
        loads(b"[cells]\npair_names = " + b"{ a = " * 3_000)
