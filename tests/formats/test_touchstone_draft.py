"""Drafted port maps can be used as they come, and say no more than the file does."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from archive.formats.recognition import Entry
from archive.formats.touchstone import describe, read
from archive.formats.touchstone.comment_facts import measured_on, serial_of
from archive.formats.touchstone.draft_map import draft_pairs
from archive.formats.touchstone.mixed_mode import to_modes
from archive.formats.touchstone.network import Mode
from archive.formats.touchstone.parse import parse
from tests.formats.touchstone_files import invented, line, text

F_MHZ = np.arange(5.0, 101.0, 5.0)
COMMENTS = "! Petrel Metrology,P-16A,16-00042,A.09.42\n! Date: Wed Jun 05 16:55:11 2019\n"


def drafted(tmp_path: Path, name: str, content: str) -> tuple[str, dict[str, Any]]:
    """The draft, and the rows of the record that it makes as it comes."""
    entry = Entry(tmp_path / name, name)
    entry.path.write_text(content)
    draft = describe(entry).draft
    entry.path.with_suffix(".toml").write_text(draft)
    (batch,) = read(Entry(tmp_path / name, name))
    tables = ("records", "sweeps", "set_aside", "findings", "instruments")
    return draft, {t: batch[t].to_pylist() for t in tables}


def mixed(modes: list[Mode]) -> str:
    s = to_modes(invented(sum(m.kind == "D" for m in modes) // 2, F_MHZ), modes)
    words = " ".join(m.kind + ",".join(map(str, m.ports)) for m in modes)
    return text(s, F_MHZ, version="2.0", modes=words)


def test_one_port_is_a_pair_at_one_end(tmp_path: Path) -> None:
    s = line(F_MHZ, 20.0, 101.0, 50.0)[:, :1, :1]
    draft, rows = drafted(tmp_path, "link-7.s1p", COMMENTS + text(s, F_MHZ))
    assert "reference_ohm = 50.0" in draft
    assert [(r["parameter"], r["end"]) for r in rows["sweeps"]] == [("return_loss", "local")]
    assert not rows["set_aside"]
    (record,) = rows["records"]
    assert (record["link_label"], record["tested_local"]) == ("link-7", "2019-06-05T16:55:11")
    assert rows["instruments"][0]["serial"] == "16-00042"


@pytest.mark.parametrize(("ohm", "said"), [(50.0, True), (100.0, False)])
def test_two_ports_refer_to_what_the_file_states(tmp_path: Path, ohm: float, said: bool) -> None:
    content = text(line(F_MHZ, 20.0, 101.0, ohm), F_MHZ, reference=(ohm,))
    draft, rows = drafted(tmp_path, "a.s2p", content)
    assert ("\nreference_ohm" in draft) == said
    assert ("reference-impedance-changed" in {f["rule"] for f in rows["findings"]}) == said
    (loss,) = [r["values"] for r in rows["sweeps"] if r["parameter"] == "insertion_loss"]
    expected = -20 * np.log10(np.abs(line(F_MHZ, 20.0, 101.0, 100.0)[:, 1, 0]))
    np.testing.assert_allclose(loss, expected, rtol=1e-9)


def test_a_comment_against_the_option_line_stays_a_question(tmp_path: Path) -> None:
    content = "! Port Impedance 48.2 3.1 48.2 3.1\n" + text(line(F_MHZ, 20.0, 101.0, 50.0), F_MHZ)
    draft, rows = drafted(tmp_path, "a.s2p", content)
    assert "\n# reference_ohm" in draft
    assert len(rows["set_aside"]) == 1


def test_a_file_in_mixed_mode_names_the_ports_of_its_pair_itself(tmp_path: Path) -> None:
    modes = [Mode(kind, ports) for kind in "DC" for ports in ((1, 2), (3, 4))]
    draft, rows = drafted(tmp_path, "a.s4p", mixed(modes))
    assert draft.count("\n[pairs.") == 1
    assert "local = [1, 2]\nremote = [3, 4]" in draft
    assert {r["pairing"] for r in rows["sweeps"]} == {"1-2"}
    assert not {f["rule"] for f in rows["findings"] if f["severity"] == "error"}


def test_two_pairs_in_mixed_mode_whatever_their_order() -> None:
    modes = [Mode(kind, ports) for kind in "DC" for ports in ((7, 8), (1, 2), (5, 6), (3, 4))]
    found = draft_pairs(parse(mixed(modes).encode(), "a.s8p"))
    assert found == [((1, 2), (5, 6)), ((3, 4), (7, 8))]


def test_a_difference_mode_without_a_partner_is_an_end_alone() -> None:
    s = to_modes(invented(1, F_MHZ)[:, :3, :3], [Mode("D", (1, 2)), Mode("C", (1, 2)), Mode("S", (3,))])
    found = parse(text(s, F_MHZ, version="2.0", modes="D1,2 C1,2 S3").encode(), "a.s3p")
    assert draft_pairs(found) == [((1, 2), ())]


@pytest.mark.parametrize(
    ("comments", "expected"),
    [
        (["Date: 2019-06-05 16:55:11"], "2019-06-05T16:55:11"),
        (["Measured on 5 June 2019"], "2019-06-05"),
        (["Date/Time: 2019-06-05 16:55"], "2019-06-05T16:55"),
        (["Date: 2019-06-05T16:55:11-02:30"], "2019-06-05T16:55:11-02:30"),
        (["Date:2019-06-05"], "2019-06-05"),
        (["Link 7, 2019-06-05" + " " * 200], ""),
        (["Date: 25.06.2019"], "2019-06-25"),
        (["Wed Jun 05 16:55:11 2019", "row 1"], "2019-06-05T16:55:11"),
        (["Date: 05.06.2019"], ""),
        (["Date: 2019-06-05", "2019-07-01"], ""),
        (["Calibration date: 2019-06-05"], ""),
        (["firmware of 2019-06-05"], ""),
        (["10 20 30", "2010 11 12", "10-11-12", "20 °C"], ""),
    ],
)
def test_a_date_is_taken_where_it_can_be_read_in_one_way(comments: list[str], expected: str) -> None:
    assert measured_on(comments)[0] == expected


@pytest.mark.parametrize(
    ("comments", "expected"),
    [
        (["S/N: AB123"], "AB123"),
        (["Serial Number = 5"], "5"),
        (["Petrel Metrology,P-16A,16-00042,A.09.42"], "16-00042"),
        (["Serial No. 5", "Serial No. 6"], ""),
        (["Serial: none"], ""),
        (["Calibration kit serial no. 5"], ""),
        (["Cable drum S/N 5"], ""),
        (["1, 2, 3, 4"], ""),
    ],
)
def test_a_serial_number_is_taken_where_one_is_named(comments: list[str], expected: str) -> None:
    assert serial_of(comments) == expected
