"""A small writer of Touchstone files and an invented link, for the tests. Nothing here is a measurement.

`python -m tests.formats.touchstone_files` writes the files of fixtures/touchstone anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

FIXTURES = Path(__file__).parents[2] / "fixtures" / "touchstone"
UNITS = {"Hz": 1e6, "kHz": 1e3, "MHz": 1.0, "GHz": 1e-3}
C0 = 299.792458
"""Speed of light in m per microsecond, so that MHz times microseconds is a number of turns."""


def line(f_mhz: Any, metres: float, z_ohm: float, ref_ohm: float, loss: float = 1.0) -> Any:
    """Scattering matrix (F, 2, 2) of a lossy line by its chain matrix (any textbook on transmission lines).

    Loss of 100 m: loss * (1.82 sqrt f + 0.017 f) dB, as a category 6 cable; its phase is that of a skin-effect line.
    """
    skin, dielectric = loss * 1.82 * np.sqrt(f_mhz), loss * 0.017 * f_mhz
    nepers = (skin + dielectric) * metres / 100 / 8.685889638
    turns = 2 * np.pi * f_mhz * metres / (0.68 * C0) + skin * metres / 100 / 8.685889638
    gamma = nepers + 1j * turns
    a, b, c = np.cosh(gamma), z_ohm * np.sinh(gamma), np.sinh(gamma) / z_ohm
    total = 2 * a + b / ref_ohm + c * ref_ohm
    reflected = (b / ref_ohm - c * ref_ohm) / total
    return np.stack([np.stack([reflected, 2 / total], -1), np.stack([2 / total, reflected], -1)], -2)


def invented(pairs: int, f_mhz: Any, metres: float = 20.0, seed: int = 1, coupling: float = 0.004) -> Any:
    """An invented link: (F, 4 pairs, 4 pairs) over single ports of 50 ohm, passive and reciprocal by construction.

    Ports of pair k (from 0): near 2k+1, 2k+2; far 2 pairs + 2k+1, 2 pairs + 2k+2. Difference and common mode of each
    pair are lines of their own; a rotation that grows with frequency couples all modes, which is crosstalk and mode
    conversion: U^T S U keeps singular values and symmetry where U is orthogonal.
    """
    f = np.asarray(f_mhz, dtype=float)
    rng = np.random.default_rng(seed)
    n = 2 * pairs
    s = np.zeros((len(f), 2 * n, 2 * n), dtype=complex)
    for k in range(n):
        difference = k < pairs
        z = 100 * rng.uniform(0.96, 1.04) if difference else 25 * rng.uniform(2.0, 3.0)
        block = line(f, metres * rng.uniform(1, 1.02), z, 100 if difference else 25, 1.0 if difference else 2.5)
        s[:, [[k], [n + k]], [k, n + k]] = block
    generator = rng.normal(size=(2 * n, 2 * n))
    generator -= generator.T
    values, vectors = np.linalg.eig(generator)
    turn = np.exp(values[None, :] * (coupling * f / 100)[:, None])
    rotation = np.real((vectors * turn[:, None, :]) @ np.linalg.inv(vectors))
    s = rotation.transpose(0, 2, 1) @ s @ rotation
    modes = np.zeros((2 * n, 2 * n))
    for k in range(pairs):
        for end in (0, 1):
            a, b = n * end + 2 * k, n * end + 2 * k + 1
            modes[n * end + k, [a, b]] = np.sqrt(0.5), -np.sqrt(0.5)
            modes[n * end + pairs + k, [a, b]] = np.sqrt(0.5)
    return modes.T @ s @ modes


def pairs_toml(pairs: int) -> str:
    """The pairs of a port map for `invented`."""
    names = ("1-2", "3-6", "4-5", "7-8")[:pairs]
    n = 2 * pairs
    return "".join(
        f'[pairs."{name}"]\nlocal = [{2 * k + 1}, {2 * k + 2}]\nremote = [{n + 2 * k + 1}, {n + 2 * k + 2}]\n'
        for k, name in enumerate(names)
    )


def text(
    s: Any,
    f_mhz: Any,
    *,
    unit: str = "MHz",
    number_format: str = "RI",
    version: str = "1",
    layout: str = "full",
    reference: Sequence[float] = (50.0,),
    modes: str = "",
    comments: bool = True,
    wrap: int = 4,
) -> str:
    """A Touchstone file of the matrix; version 1 or 2.0; layout full, lower, upper, for two ports 21_12 or 12_21."""
    n = s.shape[-1]
    out = ["! invented for the tests of this project"] if comments else []
    if version == "1":
        out.append(f"# {unit} S {number_format} R {' '.join(repr(float(r)) for r in reference)}")
    else:
        out += ["[Version] 2.0", f"# {unit} S {number_format} R {float(reference[0])!r}", f"[Number of Ports] {n}"]
        if n == 2:
            out.append(f"[Two-Port Data Order] {layout if layout in ('21_12', '12_21') else '12_21'}")
        out.append(f"[Number of Frequencies] {len(f_mhz)}")
        if len(reference) > 1:
            out += ["[Reference] " + " ".join(repr(float(r)) for r in reference[:2])]
            out += [" ".join(repr(float(r)) for r in reference[2:])] if reference[2:] else []
        if layout in ("lower", "upper"):
            out.append(f"[Matrix Format] {layout.capitalize()}")
        if modes:
            out.append(f"[Mixed-Mode Order] {modes}")
        out.append("[Network Data]")
    for k, f in enumerate(f_mhz):
        out += _point(s[k], f * UNITS[unit], number_format, layout if n != 2 else _two(layout, version), wrap, comments)
    out += ["[End]"] if version != "1" else []
    return "\n".join(out) + "\n"


def _two(layout: str, version: str) -> str:
    return layout if layout != "full" else ("21_12" if version == "1" else "12_21")


def _point(matrix: Any, frequency: float, number_format: str, layout: str, wrap: int, comments: bool) -> list[str]:
    n = len(matrix)
    if layout == "21_12":
        rows = [[matrix[0, 0], matrix[1, 0], matrix[0, 1], matrix[1, 1]]]
    elif layout == "12_21":
        rows = [list(matrix.ravel())]
    elif layout == "lower":
        rows = [list(matrix[i, : i + 1]) for i in range(n)]
    elif layout == "upper":
        rows = [list(matrix[i, i:]) for i in range(n)]
    else:
        rows = [list(matrix[i]) for i in range(n)]
    lines: list[str] = []
    for i, row in enumerate(rows):
        for at in range(0, len(row), wrap):
            words = [_number(v, number_format) for v in row[at : at + wrap]]
            lead = repr(float(frequency)) if not lines else " "
            note = f" ! row {i + 1}" if comments and at == 0 and n > 2 else ""
            lines.append(f"{lead} {'  '.join(words)}{note}")
    return lines


def _number(value: complex, number_format: str) -> str:
    if number_format == "RI":
        return f"{float(value.real)!r} {float(value.imag)!r}"
    size, angle = abs(value), np.degrees(np.angle(value))
    if number_format == "MA":
        return f"{float(size)!r} {float(angle)!r}"
    return f"{float(20 * np.log10(size))!r} {float(angle)!r}"


_FACTS = """\
# Invented: no such link, person or instrument exists.
link = "{link}"
tested_by = "Wren Halloway"
organisation = "Tern & Daughters"
tested = 2021-05-04T09:30:00
cable = "Cat 6A F/UTP 23AWG"
cable_type = "cat6a/f-utp/awg23/solid"
limit = "ANSI/TIA-568.2-D category 6A channel"
length_m = 20.0
{more}
[instrument]
maker = "Petrel Metrology"
model = "P-16"
serial = "16-00042"

