"""The command `muniment cables`: out, settled, and what other commands then say."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from archive import store
from archive.answers import cables
from archive.cli import cli
from archive.demo.simulator import simulate
from tests.cli.person import document, printed
from tests.store import store_making as making

WORDS = "Halyard 1200-X blue"


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An archive with a link of a maker's words, and one that says nothing."""
    for name in ("CACHE", "CONFIG"):
        monkeypatch.setenv(f"MUNIMENT_{name}", str(tmp_path / name.lower()))
    archive = store.create(tmp_path / "archive")
    made = making.rows("A1", cable_found=WORDS, cable_type="unknown", source="a" * 64)
    making.deposit(archive, making.batch(made))
    making.deposit(archive, making.batch(making.rows("A2", cable_type=None, source="b" * 64, shift=1.0)))
    return archive.root


def test_settled_words_are_found_at_once(place: Path, tmp_path: Path) -> None:
    table = tmp_path / "cables.csv"
    listed = document("cables", place, "--out", table, code=1)
    assert [(r["words"], r["links"], r["type"]) for r in listed["cables"]] == [
        ("", 1, "unknown"),
        (WORDS, 1, "unknown"),
    ]
    rows = list(csv.DictReader(table.read_text("utf-8").splitlines()))
    rows[1]["settle"] = "cat6a/f-utp/awg23/solid"
    with table.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    made = document("cables", place, "--settle", table, "--by", "R. Ostrander", "--reason", "read off the drum", code=1)
    assert made["settled"] == 1 and isinstance(made["ledger_entry"], int)
    printed("job", place, "HARBOUR-2019-04", "--set", "cable=Cat 6 U/UTP", "--by", "R. Ostrander")
    assert {r["basis"]: r["type"] for r in document("cables", place)["cables"]} == {
        "settled": "cat6a/f-utp/awg23/solid",
        "job": "cat6/u-utp",
    }
    assert [r["link"] for r in document("find", place, "--cable-type", "cat6a")["records"]] == ["A1"]
    assert [r["link"] for r in document("find", place, "--cable-type", "cat6/u-utp")["records"]] == ["A2"]
    assert "settled by R. Ostrander" in printed("cables", place)
    assert "settled as cat6a/f-utp/awg23/solid" in printed("history", place, "A1")


def test_words_that_todays_rules_read_otherwise_are_shown_until_they_are_settled(tmp_path: Path, place: Path) -> None:
    """Three records archived as Cat 6 whose words plainly say Cat 6A (as by earlier rules), one read alike."""
    archive = store.open(place)
    words = "Cat 6A F/UTP 23 AWG solid"
    for i in range(4):
        kind = "cat6a/f-utp/awg23/solid" if i == 3 else "cat6/f-utp"
        made = making.rows(f"B{i}", cable_found=words, cable_type=kind, source=f"{i}" * 64, shift=2.0 + i)
        making.deposit(archive, making.batch(made))
    shown = printed("cables", place, code=1)
    assert shown.count("this version's rules read cat6a/f-utp/awg23/solid") == 1
    assert "read another type than was archived: 1 of 4 rows, links: 3; the archived type counts" in shown
    assert document("cables", place, code=1)["read_otherwise"] == 1
    table = tmp_path / "settle.csv"
    table.write_text(f"words,settle\n{words},cat6a/f-utp/awg23/solid\n", "utf-8")
    printed("cables", place, "--settle", table, "--by", "R. Ostrander", code=1)
    assert "this version's rules read" not in printed("cables", place, code=1)
    assert document("cables", place, code=1)["read_otherwise"] == 0


def test_a_part_that_was_stated_beside_the_words_is_not_read_otherwise(place: Path) -> None:
    archive = store.open(place)
    for i, (words, kind) in enumerate((("Cat 6A F/UTP", "cat6a/f-utp/solid"), ("Cat 6 STP", "cat6/u-ftp"))):
        made = making.rows(f"B{i}", cable_found=words, cable_type=kind, source=f"{i}" * 64, shift=2.0 + i)
        making.deposit(archive, making.batch(made))
    rows = {r["words"]: r for r in document("cables", place, code=1)["cables"]}
    assert not cables.read_otherwise(rows["Cat 6A F/UTP"])
    assert cables.read_otherwise(rows["Cat 6 STP"])  # STP leaves open which screens there are


def test_a_check_goes_by_the_type_that_was_settled_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Links of wire of AWG 26 under words that say 23: a warning each, until their words are settled as 26."""
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    archive = store.create(tmp_path / "archive")
    (batch,) = simulate(3, 4, cable_is="thin", cable_is_share=1.0)
    making.deposit(archive, batch)
    rule = "gauge-not-as-stated"

    def checked() -> tuple[int, str]:
        result = CliRunner().invoke(cli, ["check", str(archive.root), "--no-copies"])
        assert result.exit_code in (0, 1), result.output
        count = re.search(rf"{rule} \((\d+) findings\)", result.output)
        return int(count[1]) if count else 0, " ".join(result.output.split())

    number, said = checked()
    assert number == 3 and rule in said and "in place of the archived ones" not in said
    (words,) = set(batch["records"].column("cable_found").to_pylist())
    (kind,) = set(batch["records"].column("cable_type").to_pylist())
    table = tmp_path / "settle.csv"
    table.write_text(f"words,settle\n{words},{kind.replace('awg23', 'awg26')}\n", "utf-8")
    printed("cables", archive.root, "--settle", table, "--by", "R. Ostrander")
    number, said = checked()
    assert number == 0 and f"warning: {rule}" not in said
    assert "cable types settled or stated for the job count in place of the archived ones: 3 of 3 records" in said
