"""Counting by parts of the cable, what is not known of it, and that a maker's words reach no statistic."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from archive.answers.rates.distributions import CurveChoice, distribution
from archive.answers.rates.fields import FIELDS
from archive.answers.rates.pareto import failed
from archive.answers.rates.rates import rates
from archive.answers.rates.source import Choice
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from archive.store.events import Settlement, settle_cables
from tests.rates.test_counting import graded
from tests.rates.test_rates import reported, run
from tests.store import store_making as making

WORDS = "Halyard 1200-X blue"

CABLES = {
    "A": ("cat6a/f-utp/awg23/solid", 5),
    "B": ("cat6a/screened/awg26/stranded", 3),
    "C": ("unknown/u-utp", 2),
    "D": ("class-contradicted/u-utp", 1),
    "E": ("unknown", 4),
}


@pytest.fixture
def cabled(archive: Archive) -> Archive:
    """Links of the types above; those of E have a maker's words."""
    listed = []
    for letter, (kind, n) in CABLES.items():
        for i in range(n):
            found = WORDS if letter == "E" else None
            place, source = f"row {i}", letter.lower() * 64
            listed.append(
                reported(f"{letter}{i}", "pass", cable_type=kind, cable_found=found, source=source, place=place)
            )
    making.deposit(archive, graded(*listed))
    return archive


def links(archive: Archive, by: list[str], **choice: Any) -> dict[tuple[Any, ...], int]:
    found = rates(archive, by, Choice(**choice))
    names = [f.name for f in found.fields]
    return {tuple(r[n] for n in names): r["links"] for r in found.rows}


def test_any_parts_of_the_type(cabled: Archive) -> None:
    assert links(cabled, ["class", "construction"]) == {
        ("cat6a", "f-utp"): 5,
        ("cat6a", "open"): 3,
        ("unknown", "u-utp"): 2,
        ("contradicted", "u-utp"): 1,
        ("unknown", "unknown"): 4,
    }
    assert links(cabled, ["screened"]) == {("screened",): 8, ("unscreened",): 3, ("unknown",): 4}
    assert links(cabled, ["gauge"]) == {("awg23",): 5, ("awg26",): 3, ("unknown",): 7}
    assert links(cabled, ["conductor"]) == {("solid",): 5, ("stranded",): 3, ("unknown",): 7}
    assert links(cabled, ["screened"], only=[("conductor", "stranded")]) == {("screened",): 3}


def test_unknown_and_open_shares_stand_with_the_rates(cabled: Archive) -> None:
    notes = rates(cabled, ["class", "construction"]).notes
    assert (
        "category of the cable: not known for 40.0 % of 15 links, open for 6.7 %; these are in no other group" in notes
    )
    assert any(
        n.startswith("construction of the cable: not known for 26.7 % of 15 links, open for 20.0 %") for n in notes
    )
    chosen = rates(cabled, ["year"], Choice(Filters(cable_type="cat6a/f-utp"))).notes
    assert any(n.startswith("category of the cable: not known for 40.0 % of 15 links") for n in chosen)
    assert not any("of the cable:" in n for n in rates(cabled, ["year"]).notes)


def test_nothing_is_said_where_no_share_is_missing(archive: Archive) -> None:
    making.deposit(archive, graded(making.rows("S", cable_type="cat6a/f-utp/awg23/solid")))
    found = rates(archive, ["class", "construction"])
    assert [r["links"] for r in found.rows] == [1] and not any("of the cable" in n for n in found.notes)


def test_shares_stand_with_what_failed_and_with_curves(cabled: Archive) -> None:
    """6 of the 15 links above say no category, 1 contradicts itself; one more with curves is known: of 16."""
    making.deposit(cabled, graded(making.rows("S", cable_type="cat6a/f-utp/awg23/solid", source="f" * 64)))
    decided = sum(r["links"] for r in rates(cabled).rows)
    assert decided in (15, 16)
    said = f"category of the cable: not known for {100 * 6 / decided:.1f} % of {decided} links, open for"
    six_a = Choice(Filters(cable_type="cat6a"))
    for asked in (
        failed(cabled, by=["class", "parameter"]),
        failed(cabled, six_a),
        failed(cabled, Choice(only=[("class", "cat6a")])),
        distribution(cabled, CurveChoice("next"), by=["class"]),
        distribution(cabled, CurveChoice("next"), six_a),
    ):
        assert [n for n in asked.notes if n.startswith(said)], asked.notes
    for plain in (failed(cabled), distribution(cabled, CurveChoice("next"), by=["year"])):
        assert not [n for n in plain.notes if "of the cable" in n]


def test_the_basis_can_be_asked_and_follows_a_settlement(cabled: Archive) -> None:
    assert links(cabled, ["basis"]) == {("record",): 11, ("rule",): 4}
    settle_cables(cabled, [Settlement(WORDS, "cat6a/f-utp")], by="R. Ostrander", reason=None)
    assert links(cabled, ["cable_basis"], only=[("class", "cat6a")])[("settled",)] == 4
    assert links(cabled, ["class", "construction"])[("cat6a", "f-utp")] == 9


def _output(*words: str | Path) -> str:
    result = run(*words)
    assert result.exit_code == 0, result.output
    return result.output


def test_makers_words_reach_no_statistic_plot_or_export(cabled: Archive, tmp_path: Path) -> None:
    """Every grouping, the views of `sql`, the tables and pictures of rates; the words stand in `cables` alone."""
    outputs = []
    for name in FIELDS:
        found = rates(cabled, [name])
        outputs.append(json.dumps([found.rows, found.notes, found.differences], default=str))
    outputs += [_output("sql", cabled.root, f"SELECT * FROM {view}", "--as", "csv") for view in ("records", "links")]
    outputs.append(_output("rates", cabled.root, "--by", "cable_type", "--plot", tmp_path / "plot.svg"))
    outputs.append((tmp_path / "plot.svg").read_text("utf-8"))
    outputs += [p.name for p in tmp_path.rglob("*")]
    assert len(outputs) > 25
    assert [o[:80] for o in outputs if "halyard" in o.casefold() or "1200-x" in o.casefold()] == []
    assert WORDS in run("cables", cabled.root).output
