"""Labels as people remember them: former ones, what is left of a sticker, and what was matched."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from store_making import batch, deposit, rows

from archive import store
from archive.answers.link import open_link
from archive.cli import cli
from archive.errors import Trouble
from archive.store.catalogue.label_search import labels, matches
from archive.store.events.amend import Correction, amend
from archive.store.records import COUNTED

LABELS = ("2-TR2-A117", "2-TR2-004", "2-TR2-040", "2-TR2-041", "2-TR24-1", "9-TR2-A1170", "3.TR1.017")
NEW = "Lantern 9"


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """One test of each label; the first was amended to NEW."""
    place = tmp_path_factory.mktemp("labels")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MUNIMENT_CACHE", str(place / "cache"))
        made = store.create(place / "archive")
        deposit(
            made, batch(*(rows(label, shift=0.1 * n, place=f"row {n}") for n, label in enumerate(LABELS))), site="Quay"
        )
        made.catch_up()
        (first,) = made.db.execute("SELECT record_id FROM records WHERE link_label = ?", LABELS[:1]).fetchone()
        amend(made, [Correction(first, "link_label", NEW)], by="R. Ostrander", reason="renamed")
        made.catch_up()
        yield made


def found(archive: store.Archive, typed: str, *more: str) -> list[tuple[str, str, str]]:
    """Label, how it was found, and the word that fits, of every record that the command prints."""
    result = CliRunner().invoke(cli, ["find", str(archive.root), "--link", typed, "--json", *more])
    assert result.exit_code in (0, 1), result.output
    listed = json.loads(result.stdout)["records"]
    return [(r["link"], r["matched"]["how"], r["matched"]["label"]) for r in listed]


def test_a_former_label_finds_the_link_and_is_said(archive: store.Archive) -> None:
    assert found(archive, "2-TR2-A117") == [(NEW, "exact", "2-TR2-A117")]
    printed = CliRunner().invoke(cli, ["find", str(archive.root), "--link", "2-TR2-A117"]).stdout
    assert printed.startswith(NEW) and printed.rstrip().endswith("(former label 2-TR2-A117)")


@pytest.mark.parametrize("typed", ["A117", "a117", "tr2/a117", "R2 A117", "2tr2a117", "2.TR2.a-117", "117"])
def test_a_former_label_without_its_prefix_finds_the_link(archive: store.Archive, typed: str) -> None:
    assert (NEW, "2-TR2-A117") in [(label, word) for label, _, word in found(archive, typed)]


def test_what_is_left_of_a_label_finds_all_that_hold_it(archive: store.Archive) -> None:
    assert found(archive, "2-TR2-04") == [
        ("2-TR2-004", "alike", "2-TR2-004"),
        ("2-TR2-041", "begins", "2-TR2-041"),
        ("2-TR2-040", "begins", "2-TR2-040"),
    ]


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("tr2-04", {"2-TR2-004", "2-TR2-040", "2-TR2-041"}),
        ("R2_041", {"2-TR2-041"}),
        ("-041", {"2-TR2-041"}),
        ("TR1/17", {"3.TR1.017"}),
        ("r1 0", {"3.TR1.017"}),
        ("TR2-A117", {NEW, "9-TR2-A1170"}),
        ("TR2-A1170", {"9-TR2-A1170"}),
        ("tr24", {"2-TR24-1", "2-TR2-040", "2-TR2-041", "2-TR2-004"}),
        ("TR3", set()),
        ("4", set()),
    ],
)
def test_middle_and_end_of_a_label(archive: store.Archive, typed: str, wanted: set[str]) -> None:
    assert {label for label, _, _ in found(archive, typed)} - wanted == set()
    assert wanted - {label for label, _, _ in found(archive, typed)} == set()


def test_separators_that_were_typed_keep_runs_apart(archive: store.Archive) -> None:
    assert "2-TR24-1" not in {label for label, _, _ in found(archive, "2-TR2-4")}


def test_a_label_to_the_letter_is_found_alone(archive: store.Archive) -> None:
    assert found(archive, "2-TR2-004") == [("2-TR2-004", "exact", "2-TR2-004")]
    assert found(archive, NEW) == [(NEW, "exact", NEW)]


def test_part_of_a_label_is_said_to_be_part(archive: store.Archive) -> None:
    printed = CliRunner().invoke(cli, ["find", str(archive.root), "--link", "TR2-041"]).stdout
    assert printed.rstrip().endswith("(part of the label)")
    assert [str(m) for m in matches(archive.db, "TR2-A117")] == [
        "part of the label",
        "part of the former label 2-TR2-A117",
    ]


def test_one_link_is_opened_where_one_is_meant_alone(archive: store.Archive) -> None:
    assert open_link(archive, "2-TR2-A117").label == NEW
    assert labels(archive.db, "tr2 a117") == ["9-TR2-A1170", NEW]
    with pytest.raises(Trouble) as told:
        open_link(archive, "tr2 a117")
    assert told.value.code == "link.ambiguous"


def test_a_former_label_at_one_site_claims_nothing_of_another(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MUNIMENT_CACHE", str(tmp_path / "cache"))
    made = store.create(tmp_path / "archive")
    deposit(made, batch(rows("A")), job="J1", site="Quay")
    deposit(made, batch(rows("B", shift=0.4, place="row 3")), job="J2", site="Mole")
    made.catch_up()
    (first,) = made.db.execute(f"SELECT record_id FROM records WHERE link_label = 'A' AND {COUNTED}").fetchone()
    amend(made, [Correction(first, "link_label", "B")], by="R. Ostrander", reason="renamed")
    result = CliRunner().invoke(cli, ["find", str(made.root), "--link", "A", "--json"])
    assert [(r["link"], r["site"]) for r in json.loads(result.stdout)["records"]] == [("B", "Quay")]
    result = CliRunner().invoke(cli, ["find", str(made.root), "--link", "B", "--json"])
    assert len(json.loads(result.stdout)["records"]) == 2
