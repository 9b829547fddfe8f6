"""Each way in which a network-analyser file can be damaged: one line that says where, what, and what to do."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from archive.errors import Trouble
from archive.formats.recognition import Entry
from archive.formats.touchstone import read
from archive.formats.touchstone.parse import parse
from tests.formats.touchstone_files import invented, pairs_toml, text

F_MHZ = np.array([10.0, 20.0, 30.0])
S = invented(1, F_MHZ)
GOOD = text(S, F_MHZ, comments=False)
"""Version 1, four ports: line 1 is the option line, each frequency has four lines."""
GOOD_2 = text(S, F_MHZ, comments=False, version="2.0")


def trouble(written: str | bytes, name: str = "a.s4p") -> Trouble:
    with pytest.raises(Trouble) as caught:
        parse(written if isinstance(written, bytes) else written.encode(), name)
    assert "\n" not in str(caught.value)
    return caught.value


def test_the_good_ones_are_good() -> None:
    assert parse(GOOD.encode(), "a.s4p").points == parse(GOOD_2.encode(), "a.s4p").points == 3


def test_a_row_that_lacks_a_number() -> None:
    lines = GOOD.splitlines()
    lines[7] = " ".join(lines[7].split()[:-1])  # the third row of 20 MHz, which begins at line 6
    said = trouble("\n".join(lines))
    assert "line 6" in said.where
    assert said.found == "32 numbers"
    assert said.expected.startswith("33 ")
    assert said.remedy


def test_a_row_with_a_number_too_many() -> None:
    lines = GOOD.splitlines()
    lines[6] += " 1.0 2.0"
    said = trouble("\n".join(lines))
    assert ("line 6" in said.where, said.found) == (True, "35 numbers")


def test_a_file_that_is_cut_off() -> None:
    lines = GOOD.splitlines()[:-1]
    said = trouble("\n".join(lines))
    assert (said.where, said.found) == ("a.s4p line 10", "25 numbers")
    assert "cut off" in said.remedy


def test_a_suffix_of_other_ports_names_the_right_one() -> None:
    said = trouble(GOOD, "a.s3p")
    assert (said.found, said.expected[:2]) == ("33 numbers", "19")
    assert ".s4p" in said.remedy


def test_a_suffix_of_other_ports_whose_numbers_happen_to_divide() -> None:
    """19 points of 33 numbers are 33 points of 19: the frequencies give it away."""
    f = np.arange(1.0, 20.0)
    said = trouble(text(invented(1, f), f, comments=False), "a.s3p")
    assert "out of order" in said.message


def test_frequencies_that_do_not_rise() -> None:
    said = trouble(text(S, [10.0, 30.0, 20.0], comments=False))
    assert (said.where, said.found) == ("a.s4p line 10", "20 after 30")
    assert "out of order" in trouble(text(S, [10.0, 10.0, 20.0], comments=False)).message
    assert "out of order" in trouble(text(S, [-10.0, 10.0, 20.0], comments=False)).message


@pytest.mark.parametrize("word", ["x", "0,5", "1.0.0", "1_0", "--", "1.#QNAN", "\0", "0x1F", "٣"])
def test_a_word_that_is_no_number(word: str) -> None:
    lines = GOOD.splitlines()
    lines[3] = lines[3].replace(lines[3].split()[0], word, 1)
    said = trouble("\n".join(lines))
    assert "line 4" in said.where
    assert word[:3] in said.found or word == "\0"
    assert ("decimal mark" in said.remedy) == (word == "0,5")


def test_no_option_line_is_not_guessed() -> None:
    assert "option line" in trouble("\n".join(GOOD.splitlines()[1:])).message


@pytest.mark.parametrize(
    "written", ["", "\n\n", "! only a comment\n", "# MHz S RI R 50\n", "# MHz S RI R 50\n! none\n"]
)
def test_no_data(written: str) -> None:
    assert trouble(written).remedy


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("# THz S RI R 50", "not of the specification"),
        ("# MHz S XY R 50", "not of the specification"),
        ("# MHz S RI R", "nothing follows R"),
        ("# MHz S RI R 0", "cannot be used"),
        ("# MHz S RI R -50", "cannot be used"),
        ("# MHz S RI R nan", "cannot be used"),
        ("# MHz S RI R 1e999", "cannot be used"),
        ("# MHz S RI R 50 60", "do not match the ports"),
    ],
)
def test_option_lines_that_cannot_be(line: str, said: str) -> None:
    assert said in trouble(GOOD.replace(GOOD.splitlines()[0], line)).message


@pytest.mark.parametrize("name", ["a.s1000000000p", "a.s0p", "a.s257p"])
def test_absurd_numbers_of_ports_by_suffix(name: str) -> None:
    assert "cannot be" in trouble(GOOD, name).message


def test_absurd_numbers_of_ports_by_keyword_take_no_memory() -> None:
    """Tried with 10^9 ports, a matrix of which no machine could hold."""
    for word in ("1000000000", "-4", "0", "four", "4.0", "9" * 400):
        assert trouble(GOOD_2.replace("[Number of Ports] 4", f"[Number of Ports] {word}"), "a.ts")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("[Version] 2.0", "[Version] 3.0", "version"),
        ("[Number of Ports] 4", "[Number of Ports] 5", "differ"),
        ("[Number of Frequencies] 3", "[Number of Frequencies] 4", "does not match the data"),
        ("[Network Data]", "[Matrix Format] Diagonal\n[Network Data]", "Matrix Format"),
        ("[Network Data]", "[Reference] 50 75\n[Network Data]", "do not match the ports"),
        ("[Network Data]", "[Mixed-Mode Order] D1,2 C1,2 S3\n[Network Data]", "every port once"),
        ("[Network Data]", "[Mixed-Mode Order] D1,2 C1,2 S3 S3\n[Network Data]", "every port once"),
        ("[Network Data]", "[Mixed-Mode Order] D1,2 C1,2 X3 S4\n[Network Data]", "not of the specification"),
        ("[Network Data]", "[Mixed-Mode Order] D1 C1,2 S3 S4\n[Network Data]", "not of the specification"),
        ("[Network Data]", "[Colour] blue\n[Network Data]", "could change"),
        ("[Network Data]", "[Number of Ports] 4\n[Network Data]", "twice"),
        ("[Network Data]\n", "", "belongs to no keyword"),
        ("[Version] 2.0\n", "", "without [Version]"),
    ],
)
def test_keywords_that_cannot_be(old: str, new: str, said: str) -> None:
    assert old in GOOD_2
    assert said in trouble(GOOD_2.replace(old, new)).message


def test_a_keyword_in_the_middle_of_the_data() -> None:
    lines = GOOD_2.splitlines()
    lines.insert(8, "[Reference] 50")
    assert "middle of the data" in trouble("\n".join(lines)).message


def test_two_ports_of_version_2_without_their_order() -> None:
    written = text(S[:, :2, :2], F_MHZ, version="2.0").replace("[Two-Port Data Order] 12_21\n", "")
    assert "order of two-port data" in trouble(written, "a.s2p").message


def test_bytes_that_are_no_text() -> None:
    rng = np.random.default_rng(0)
    for _ in range(50):
        trouble(rng.bytes(int(rng.integers(0, 400))))


def test_every_truncation_is_told_or_whole() -> None:
    """Cut anywhere, a file is refused, or holds the points that are whole in it; a cut inside the very last number
    cannot be seen in version 1, and is seen in version 2 by its [End] or not at all."""
    data = GOOD.encode()
    for cut in range(0, len(data), 7):
        try:
            found = parse(data[:cut], "a.s4p")
        except Trouble:
            continue
        assert found.points in (1, 2, 3)
        if found.points < 3:
            assert np.array_equal(found.s[: found.points - 1], S[: found.points - 1])


@pytest.mark.parametrize("word", ["nan", "inf", "-INF", "1e999"])
def test_values_of_no_use_set_the_record_aside(tmp_path: Path, word: str) -> None:
    lines = GOOD.splitlines()
    lines[6] = f"{word} " + " ".join(lines[6].split()[1:])
    (tmp_path / "a.s4p").write_text("\n".join(lines))
    (tmp_path / "a.toml").write_text('link = "A"\n' + pairs_toml(1))
    (batch,) = read(Entry(tmp_path / "a.s4p", "a.s4p"))
    assert len(batch) == 0
    (row,) = batch["set_aside"].to_pylist()
    assert row["link_label"] == "A"
    assert "line 6" in row["place"]
    assert "20 MHz" in row["place"]
    assert "S2,1" in row["found"]
    assert row["remedy"]


def test_decibels_beyond_any_number_set_the_record_aside(tmp_path: Path) -> None:
    (tmp_path / "a.s4p").write_text("# MHz S DB R 50\n1 " + " ".join(["99999 0"] * 16) + "\n")
    (tmp_path / "a.toml").write_text('link = "A"\n' + pairs_toml(1))
    (batch,) = read(Entry(tmp_path / "a.s4p", "a.s4p"))
    assert [row["link_label"] for row in batch["set_aside"].to_pylist()] == ["A"]


def test_a_file_that_is_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.s4p").write_text(GOOD)
    monkeypatch.setattr("archive.formats.touchstone.read_network.MOST_BYTES", 10)
    with pytest.raises(Trouble, match="too large"):
        next(read(Entry(tmp_path / "a.s4p", "a.s4p")))