"""


def write_fixtures(folder: Path = FIXTURES) -> None:
    """The files of fixtures/touchstone."""
    f = np.arange(5.0, 51.0, 5.0)
    folder.mkdir(parents=True, exist_ok=True)
    s = np.round(invented(4, f), 9)
    s = (s + s.transpose(0, 2, 1)) / 2

    def put(name: str, content: str, link: str, pairs: str, more: str = "") -> None:
        (folder / name).write_text(content, encoding="utf-8")
        facts = _FACTS.format(link=link, more=more) + pairs
        (folder / f"{name.rsplit('.', 1)[0]}.toml").write_text(facts, encoding="utf-8")

    put("four-pairs.s16p", text(s, f), "INV-4P", pairs_toml(4))
    two = [0, 1, 2, 3, 8, 9, 10, 11]
    put(
        "two-pairs-lower.s8p",
        text(s[:, two][:, :, two], f, version="2.0", layout="lower", number_format="MA", unit="GHz"),
        "INV-2P",
        pairs_toml(2),
    )
    one = [0, 1, 8, 9]
    crossed = [0, 1, 9, 8]
    put("one-pair.S4P", text(s[:, one][:, :, one], f, number_format="DB", unit="Hz"), "INV-1P", pairs_toml(1))
    put("one-pair-crossed.s4p", text(s[:, crossed][:, :, crossed], f), "INV-1X", pairs_toml(1))
    balun = text(line(f, 20.0, 101.0, 100.0), f, reference=(100.0,), unit="kHz")
    noise = "! NOISE PARAMETERS\n4000 0.7 0.64 69 0.38\n18000 2.7 0.46 -33 0.4\n"
    put("balun-with-noise.s2p", balun + noise, "INV-BAL", '[pairs."1-2"]\nlocal = 1\nremote = 2\n')


if __name__ == "__main__":
    write_fixtures()
