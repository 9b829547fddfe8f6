"""Records against what the instrument itself computed, and against the table of the data's own description.

The vna.txt files of ../shared/data/twisted-pair-cables (open measurements, CC0-1.0) hold the single-port traces and
six balanced reflections that the analyser computed by itself: an oracle that shares no code with us.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from archive.formats.recognition import Entry
from archive.formats.touchstone import read
from archive.formats.touchstone.description import describe
from archive.formats.touchstone.draft_map import draft_pairs
from archive.formats.touchstone.mixed_mode import loss_db, to_modes
from archive.formats.touchstone.network import Mode
from archive.formats.touchstone.parse import parse

DATA = Path(__file__).parents[2] / ".." / "shared" / "data" / "twisted-pair-cables"
pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason="../shared/data/twisted-pair-cables is not there")

STRAIGHT, ACROSS = ((1, 2), (3, 4)), ((1, 3), (2, 4))
# File, ends, loss of SDD21 and SDD11 in dB at the point nearest to 100 MHz (computed with scikit-rf 2.2.0 by those who
# gathered the data, README.md of the data, to the digits printed there), and the findings that its words ask for.
TABLE: list[tuple[str, Any, float, float, set[str]]] = [
    ("TP_07_05Jun2019_T1", ACROSS, 1.01, 13.6, set()),
    ("TP_0p35m_127_ChCMD", STRAIGHT, 0.40, 26.5, {"polarity-crossed"}),
    ("TP_0p35m_127_ChD0", STRAIGHT, 0.40, 28.7, set()),
    ("TP_0p35m_127_ChD1", STRAIGHT, 0.42, 25.7, set()),
    ("TP_0p35m_127_ChD2", STRAIGHT, 0.36, 27.4, {"polarity-crossed"}),
    ("TP_1m_33_ChD1", ACROSS, 1.20, 17.2, {"not-passive", "not-reciprocal"}),
    ("calibration_test", STRAIGHT, 0.01, 50.7, {"nothing-between-the-ends"}),
]


def record(tmp_path: Path, stem: str, ends: Any) -> Any:
    """The batch of a real file under a map with these ends. A copy, because a map stands beside its file."""
    (tmp_path / f"{stem}.s4p").write_bytes((DATA / f"{stem}.s4p").read_bytes())
    near, far = (list(e) for e in ends)
    (tmp_path / f"{stem}.toml").write_text(f'link = "{stem}"\n[pairs."1-2"]\nlocal = {near}\nremote = {far}\n')
    (batch,) = read(Entry(tmp_path / f"{stem}.s4p", f"{stem}.s4p"))
    return batch


def raised(batch: Any) -> set[str]:
    return {r["rule"] for r in batch["findings"].to_pylist()} - {"fewer-than-four-pairs"}


@pytest.mark.parametrize(("stem", "ends", "loss", "echo", "rules"), TABLE, ids=[row[0] for row in TABLE])
def test_losses_and_findings_of_the_table(
    tmp_path: Path, stem: str, ends: Any, loss: float, echo: float, rules: set[str]
) -> None:
    batch = record(tmp_path, stem, ends)
    f = np.array(batch["axes"].to_pylist()[0]["frequencies_mhz"])
    at = int(np.abs(f - 100).argmin())
    curves = {(r["parameter"], r["end"]): r["values"] for r in batch["sweeps"].to_pylist()}
    # One unit of the last digit: the table does not say whether it was rounded or cut.
    assert curves["insertion_loss", None][at] == pytest.approx(loss, abs=0.01)
    assert curves["return_loss", "local"][at] == pytest.approx(echo, abs=0.1)
    assert raised(batch) == rules
    assert [r["rule"] for r in batch["findings"].to_pylist()].count("fewer-than-four-pairs") == 1
    (source,) = batch["sources"].to_pylist()
    assert source["cells_read"] == source["cells_mapped"] + source["cells_extra"] + source["cells_ignored"]


@pytest.mark.parametrize(("stem", "ends"), [(row[0], row[1]) for row in TABLE if row[0] != "calibration_test"])
def test_a_map_with_other_ends_is_contradicted(tmp_path: Path, stem: str, ends: Any) -> None:
    """Each real cable under the two maps that are wrong. The thru is left out: from data alone its two wires can lie
    either way round."""
    for wrong in (((1, 2), (3, 4)), ((1, 3), (2, 4)), ((1, 4), (2, 3))):
        if wrong != ends:
            assert "through-path-not-where-the-map-says" in raised(record(tmp_path, stem, wrong)), wrong


@pytest.mark.parametrize(("stem", "ends"), [(row[0], row[1]) for row in TABLE])
def test_the_drafted_map_has_the_ends_and_the_polarity_of_the_data(tmp_path: Path, stem: str, ends: Any) -> None:
    ((near, far),) = draft_pairs(parse((DATA / f"{stem}.s4p").read_bytes(), f"{stem}.s4p"))
    assert (near, tuple(sorted(far))) == ends
    assert "polarity-crossed" not in raised(record(tmp_path, stem, (near, far)))
    (tmp_path / f"{stem}.toml").unlink()
    assert f"remote = {list(far)}" in describe(Entry(tmp_path / f"{stem}.s4p", f"{stem}.s4p")).draft


BLOCK = re.compile(r"balanced port pair (\d):(\d)")


def balanced(path: Path) -> dict[tuple[int, int], tuple[Any, Any]]:
    """The balanced reflections that the instrument computed: by pair of ports, frequencies in MHz and complex S."""
    out: dict[tuple[int, int], tuple[Any, Any]] = {}
    pair: tuple[int, int] | None = None
    rows: list[list[float]] = []
    seen = False
    for text in path.read_text(encoding="latin-1").splitlines():
        match = BLOCK.search(text)
        if match or text.startswith("single port pairs"):
            if pair and rows:
                table = np.array(rows)
                out[pair] = (table[:, 1] * 1e3, table[:, 2] + 1j * table[:, 3])
            pair, rows, seen = ((int(match[1]), int(match[2])) if match else None), [], False
        seen = seen or text.startswith("FREQUENCY")
        cells = text.split()
        if pair and seen and len(cells) == 4 and cells[0].isdigit():
            rows.append([float(c) for c in cells])
    if pair and rows:
        table = np.array(rows)
        out[pair] = (table[:, 1] * 1e3, table[:, 2] + 1j * table[:, 3])
    return out


@pytest.mark.parametrize("stem", [row[0] for row in TABLE if row[0].startswith("TP_0p35m")])
def test_the_instrument_computes_the_same_balanced_reflection(tmp_path: Path, stem: str) -> None:
    """Pair 1:2 below 500 MHz: the description of the data found agreement to 0.005."""
    f, instrument = balanced(DATA / f"{stem}.vna.txt")[1, 2]
    network = parse((DATA / f"{stem}.s4p").read_bytes(), f"{stem}.s4p")
    np.testing.assert_allclose(network.frequencies_mhz, f, rtol=1e-9)
    low = f < 500
    reflection = to_modes(network.s, [Mode("D", (1, 2))])[:, 0, 0]
    assert np.abs(reflection - instrument)[low].max() < 0.0051
    batch = record(tmp_path, stem, STRAIGHT)
    (values,) = [
        r["values"] for r in batch["sweeps"].to_pylist() if (r["parameter"], r["end"]) == ("return_loss", "local")
    ]
    # In dB, where the echo is strong enough for 0.005 to be a small part of it.
    strong = low & (np.abs(instrument) > 0.05)
    assert strong.sum() > 5
    np.testing.assert_allclose(np.array(values)[strong], loss_db(instrument)[strong], atol=1.0)


def test_the_oracle_can_fail() -> None:
    """With the sign of one port turned the balanced reflection is another by far."""
    f, instrument = balanced(DATA / "TP_0p35m_127_ChD0.vna.txt")[1, 2]
    network = parse((DATA / "TP_0p35m_127_ChD0.s4p").read_bytes(), "TP_0p35m_127_ChD0.s4p")
    common = to_modes(network.s, [Mode("C", (1, 2))])[:, 0, 0]
    assert np.abs(common - instrument)[f < 500].max() > 0.3
