"""This reader against scikit-rf (an independent, open library for S-parameters), on real and simulated files.

Real files: ../shared/data/twisted-pair-cables (CC0-1.0), multiport files: ../shared/data/multiport (BSD-3-Clause);
SOURCE.md beside them says where they come from. They are skipped where the folder is absent.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from archive.formats.recognition import Entry
from archive.formats.touchstone import read, recognise
from archive.formats.touchstone.mixed_mode import renormalise, to_modes
from archive.formats.touchstone.network import Mode
from archive.formats.touchstone.parse import parse
from tests.formats.touchstone_files import invented, pairs_toml, text

skrf = pytest.importorskip("skrf")

DATA = Path(__file__).parents[2] / ".." / "shared" / "data"
REAL = sorted(DATA.glob("*/*.[sS]*[0-9][pP]"))
absent = pytest.mark.skipif(not REAL, reason="../shared/data is not there")
FOUR_PORTS = [p for p in REAL if p.suffix.lower() == ".s4p"]


def ours(path: Path) -> Any:
    return parse(path.read_bytes(), path.name)


@absent
def test_a_file_that_is_not_normalised_is_set_aside(tmp_path: Path) -> None:
    data = DATA / "multiport" / "simulated-16-port.s16p"
    (tmp_path / "a.s16p").write_bytes(data.read_bytes())
    (tmp_path / "a.toml").write_text('link = "A"\n' + pairs_toml(4))
    (batch,) = read(Entry(tmp_path / "a.s16p", "a.s16p"))
    (row,) = batch["set_aside"].to_pylist()
    assert "not renormalized" in row["found"]


@absent
def test_there_are_real_files_of_4_8_16_and_32_ports() -> None:
    assert {p.suffix.lower() for p in REAL} == {".s4p", ".s8p", ".s16p", ".s32p"}


@pytest.mark.parametrize("path", REAL, ids=lambda p: p.name)
def test_the_same_numbers(path: Path) -> None:
    found, theirs = ours(path), skrf.Network(str(path))
    np.testing.assert_allclose(found.s, theirs.s, rtol=1e-13, atol=1e-15)
    np.testing.assert_allclose(found.frequencies_mhz, theirs.f / 1e6, rtol=1e-14)
    if path.stem != "simulated-16-port":
        # "Data is not renormalized": scikit-rf takes 0 ohm, we take what the option line says and doubt it.
        np.testing.assert_allclose(np.broadcast_to(found.reference_ohm, theirs.z0.shape), theirs.z0.real)
    recognised = recognise(Entry(path, path.name))
    assert recognised is not None
    assert recognised.score > 0.9


@pytest.mark.parametrize("path", FOUR_PORTS, ids=lambda p: p.name)
@pytest.mark.parametrize("order", [(1, 2, 3, 4), (1, 3, 2, 4)])
def test_the_same_mixed_mode_matrix(path: Path, order: tuple[int, ...]) -> None:
    """scikit-rf counts the ports of a pair one after the other; se2gmm(p=2) gives d1, d2, c1, c2."""
    found, theirs = ours(path), skrf.Network(str(path))
    theirs.renormalize(50)
    index = [p - 1 for p in order]
    theirs.s = theirs.s[:, index][:, :, index]
    theirs.se2gmm(p=2)
    near, far = order[:2], order[2:]
    modes = [Mode("D", near), Mode("D", far), Mode("C", near), Mode("C", far)]
    s = renormalise(found.s, found.reference_ohm, [50.0] * 4)
    np.testing.assert_allclose(to_modes(s, modes), theirs.s, rtol=1e-9, atol=1e-12)
    assert theirs.z0[0].real.tolist() == [100, 100, 25, 25], "a pair of 50 ohm ports refers to 100 ohm"


@pytest.mark.parametrize("path", FOUR_PORTS, ids=lambda p: p.name)
def test_the_same_renormalisation(path: Path) -> None:
    found, theirs = ours(path), skrf.Network(str(path))
    new = [75.0, 50.0, 33.0, 110.0]
    theirs.renormalize(new)
    np.testing.assert_allclose(renormalise(found.s, found.reference_ohm, new), theirs.s, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("path", REAL, ids=lambda p: p.name)
def test_the_same_passivity_and_reciprocity(path: Path) -> None:
    """scikit-rf: passive where I - S^H S has no negative eigenvalue, which is the largest singular value at 1; and
    reciprocity = S - S^T."""
    found, theirs = ours(path), skrf.Network(str(path))
    largest = np.linalg.svd(found.s, compute_uv=False)[:, 0]
    smallest = np.array([np.linalg.eigvalsh(np.eye(found.ports) - s.conj().T @ s)[0] for s in theirs.s])
    np.testing.assert_allclose(1 - largest**2, smallest, atol=1e-9)
    apart = np.abs(found.s - found.s.transpose(0, 2, 1)).max(axis=(1, 2))
    np.testing.assert_allclose(apart, np.abs(theirs.reciprocity).max(axis=(1, 2)), atol=1e-12)


@pytest.mark.parametrize("version", ["1", "2.0"])
@pytest.mark.parametrize("ports", [1, 2, 3, 4, 6, 8])
@pytest.mark.parametrize("number_format", ["RI", "MA", "DB"])
def test_what_our_test_writer_writes_reads_the_same_there(version: str, ports: int, number_format: str) -> None:
    """The writer that the property tests lean on, judged by scikit-rf."""
    f = np.array([1.0, 10.0, 100.0])
    s = invented(2, f)[:, :ports, :ports]
    theirs = skrf.Network(_file(text(s, f, version=version, number_format=number_format), f"a.s{ports}p"))
    np.testing.assert_allclose(theirs.s, s, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(theirs.f, f * 1e6)


@pytest.mark.parametrize("layout", ["lower", "upper"])
def test_triangles_of_version_2_read_the_same_there(layout: str) -> None:
    f = np.array([1.0, 10.0])
    s = invented(1, f)
    written = text(s, f, version="2.0", layout=layout)
    theirs = skrf.Network(_file(written, "a.s4p"))
    np.testing.assert_allclose(parse(written.encode(), "a.s4p").s, theirs.s, rtol=1e-12, atol=1e-14)


def _file(written: str, name: str) -> io.StringIO:
    out = io.StringIO(written)
    out.name = name
    return out
