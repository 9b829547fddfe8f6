"""From a network-analyser file and its port map to the rows of a record."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from archive import schemas
from archive.formats.recognition import Entry
from archive.formats.touchstone import read, recognise
from archive.formats.touchstone.findings import tolerances
from archive.formats.touchstone.mixed_mode import renormalise, to_modes, to_ports
from archive.formats.touchstone.network import Mode
from archive.formats.touchstone.phase import line_phase
from archive.tables import Batch, person_key
from archive.vocabulary import COMBINATIONS, ORDERED, PAIRS
from tests.formats.touchstone_files import FIXTURES, invented, line, pairs_toml, text

F_MHZ = np.arange(5.0, 51.0, 5.0)
FOUR = invented(4, F_MHZ)


def put(folder: Path, s: Any, toml: str, name: str = "", f_mhz: Any = F_MHZ, **how: Any) -> Entry:
    """A file with its map, in a folder."""
    name = name or f"a.s{s.shape[-1]}p"
    (folder / name).write_text(text(s, f_mhz, **how), encoding="utf-8")
    (folder / f"{Path(name).stem}.toml").write_text(toml, encoding="utf-8")
    return Entry(folder / name, name)


def batch_of(folder: Path, s: Any, toml: str, **how: Any) -> Batch:
    (batch,) = read(put(folder, s, toml, **how))
    return batch


def curve(batch: Batch, parameter: str, pairing: str, end: str | None = None) -> Any:
    wanted = (parameter, pairing, end)
    rows = [r for r in batch["sweeps"].to_pylist() if (r["parameter"], r["pairing"], r["end"]) == wanted]
    assert len(rows) == 1, wanted
    return np.array(rows[0]["values"], dtype=float)


def raised(batch: Batch) -> dict[str, str]:
    """Rule by status of every finding."""
    return {row["rule"]: row["status"] for row in batch["findings"].to_pylist()}


LINK = 'link = "A"\n'


def test_four_pairs_give_every_parameter_once(tmp_path: Path) -> None:
    batch = batch_of(tmp_path, FOUR, LINK + pairs_toml(4))
    names = [(r["parameter"], r["pairing"], r["end"]) for r in batch["sweeps"].to_pylist()]
    assert len(names) == len(set(names))
    ends = ("local", "remote")
    expected = {("insertion_loss", p, None) for p in PAIRS}
    expected |= {
        (q, p, e) for q in ("return_loss", "tcl", "lcl", "tctl", "eltctl", "lctl") for p in PAIRS for e in ends
    }
    expected |= {("next", c, e) for c in COMBINATIONS for e in ends}
    expected |= {(q, c, e) for q in ("fext", "acr_f") for c in ORDERED for e in ends}
    assert set(names) == expected
    assert raised(batch) == {}
    (record,) = batch["records"].to_pylist()
    assert (record["evidence"], record["medium"], record["reported_verdict"]) == ("full-sweep", "copper", None)


def test_every_curve_is_what_its_definition_says(tmp_path: Path) -> None:
    """The definitions of schemas/port-map.md written out port by port: with a the first port of a pair and b its
    second, SDD = (aa - ab - ba + bb) / 2, SCD = (aa - ab + ba - bb) / 2, SDC = (aa + ab - ba - bb) / 2."""
    batch = batch_of(tmp_path, FOUR, LINK + pairs_toml(4))
    ports = {
        (p, end): (2 * k + shift, 2 * k + shift + 1)
        for k, p in enumerate(PAIRS)
        for end, shift in (("local", 0), ("remote", 8))
    }

    def db(signs: tuple[int, int, int, int], out: tuple[str, str], into: tuple[str, str]) -> Any:
        (a, b), (c, d) = ports[out], ports[into]
        wave = signs[0] * FOUR[:, a, c] + signs[1] * FOUR[:, a, d] + signs[2] * FOUR[:, b, c] + signs[3] * FOUR[:, b, d]
        return -20 * np.log10(np.abs(wave) / 2)

    dd, cd, dc = (1, -1, -1, 1), (1, -1, 1, -1), (1, 1, -1, -1)
    other = {"local": "remote", "remote": "local"}
    close: Any = {"rtol": 1e-9, "atol": 1e-9}
    loss = {p: db(dd, (p, "remote"), (p, "local")) for p in PAIRS}
    for p in PAIRS:
        np.testing.assert_allclose(curve(batch, "insertion_loss", p), loss[p], **close)
        for e in ("local", "remote"):
            np.testing.assert_allclose(curve(batch, "return_loss", p, e), db(dd, (p, e), (p, e)), **close)
            np.testing.assert_allclose(curve(batch, "tcl", p, e), db(cd, (p, e), (p, e)), **close)
            np.testing.assert_allclose(curve(batch, "lcl", p, e), db(dc, (p, e), (p, e)), **close)
            tctl = db(cd, (p, e), (p, other[e]))
            np.testing.assert_allclose(curve(batch, "tctl", p, e), tctl, **close)
            np.testing.assert_allclose(curve(batch, "eltctl", p, e), tctl - loss[p], **close)
            np.testing.assert_allclose(curve(batch, "lctl", p, e), db(dc, (p, e), (p, other[e])), **close)
    for c in COMBINATIONS:
        lower, higher = c.split("/")
        for e in ("local", "remote"):
            np.testing.assert_allclose(curve(batch, "next", c, e), db(dd, (higher, e), (lower, e)), **close)
    for c in ORDERED:
        disturbing, disturbed = c.split("/")
        for e in ("local", "remote"):
            fext = db(dd, (disturbed, e), (disturbing, other[e]))
            np.testing.assert_allclose(curve(batch, "fext", c, e), fext, **close)
            np.testing.assert_allclose(curve(batch, "acr_f", c, e), fext - loss[disturbed], **close)


def test_quantities_made_of_others_are_marked_derived(tmp_path: Path) -> None:
    rows = batch_of(tmp_path, FOUR, LINK + pairs_toml(4))["sweeps"].to_pylist()
    assert {r["parameter"] for r in rows if r["origin"] == "derived"} == {"acr_f", "eltctl"}
    assert {r["origin"] for r in rows} == {"measured", "derived"}


def test_a_mixed_mode_file_gives_the_same_record_as_its_single_ports(tmp_path: Path) -> None:
    one = FOUR[:, [0, 1, 8, 9]][:, :, [0, 1, 8, 9]]
    modes = [Mode("D", (3, 4)), Mode("C", (1, 2)), Mode("D", (1, 2)), Mode("C", (3, 4))]
    mixed = to_modes(one, modes)
    (tmp_path / "x").mkdir()
    a = batch_of(tmp_path, one, LINK + pairs_toml(1))
    b = batch_of(tmp_path / "x", mixed, LINK + pairs_toml(1), version="2.0", modes="D3,4 C1,2 D1,2 C3,4")
    for x, y in zip(a["sweeps"].to_pylist(), b["sweeps"].to_pylist(), strict=True):
        np.testing.assert_allclose(x["values"], y["values"], atol=1e-9)
    np.testing.assert_allclose(to_ports(mixed, modes), one, atol=1e-14)


def test_other_reference_impedances_are_converted_and_told(tmp_path: Path) -> None:
    one = FOUR[:, [0, 1, 8, 9]][:, :, [0, 1, 8, 9]]
    (tmp_path / "x").mkdir()
    odd = renormalise(one, [50] * 4, [75, 60, 33, 50])
    a = batch_of(tmp_path, one, LINK + pairs_toml(1))
    b = batch_of(tmp_path / "x", odd, LINK + pairs_toml(1), version="2.0", reference=(75, 60, 33, 50))
    for x, y in zip(a["sweeps"].to_pylist(), b["sweeps"].to_pylist(), strict=True):
        np.testing.assert_allclose(x["values"], y["values"], atol=1e-8)
    (row,) = [r for r in b["findings"].to_pylist() if r["rule"] == "reference-impedance-changed"]
    assert (row["status"], row["where"], row["found"]) == ("input changed", "ports 1, 2, 3", "75, 60, 33 ohm")
    assert "reference-impedance-changed" not in raised(a)


def test_reference_ohm_of_the_map_is_believed_before_the_file(tmp_path: Path) -> None:
    one = FOUR[:, [0, 1, 8, 9]][:, :, [0, 1, 8, 9]]
    batch = batch_of(tmp_path, one, LINK + "reference_ohm = 50\n" + pairs_toml(1), reference=(75.0,))
    assert "reference-impedance-changed" not in raised(batch)


def test_a_balun_gives_no_mode_conversion_and_needs_its_impedance(tmp_path: Path) -> None:
    s = line(F_MHZ, 20.0, 105.0, 100.0)
    toml = '[pairs."1-2"]\nlocal = 1\nremote = 2\n'
    batch = batch_of(tmp_path, s, LINK + toml, reference=(100.0,))
    assert {r["parameter"] for r in batch["sweeps"].to_pylist()} == {"insertion_loss", "return_loss"}
    np.testing.assert_allclose(curve(batch, "insertion_loss", "1-2"), -20 * np.log10(np.abs(s[:, 1, 0])), atol=1e-9)
    assert set(raised(batch)) == {"fewer-than-four-pairs"}
    aside = batch_of(tmp_path, s, LINK + toml, reference=(50.0,))
    (row,) = aside["set_aside"].to_pylist()
    assert "reference_ohm" in row["remedy"]
    assert len(batch_of(tmp_path, s, LINK + "reference_ohm = 100\n" + toml, reference=(50.0,))) == 1


def test_pairs_seen_at_one_end_give_what_that_end_shows(tmp_path: Path) -> None:
    near = FOUR[:, :8, :8]
    toml = LINK + "".join(f'[pairs."{p}"]\nlocal = [{2 * k + 1}, {2 * k + 2}]\n' for k, p in enumerate(PAIRS))
    batch = batch_of(tmp_path, near, toml)
    assert {r["parameter"] for r in batch["sweeps"].to_pylist()} == {"return_loss", "tcl", "lcl", "next"}
    assert {r["end"] for r in batch["sweeps"].to_pylist()} == {"local"}
    assert set(raised(batch)) == {"fewer-than-four-pairs"}


def test_a_signal_of_exactly_zero_is_a_missing_point_and_told(tmp_path: Path) -> None:
    s = FOUR[:, [0, 1, 8, 9]][:, :, [0, 1, 8, 9]].copy()
    s[2, :2, :2] = 0
    batch = batch_of(tmp_path, s, LINK + pairs_toml(1))
    assert np.isnan(curve(batch, "return_loss", "1-2", "local")).tolist() == [i == 2 for i in range(10)]
    (row,) = [r for r in batch["findings"].to_pylist() if r["rule"] == "signal-of-zero"]
    assert (row["status"], row["found"]) == ("input changed", "3 points")


@pytest.mark.parametrize("number_format", ["RI", "MA", "DB"])
def test_a_conversion_of_nothing_but_rounding_is_no_value(tmp_path: Path, number_format: str) -> None:
    """What the two conductors of a pair share exactly leaves 1e-20 of rounding, which is no loss of 390 dB."""
    s = invented(1, F_MHZ, coupling=0.0)
    batch = batch_of(tmp_path, s, LINK + pairs_toml(1), number_format=number_format)
    for parameter in ("tcl", "lcl", "tctl", "lctl"):
        assert np.isnan(curve(batch, parameter, "1-2", "local")).all(), parameter
    assert np.isfinite(curve(batch, "return_loss", "1-2", "local")).all()
    assert np.isfinite(curve(batch, "insertion_loss", "1-2")).all()
    assert raised(batch)["signal-of-zero"] == "input changed"


# Findings: a good link, and one thing broken in it.


def swap(s: Any, order: list[int]) -> Any:
    return s[:, order][:, :, order]


STRAIGHT = list(range(16))


@pytest.mark.parametrize(
    ("what", "order"),
    [
        ("two pairs exchanged at the far end", [0, 1, 2, 3, 4, 5, 6, 7, 10, 11, 8, 9, 12, 13, 14, 15]),
        (
            "the far end of one pair where the near end of another should be",
            [0, 1, 8, 9, 4, 5, 6, 7, 2, 3, 10, 11, 12, 13, 14, 15],
        ),
        ("conductors of two pairs exchanged at one end", [0, 2, 1, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15]),
        ("a near and a far conductor of one pair exchanged", [0, 8, 2, 3, 4, 5, 6, 7, 1, 9, 10, 11, 12, 13, 14, 15]),
    ],
)
def test_a_map_that_contradicts_the_data(tmp_path: Path, what: str, order: list[int]) -> None:
    batch = batch_of(tmp_path, swap(FOUR, order), LINK + pairs_toml(4))
    found = raised(batch)
    assert found.get("through-path-not-where-the-map-says") == "raised", what
    assert "polarity-crossed" not in found or found["polarity-crossed"] == "raised"
    row = next(r for r in batch["findings"].to_pylist() if r["rule"].startswith("through"))
    assert (row["severity"], row["link_label"]) == ("error", "A")


def test_a_crossed_pair(tmp_path: Path) -> None:
    order = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 10, 12, 13, 14, 15]
    batch = batch_of(tmp_path, swap(FOUR, order), LINK + pairs_toml(4))
    assert raised(batch) == {"polarity-crossed": "raised"}
    assert [r["where"] for r in batch["findings"].to_pylist()] == ["3-6"]


def test_a_crossed_pair_whose_map_says_so_is_silent(tmp_path: Path) -> None:
    toml = LINK + pairs_toml(4).replace("remote = [11, 12]", "remote = [12, 11]")
    order = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 10, 12, 13, 14, 15]
    assert raised(batch_of(tmp_path, swap(FOUR, order), toml)) == {}


def test_a_sweep_that_amplifies(tmp_path: Path) -> None:
    s = FOUR.copy()
    s[3] *= 2
    batch = batch_of(tmp_path, s, LINK + pairs_toml(4))
    assert raised(batch) == {"not-passive": "raised"}
    assert "20 MHz (1 of 10 points" in batch["findings"].to_pylist()[0]["where"]


def test_a_point_at_0_hz_is_not_judged(tmp_path: Path) -> None:
    """Analysers do not measure there: they continue the sweep towards it."""
    f = np.concatenate([[0.0], F_MHZ])
    s = np.concatenate([2 * FOUR[:1], FOUR])
    assert raised(batch_of(tmp_path, s, LINK + pairs_toml(4), f_mhz=f)) == {}
    s[1] *= 2
    batch = batch_of(tmp_path, s, LINK + pairs_toml(4), f_mhz=f)
    assert raised(batch) == {"not-passive": "raised"}
    assert "5 MHz (1 of 10 points" in batch["findings"].to_pylist()[0]["where"]


def test_a_sweep_that_knows_a_direction(tmp_path: Path) -> None:
    s = FOUR.copy()
    s[:, 0, 8] *= 0.7
    assert raised(batch_of(tmp_path, s, LINK + pairs_toml(4))) == {"not-reciprocal": "raised"}


def test_noise_within_the_tolerance_is_silent(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    s = FOUR + 0.002 * (rng.normal(size=FOUR.shape) + 1j * rng.normal(size=FOUR.shape))
    assert raised(batch_of(tmp_path, s, LINK + pairs_toml(4))) == {}


def test_a_thru_is_no_cable(tmp_path: Path) -> None:
    s = invented(1, F_MHZ, metres=0.005)
    found = raised(batch_of(tmp_path, s, LINK + pairs_toml(1)))
    assert found == {"nothing-between-the-ends": "raised", "fewer-than-four-pairs": "raised"}


def test_a_sweep_above_what_is_judged_says_that_it_was_not(tmp_path: Path) -> None:
    f = np.arange(600.0, 700.0, 10.0)
    batch = batch_of(tmp_path, invented(1, f, metres=1.0, coupling=1e-4), LINK + pairs_toml(1), f_mhz=f)
    found = raised(batch)
    assert {found[r] for r in ("not-passive", "not-reciprocal", "polarity-crossed")} == {"could not look"}


def test_findings_are_all_in_the_catalogue(tmp_path: Path) -> None:
    rules = schemas.load("rules/network-analyser.toml")["rules"]
    for name, rule in rules.items():
        assert rule["by"] == "reader", name
        for key in ("severity", "meaning", "why", "message", "remedy", "source"):
            assert rule[key].strip(), (name, key)


@settings(max_examples=120, deadline=None)
@example(metres=1.5, step=14.975, first=10.0, loss=8.0, crossed=False, seed=0)  # its loss allows a second delay
@given(
    metres=st.floats(0.05, 120),
    step=st.sampled_from([0.1, 0.25, 1.0, 2.5, 4.975, 10.0, 14.975]),
    first=st.sampled_from([0.1, 1.0, 10.0]),
    loss=st.floats(0.8, 8.0),
    crossed=st.booleans(),
    seed=st.integers(0, 2**32 - 1),
)
def test_polarity_is_never_reported_wrong(
    metres: float, step: float, first: float, loss: float, crossed: bool, seed: int
) -> None:
    """Lines of any length and loss on any even grid, with noise: reported rightly or not at all; and the delay, where
    it is reported, is that of the line (4.9 ns per metre and the share of the skin effect)."""
    f = np.arange(first, 500.0, step)[:400]
    rng = np.random.default_rng(seed)
    wave = line(f, metres, 103.0, 100.0, loss)[:, 1, 0] * (-1 if crossed else 1)
    wave = wave + 0.002 * (rng.normal(size=len(f)) + 1j * rng.normal(size=len(f)))
    found = line_phase(f, wave, tolerances("polarity-crossed"))
    assert found.polarity in ("", "crossed" if crossed else "straight")
    if not found.polarity:
        assert found.reason
    if found.delay_ns is not None:
        assert abs(found.delay_ns - metres * 1e3 / (0.68 * 299.792458)) < 0.05 * metres * 5 + 0.1
    # A delay that is longer by a whole turn between two points would have lost more than was lost here.
    loss_100 = float(np.median(-20 * np.log10(np.abs(wave)) / np.sqrt(f / 100)))
    one_more = metres * 1e3 / (0.68 * 299.792458) + 1e3 / step
    if metres < 2 and loss >= 2 and loss_100 / tolerances("polarity-crossed")["least_db_per_ns"] < 0.95 * one_more:
        assert found.polarity, "a short pair is recognised where its loss leaves one delay alone"


# The record around the curves.


def test_the_facts_of_the_map_go_where_they_belong() -> None:
    (batch,) = read(Entry(FIXTURES / "four-pairs.s16p", "job/four-pairs.s16p"))
    (record,) = batch["records"].to_pylist()
    assert (record["link_label"], record["tested_local"], record["tested_at"]) == (
        "INV-4P",
        "2021-05-04T09:30:00",
        None,
    )
    assert record["cable_found"] == "Cat 6A F/UTP 23AWG"
    assert record["cable_type"] == "cat6a/f-utp/awg23/solid"
    (unit,) = batch["instruments"].to_pylist()
    assert record["local_instrument_id"] == record["remote_instrument_id"] == unit["instrument_id"]
    (length,) = [r for r in batch["readings"].to_pylist() if r["quantity"] == "length"]
    assert (length["value"], length["origin"]) == (20.0, "stated")
    assert sorted(r["subject"] for r in batch["readings"].to_pylist() if r["quantity"] == "propagation_delay") == list(
        PAIRS
    )
    (source,) = batch["sources"].to_pylist()
    assert source["path"] == "job/four-pairs.s16p"
    assert source["source_id"] == record["source_id"]


def test_a_name_stands_in_people_alone() -> None:
    (batch,) = read(Entry(FIXTURES / "four-pairs.s16p", "four-pairs.s16p"))
    (person,) = batch["people"].to_pylist()
    assert person["name"] == "Wren Halloway"
    assert person["person_key"] == person_key(person["salt"], person["name"])
    assert len(person["salt"]) >= 32
    assert batch["records"].to_pylist()[0]["operator_key"] == person["person_key"]
    for name, table in batch.items():
        if name != "people":
            assert "Halloway" not in str(table.to_pylist()), name


def test_delay_at_10_mhz_is_that_of_the_invented_line() -> None:
    """20 m at 68 % of the speed of light, and the phase of the skin effect, by the formula."""
    (batch,) = read(Entry(FIXTURES / "balun-with-noise.s2p", "balun-with-noise.s2p"))
    (row,) = [r for r in batch["readings"].to_pylist() if r["quantity"] == "propagation_delay"]
    skin = 1.82 * np.sqrt(10) * 20 / 100 / 8.685889638 / (2 * np.pi * 10) * 1e3
    assert abs(row["value"] - (20 / (0.68 * 0.299792458) + skin)) < 0.2


def test_every_cell_is_accounted_for(tmp_path: Path) -> None:
    for toml, mapped_ports, ignored_ports in (
        (pairs_toml(4), 16, 0),
        ('[pairs."1-2"]\nlocal = [1, 2]\nremote = [9, 10]\n', 4, 0),
        ('ignore_ports = [3, 4, 5]\n[pairs."1-2"]\nlocal = [1, 2]\nremote = [9, 10]\n', 4, 3),
    ):
        batch = batch_of(tmp_path, FOUR, LINK + toml)
        (source,) = batch["sources"].to_pylist()
        kept = 1 + 1 + 16 * len(F_MHZ)  # the first comment, the option line, a comment on each row
        numbers = len(F_MHZ) * (1 + 2 * 16 * 16)
        assert source["cells_read"] == numbers + kept
        assert source["cells_mapped"] == len(F_MHZ) * (1 + 2 * mapped_ports**2)
        assert source["cells_ignored"] == len(F_MHZ) * 2 * (16**2 - (16 - ignored_ports) ** 2)
        assert source["cells_read"] == sum(source[f"cells_{k}"] for k in ("mapped", "extra", "ignored"))
        cells_of_extras = 0
        for row in batch["extras"].to_pylist():
            if row["name"].startswith("S"):
                cells_of_extras += len(row["value"].split())
            elif row["place"].startswith("line"):
                cells_of_extras += 1
        assert cells_of_extras == source["cells_extra"], "extras hold every cell that is neither mapped nor ignored"


def test_numbers_of_other_ports_are_kept_in_the_words_of_the_file(tmp_path: Path) -> None:
    toml = LINK + '[pairs."1-2"]\nlocal = [1, 2]\nremote = [3, 4]\n'
    entry = put(tmp_path, FOUR[:, :5, :5], toml, version="2.0", layout="upper", number_format="MA")
    (batch,) = read(entry)
    rows = {r["name"]: r["value"] for r in batch["extras"].to_pylist() if r["name"].startswith("S")}
    assert set(rows) == {f"S{i},5" for i in range(1, 6)}
    lines = [li for li in entry.path.read_text().splitlines() if "! row 1" in li]
    assert " ".join(rows["S1,5"].split()[:2]) in " ".join(entry.path.read_text().split())
    assert len(rows["S1,5"].split()) == 2 * len(lines)


def test_without_a_map_the_file_is_set_aside_with_what_to_do(tmp_path: Path) -> None:
    entry = put(tmp_path, FOUR, "")
    (tmp_path / "a.toml").unlink()
    (batch,) = read(entry)
    assert len(batch) == 0
    (row,) = batch["set_aside"].to_pylist()
    assert "port map" in row["reason"]
    assert "a.toml" in row["expected"]
    assert "muniment survey" in row["remedy"]
    assert row["source_id"] == entry.sha256
    found = recognise(entry)
    assert found is not None
    assert found.takes == frozenset()


def test_the_same_file_and_map_make_the_same_record_id(tmp_path: Path) -> None:
    ids = [batch_of(tmp_path, FOUR, LINK + pairs_toml(4))["records"]["record_id"].to_pylist() for _ in range(2)]
    other = batch_of(tmp_path, FOUR, LINK + "length_m = 3\n" + pairs_toml(4))["records"]["record_id"].to_pylist()
    assert ids[0] == ids[1] != other


def test_two_equal_files_that_a_map_gives_to_two_links_are_two_records(tmp_path: Path) -> None:
    for name in ("a.s16p", "b.s16p"):
        put(tmp_path, FOUR, LINK, name=name)
        (tmp_path / name).with_suffix(".toml").unlink()
    (tmp_path / "links.toml").write_text('link = "{stem}"\n' + pairs_toml(4))
    found = [next(read(Entry(tmp_path / n, n)))["records"].to_pylist()[0] for n in ("a.s16p", "b.s16p")]
    assert [r["link_label"] for r in found] == ["a", "b"]
    assert found[0]["record_id"] != found[1]["record_id"]


def test_notes_are_kept_as_extras(tmp_path: Path) -> None:
    toml = LINK + pairs_toml(4) + '[notes]\nroom = "warm"\n[notes.bench]\ncables = 4\n'
    rows = {r["name"]: r["value"] for r in batch_of(tmp_path, FOUR, toml)["extras"].to_pylist()}
    assert (rows["room"], rows["bench.cables"]) == ("warm", "4")
    assert rows["ports of pair 1-2"] == "local 1,2; remote 9,10"


@pytest.mark.parametrize("given", ["cat6a", "cat6a/f-utp/awg23/solid", "cat6/solid", "unknown"])
def test_cable_types_that_are(tmp_path: Path, given: str) -> None:
    batch = batch_of(tmp_path, FOUR, LINK + f'cable_type = "{given}"\n' + pairs_toml(4))
    assert batch["records"].to_pylist()[0]["cable_type"] == given


@pytest.mark.parametrize("given", ["Cat 6A", "f-utp/cat6a", "cat6a/", "cat6a/solid/f-utp", "cat6a/f-utp/f-utp"])
def test_cable_types_that_are_none(tmp_path: Path, given: str) -> None:
    from archive.errors import Trouble

    with pytest.raises(Trouble, match="no cable type"):
        batch_of(tmp_path, FOUR, LINK + f'cable_type = "{given}"\n' + pairs_toml(4))


def test_recognition_tells_damaged_from_not_ours(tmp_path: Path) -> None:
    def of(name: str, content: str) -> float | None:
        (tmp_path / name).write_text(content)
        found = recognise(Entry(tmp_path / name, name))
        return found.score if found else None

    good = text(FOUR, F_MHZ)
    assert (of("a.s16p", good) or 0) > 0.9
    assert 0 < (of("b.s16p", "nothing of the kind") or 0) < 0.7
    assert (of("c.txt", text(FOUR, F_MHZ, version="2.0")) or 0) > 0.9
    assert 0.6 < (of("d.txt", good) or 0) < 0.95
    assert of("e.ts", "export const x: number = 1;") is None
    assert of("f.csv", "# S, dB\n1,2\n") is None


def test_the_fixtures_are_what_their_writer_writes(tmp_path: Path) -> None:
    from tests.formats.touchstone_files import write_fixtures

    write_fixtures(tmp_path)
    for path in sorted(tmp_path.iterdir()):
        if path.suffix == ".toml":
            assert path.read_text() == (FIXTURES / path.name).read_text(), path.name
            continue
        ours, theirs = (p.read_text().split() for p in (path, FIXTURES / path.name))
        assert len(ours) == len(theirs), path.name
        for a, b in zip(ours, theirs, strict=True):
            try:
                assert float(a) == pytest.approx(float(b), rel=1e-6, abs=1e-8)
            except ValueError:
                assert a == b
