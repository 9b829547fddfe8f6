"""Touchstone files as this reader sees them: every notation of the same numbers gives the same network."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from archive.formats.touchstone.network import Mode, SetAside
from archive.formats.touchstone.parse import parse, ports_of_name
from tests.formats.touchstone_files import invented, text

F_MHZ = np.array([1.0, 2.5, 10.0, 31.25, 100.0])


def network(ports: int, seed: int = 3) -> np.ndarray:
    """An invented symmetric matrix over so many ports, and not symmetric for two."""
    rng = np.random.default_rng(seed)
    s = rng.normal(size=(len(F_MHZ), ports, ports)) + 1j * rng.normal(size=(len(F_MHZ), ports, ports))
    return s if ports == 2 else (s + s.transpose(0, 2, 1)) / 2


def test_every_format_and_unit_says_the_same() -> None:
    s = network(4)
    for number_format, unit in itertools.product(("RI", "MA", "DB"), ("Hz", "kHz", "MHz", "GHz")):
        found = parse(text(s, F_MHZ, number_format=number_format, unit=unit).encode(), "a.s4p")
        np.testing.assert_allclose(found.s, s, rtol=1e-13, atol=1e-15)
        assert found.frequencies_mhz.tolist() == F_MHZ.tolist(), "a unit of frequency leaves no dust behind"
        assert (found.unit, found.number_format) == (unit, number_format)


@pytest.mark.parametrize("ports", [1, 2, 3, 4, 5, 8, 16, 32])
@pytest.mark.parametrize("wrap", [1, 3, 4, 100])
def test_any_number_of_ports_and_any_wrapping(ports: int, wrap: int) -> None:
    s = network(ports)
    found = parse(text(s, F_MHZ, wrap=wrap if ports > 2 else 4).encode(), f"a.S{ports}P")
    assert np.array_equal(found.s, s)
    assert found.points == len(F_MHZ)


@pytest.mark.parametrize("layout", ["full", "lower", "upper"])
def test_matrix_formats_of_version_2(layout: str) -> None:
    s = network(4)
    found = parse(text(s, F_MHZ, version="2.0", layout=layout).encode(), "a.s4p")
    assert np.array_equal(found.s, s)
    assert found.version == "2.0"


def test_two_ports_of_version_1_stand_column_after_column() -> None:
    found = parse(b"# MHz S RI R 50\n1 11 0 21 0 12 0 22 0\n", "a.s2p")
    assert found.s[0].real.tolist() == [[11, 12], [21, 22]]


@pytest.mark.parametrize("order", ["12_21", "21_12"])
def test_two_ports_of_version_2_as_their_order_says(order: str) -> None:
    s = network(2)
    assert np.array_equal(parse(text(s, F_MHZ, version="2.0", layout=order).encode(), "a.s2p").s, s)


def test_an_empty_option_line_means_its_defaults() -> None:
    found = parse(b"#\n1 0.5 90\n", "a.s1p")
    assert found.frequencies_mhz.tolist() == [1000.0]
    np.testing.assert_allclose(found.s[0, 0, 0], 0.5j, atol=1e-16)
    assert found.reference_ohm.tolist() == [50.0]


def test_options_in_any_order_and_case() -> None:
    found = parse(b"# ri r 75 S hz\n5e6 1 2\n", "a.s1p")
    assert (found.frequencies_mhz[0], found.s[0, 0, 0], found.reference_ohm[0]) == (5.0, 1 + 2j, 75.0)


def test_only_the_first_option_line_counts() -> None:
    assert parse(b"# Hz S RI R 50\n# GHz S DB R 75\n5e6 1 2\n", "a.s1p").unit == "Hz"


def test_per_port_references_may_run_over_lines() -> None:
    found = parse(text(network(4), F_MHZ, version="2.0", reference=(50, 75, 0.01, 0.02)).encode(), "a.s4p")
    assert found.reference_ohm.tolist() == [50, 75, 0.01, 0.02]


def test_modes_are_read_in_their_order() -> None:
    written = text(network(6), F_MHZ, version="2.0", modes="D2,3 D6,5 C2,3 C6,5 S4 S1")
    expected = (
        Mode("D", (2, 3)),
        Mode("D", (6, 5)),
        Mode("C", (2, 3)),
        Mode("C", (6, 5)),
        Mode("S", (4,)),
        Mode("S", (1,)),
    )
    assert parse(written.encode(), "a.s6p").modes == expected


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_line_ends_and_encodings(ends: str, encoding: str) -> None:
    s = network(4)
    written = ("! 20 °C, Prüfung\n" + text(s, F_MHZ)).replace("\n", ends).encode(encoding)
    found = parse(written, "a.s4p")
    assert np.array_equal(found.s, s)
    assert found.comments[0] == "20 °C, Prüfung"


def test_blank_lines_and_comments_anywhere() -> None:
    s = network(4)
    lines = text(s, F_MHZ).splitlines()
    noisy = "\n\n".join(f"{line} ! said {i}" if i else line for i, line in enumerate(lines)) + "\n! the end"
    assert np.array_equal(parse(noisy.encode(), "a.s4p").s, s)


def test_every_word_around_the_numbers_is_kept_with_its_place() -> None:
    written = "! one\n# MHz S RI R 50 ! two\n1 2 3 ! three"
    kept = parse(written.encode(), "a.s1p").kept
    assert [(k.name, k.place, k.value) for k in kept] == [
        ("comment", "line 1", "one"),
        ("comment", "line 2", "two"),
        ("option line", "line 2", "# MHz S RI R 50"),
        ("comment", "line 3", "three"),
    ]


def test_information_and_what_follows_the_end_are_kept() -> None:
    written = text(network(1), F_MHZ, version="2.0", comments=False)
    written = written.replace("[Network Data]", "[Begin Information]\nmade by hand\n[End Information]\n[Network Data]")
    kept = {k.name: k.value for k in parse((written + "and more\n").encode(), "a.ts").kept}
    assert kept["information"] == "made by hand"
    assert kept["after [End]"] == "and more"


def test_noise_of_version_1_is_told_apart_and_left_unread() -> None:
    found = parse(b"# GHz S MA\n2 .9 1 2 3 .4 5 .6 7\n22 .6 1 1 4 .1 4 .5 8\n4 .7 .6 69 .3\n18 2.7 .4 3 .4\n", "a.s2p")
    assert found.points == 2
    assert len(found.noise.split()) == 10


def test_noise_of_version_2_is_told_apart() -> None:
    written = text(network(2), F_MHZ, version="2.0").replace("[End]", "[Noise Data]\n4 .7 .6 69 .3\n[End]")
    written = written.replace("[Network Data]", "[Number of Noise Frequencies] 1\n[Network Data]")
    assert parse(written.encode(), "a.ts").noise == "4 .7 .6 69 .3"


def test_a_frequency_of_zero_is_a_frequency() -> None:
    assert parse(b"# MHz S RI R 50\n0 1 0\n1 1 0\n", "a.s1p").frequencies_mhz.tolist() == [0.0, 1.0]


@pytest.mark.parametrize(
    ("name", "ports"), [("x.s4p", 4), ("x.S8P", 8), ("a/b.c.s32p", 32), ("x.ts", None), ("x.txt", None), ("s4p", None)]
)
def test_ports_of_a_name(name: str, ports: int | None) -> None:
    assert ports_of_name(name) == ports


def test_the_invented_link_is_what_it_says() -> None:
    """The tests lean on it: passive and reciprocal by construction."""
    s = invented(4, F_MHZ)
    assert np.linalg.svd(s, compute_uv=False).max() <= 1 + 1e-12
    assert np.abs(s - s.transpose(0, 2, 1)).max() < 1e-12


def test_a_name_without_ports_needs_the_keyword() -> None:
    with pytest.raises(SetAside, match=r"how many ports"):
        parse(b"# MHz S RI R 50\n1 1 0\n", "a.txt")
    assert parse(text(network(3), F_MHZ, version="2.0").encode(), "a.txt").ports == 3
