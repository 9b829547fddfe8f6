"""Z, Y, H and G parameters become S as scikit-rf has it; what cannot is sound, and never called damaged."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skrf

from archive.formats.recognition import Entry
from archive.formats.touchstone import describe, read, recognise
from archive.formats.touchstone.immittance import scattering
from archive.formats.touchstone.network import SetAside
from archive.formats.touchstone.parse import parse
from tests.formats.touchstone_files import invented, line, text

F_MHZ = np.arange(10.0, 101.0, 5.0)
S = line(F_MHZ, 20.0, 93.0, 75.0)
S[:, 0, 0] += 0.05 + 0.02j  # so that the two ports differ


def immittance(s: Any, kind: str, ohm: Any) -> Any:
    """What scikit-rf makes of S: in ohm and siemens."""
    return getattr(skrf.network, f"s2{kind.lower()}")(s, np.asarray(ohm, dtype=float))


def written(values: Any, kind: str, **more: Any) -> str:
    return text(values, F_MHZ, **more).replace(" S RI ", f" {kind} RI ")


NORMALISED = {
    "Z": [[1 / 75, 1 / 75], [1 / 75, 1 / 75]],
    "Y": [[75, 75], [75, 75]],
    "H": [[1 / 75, 1], [1, 75]],
    "G": [[75, 1], [1, 1 / 75]],
}
"""What version 1 writes for values in ohm and siemens with R 75."""


@pytest.mark.parametrize("kind", list(NORMALISED))
def test_version_1_is_normalised_to_the_reference(kind: str) -> None:
    values = immittance(S, kind, 75.0) * np.array(NORMALISED[kind])
    found = parse(written(values, kind, reference=(75.0,)).encode(), "a.s2p")
    np.testing.assert_allclose(found.s, S, rtol=1e-9, atol=1e-12)
    assert (found.parameter, found.reference_ohm.tolist()) == (kind, [75.0, 75.0])


@pytest.mark.parametrize("kind", ["Z", "Y", "H", "G"])
@pytest.mark.parametrize("ohm", [(75.0,), (75.0, 40.0)])
def test_version_2_is_in_ohm_and_siemens(kind: str, ohm: tuple[float, ...]) -> None:
    values = immittance(S, kind, ohm * (2 // len(ohm)))
    found = parse(written(values, kind, version="2.0", reference=ohm).encode(), "a.s2p")
    np.testing.assert_allclose(found.s, S, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("kind", ["Z", "Y"])
def test_impedance_and_admittance_of_any_number_of_ports(kind: str, tmp_path: Path) -> None:
    s = invented(2, F_MHZ)
    path = tmp_path / "a.s8p"
    path.write_text(written(immittance(s, kind, 50.0), kind, version="2.0"))
    found = parse(path.read_bytes(), "a.s8p")
    np.testing.assert_allclose(found.s, s, rtol=1e-7, atol=1e-9)
    np.testing.assert_allclose(found.s, skrf.Network(str(path)).s, rtol=1e-7, atol=1e-9)


def entry_of(tmp_path: Path, content: str, name: str = "a.s2p") -> Entry:
    (tmp_path / name).write_text(content)
    return Entry(tmp_path / name, name)


def test_a_converted_record_has_the_curves_of_the_s_parameters_and_a_finding(tmp_path: Path) -> None:
    facts = 'link = "A"\n[pairs."1-2"]\nlocal = 1\nremote = 2\n'
    sweeps = []
    for name, content in (
        ("s.s2p", text(S, F_MHZ, reference=(100.0,))),
        ("z.s2p", written(immittance(S, "Z", 1.0), "Z", reference=(100.0,))),
    ):
        (tmp_path / name).with_suffix(".toml").write_text(facts)
        (batch,) = read(entry_of(tmp_path, content, name))
        sweeps.append(batch["sweeps"].to_pylist())
        found = {f["rule"]: f for f in batch["findings"].to_pylist()}
        assert ("parameters-converted" in found) == (name == "z.s2p")
    assert found["parameters-converted"]["status"] == "input changed"
    assert "Z-parameters normalised to 100 ohm" in found["parameters-converted"]["message"]
    assert len(sweeps[0]) == len(sweeps[1]) >= 3
    for mine, theirs in zip(*sweeps, strict=True):
        assert (mine["parameter"], mine["end"]) == (theirs["parameter"], theirs["end"])
        np.testing.assert_allclose(mine["values"], theirs["values"], rtol=1e-6)


FOUR = text(invented(1, F_MHZ), F_MHZ)
FOUR_2 = text(invented(1, F_MHZ), F_MHZ, version="2.0", modes="D1,2 D3,4 C1,2 C3,4")


HALF = "[Version] 2.0\n# MHz H RI R 50\n[Number of Ports] 2\n[Two-Port Data Order] 12_21\n"
HALF += "[Matrix Format] Lower\n[Network Data]\n1 .5 0 .5 0 .5 0\n[End]\n"


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.s4p", FOUR.replace(" S RI", " H RI"), "no scattering parameters"),
        ("a.s4p", FOUR.replace(" S RI", " G RI"), "no scattering parameters"),
        ("a.s4p", FOUR_2.replace(" S RI", " Z RI"), "no scattering parameters"),
        ("a.s4p", FOUR.replace(" S RI R 50.0", " Y RI R 50 75 50 75"), "no scattering parameters"),
        ("a.s2p", HALF, "no scattering parameters"),
        ("a.s2p", "# MHz Z RI R 50\n1 -1 0 0 0 0 0 -1 0\n", "no scattering parameters"),
        ("a.s4p", FOUR.replace("R 50.0", "R (50+1j)"), "complex impedance"),
        ("a.s4p", FOUR.replace("R 50.0", "R 50-2.5j"), "complex impedance"),
        ("a.s4p", FOUR_2.replace("[Network D", "[Reference] 50 50 50+1e-1i 50\n[Network D"), "complex impedance"),
        ("a.txt", FOUR, "how many ports"),
    ],
)
def test_what_cannot_be_converted_is_sound_and_not_damaged(tmp_path: Path, name: str, content: str, said: str) -> None:
    entry = entry_of(tmp_path, content, name)
    assert recognise(entry) is not None
    (batch,) = read(entry)
    (row,) = batch["set_aside"].to_pylist()
    assert said in row["reason"]
    assert row["remedy"]
    assert str(row["place"] or "line").startswith("line")
    assert len(batch["sources"]) == 1
    described = describe(entry)
    assert not described.unread
    assert said in described.set_aside[0]


def test_a_value_that_is_no_number_keeps_its_own_name(tmp_path: Path) -> None:
    content = written(immittance(S, "Z", 1.0), "Z", reference=(100.0,)).splitlines()
    content[5] = " ".join(["nan" if i == 3 else word for i, word in enumerate(content[5].split())])
    (tmp_path / "a.toml").write_text('link = "A"\n[pairs."1-2"]\nlocal = 1\nremote = 2\n')
    (batch,) = read(entry_of(tmp_path, "\n".join(content)))
    assert batch["set_aside"].to_pylist()[0]["found"].startswith("Z2,1 is not finite")


def test_no_scattering_parameters_of_several_normalisations() -> None:
    with pytest.raises(SetAside, match="sound"):
        scattering(S, "Y", np.array([50.0, 75.0]), normalised=True)


@pytest.mark.parametrize("words", ["# link, length, verdict\n1 2 3\n", "# MHz dB\nx 1 2\n", "# Hz 5 6\n1 2 3\n"])
def test_a_table_under_a_hash_is_not_a_network(tmp_path: Path, words: str) -> None:
    assert recognise(entry_of(tmp_path, words, "a.txt")) is None


def test_a_large_file_is_surveyed_within_a_second_of_processor_time(tmp_path: Path) -> None:
    f = np.arange(1.0, 501.0, 0.125)[:3300]
    content = text(invented(1, f), f)
    assert len(content) > 2_300_000
    for name in ("a.s4p", "a.txt"):
        entry = entry_of(tmp_path, content, name)
        start = time.process_time()
        assert recognise(entry) is not None
        describe(entry)
        assert time.process_time() - start < 1.0
