"""Examples in the manner of those printed in the open specifications, Touchstone 1.1 (2002) and 2.0 (2009).

They are written from memory, not copied: the specification's own numbers may differ in places. What is checked is
how the notation is read; the expected values follow from the text of each example by hand.
"""

from __future__ import annotations

import numpy as np
import pytest

from archive.formats.touchstone.network import Mode, SetAside
from archive.formats.touchstone.parse import parse


def polar(size: float, degrees: float) -> complex:
    return complex(size * np.exp(1j * np.deg2rad(degrees)))


def test_one_port_one_frequency() -> None:
    found = parse(b"!1-port S-parameter file\n# MHz S MA R 50\n!freq mag ang\n2.000 0.894 -12.136\n", "e.s1p")
    assert found.frequencies_mhz.tolist() == [2.0]
    assert found.s[0, 0, 0] == pytest.approx(polar(0.894, -12.136))


def test_impedance_of_one_port_is_normalised_to_its_reference() -> None:
    """0.99 normalised to 75 ohm is 74.25 ohm."""
    z = polar(74.25, -4)
    found = parse(b"# MHz Z MA R 75\n100 0.99 -4\n", "e.s1p")
    assert found.s[0, 0, 0] == pytest.approx((z - 75) / (z + 75))


def test_hybrid_parameters_of_two_ports() -> None:
    """The tee of a series impedance alone: h11 = Z, h12 = 1, h21 = -1, h22 = 0; S11 = Z / (Z + 2 R)."""
    found = parse(b"# kHz H RI R 1\n2 0.5 0 -1 0 1 0 0 0\n", "e.s2p")
    np.testing.assert_allclose(found.s[0], np.array([[0.2, 0.8], [0.8, 0.2]]), atol=1e-15)
    with pytest.raises(SetAside, match="sound"):
        parse(b"# kHz H RI R 1\n2.000 0.894 -12.136\n", "e.s1p")


def test_two_ports_real_and_imaginary() -> None:
    rows = "1.0000 0.3926 -0.1211 -0.0003 -0.0021 -0.0103 -0.0121 0.3926 -0.1211\n"
    rows += "2.0000 0.35 -0.31 -0.0096 -0.0298 0 0 0.35 -0.3\n"
    found = parse(("# GHz S RI R 50.0\n!freq S11 S21 S12 S22\n" + rows).encode(), "e.s2p")
    assert found.frequencies_mhz.tolist() == [1000.0, 2000.0]
    assert (found.s[0, 1, 0], found.s[0, 0, 1]) == (-0.0003 - 0.0021j, -0.0103 - 0.0121j)


def test_two_ports_with_noise_data_after_them() -> None:
    text = """! 2-port network, S-parameter and noise data
! Default MA format, GHz frequencies, 50-ohm reference, S-parameters
#
! NETWORK PARAMETERS
2 .95 -26 3.57 157 .04 76 .66 -14
22 .60 -144 1.30 40 .14 40 .56 -85
! NOISE PARAMETERS
4 .7 .64 69 .38
18 2.7 .46 -33 .40
"""
    found = parse(text.encode(), "e.s2p")
    assert found.frequencies_mhz.tolist() == [2000.0, 22000.0]
    assert found.s[0, 1, 0] == pytest.approx(polar(3.57, 157))
    assert len(found.noise.split()) == 10


FOUR_ROWS = """5.00000 0.60 161.24 0.40 -42.20 0.42 -66.58 0.53 -79.34 !row 1
0.40 -42.20 0.60 161.20 0.53 -79.34 0.42 -66.58 !row 2
0.42 -66.58 0.53 -79.34 0.60 161.24 0.40 -42.20 !row 3
0.53 -79.34 0.42 -66.58 0.40 -42.20 0.60 161.24 !row 4
6.00000 0.57 150.37 0.40 -44.34 0.41 -81.24 0.57 -95.77 !row 1
0.40 -44.34 0.57 150.37 0.57 -95.77 0.41 -81.24 !row 2
0.41 -81.24 0.57 -95.77 0.57 150.37 0.40 -44.34 !row 3
0.57 -95.77 0.41 -81.24 0.40 -44.34 0.57 150.37 !row 4
"""


def test_four_ports_of_version_1_need_not_be_aligned() -> None:
    found = parse(("# GHz S MA R 50\n" + FOUR_ROWS).encode(), "e.s4p")
    assert found.frequencies_mhz.tolist() == [5000.0, 6000.0]
    assert found.s[1, 3, 0] == pytest.approx(polar(0.57, -95.77))
    assert found.s[0, 1, 1] == pytest.approx(polar(0.60, 161.20))


HEAD_2 = """[Version] 2.0
# GHz S MA R 50
[Number of Ports] 4
[Number of Frequencies] {count}
[Reference] 50 75
0.01 0.01
"""


def test_four_ports_of_version_2_with_references_over_two_lines() -> None:
    found = parse((HEAD_2.format(count=2) + "[Network Data]\n" + FOUR_ROWS + "[End]\n").encode(), "e.ts")
    assert found.reference_ohm.tolist() == [50, 75, 0.01, 0.01]
    assert found.s[0, 2, 0] == pytest.approx(polar(0.42, -66.58))


def test_the_lower_triangle_says_the_same_as_the_full_matrix() -> None:
    lower = """5.00000 0.60 161.24
0.40 -42.20 0.60 161.20
0.42 -66.58 0.53 -79.34 0.60 161.24
0.53 -79.34 0.42 -66.58 0.40 -42.20 0.60 161.24
"""
    head = HEAD_2.format(count=1) + "[Matrix Format] Lower\n[Network Data]\n"
    full = HEAD_2.format(count=1) + "[Network Data]\n" + "".join(FOUR_ROWS.splitlines(keepends=True)[:4])
    a, b = (parse((t + "[End]\n").encode(), "e.s4p").s for t in (head + lower, full))
    np.testing.assert_allclose(a, b, atol=1e-15)


def test_a_six_port_mixed_mode_order() -> None:
    head = "[Version] 2.0\n# MHz S RI R 50\n[Number of Ports] 6\n[Number of Frequencies] 1\n"
    order = "[Mixed-Mode Order] D2,3 D6,5 C2,3 C6,5 S4 S1\n[Network Data]\n"
    found = parse((head + order + "1 " + " ".join(["0.1 0"] * 36) + "\n[End]\n").encode(), "e.s6p")
    assert found.modes[1] == Mode("D", (6, 5))
    assert found.modes[-1] == Mode("S", (1,))
