"""Pictures: drawn, whole, small, the same every time; told apart without colour."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from archive import store
from archive.answers.plots.axes import MARKERS
from archive.answers.plots.pen import STYLES
from archive.answers.rates import pictures
from archive.answers.rates.distributions import CurveChoice, distribution
from archive.answers.rates.pareto import failed
from archive.answers.rates.rates import Asked, rates
from archive.answers.rates.source import Choice
from archive.errors import Trouble
from archive.store import Archive
from archive.store.catalogue.filters import Filters
from tests.answers.reading_pictures import fields
from tests.rates.test_rates import of_verdicts, run


@pytest.mark.parametrize("which", ["groups", "time", "failed", "curves", "values"])
def test_pictures_are_whole_small_and_the_same_every_time(of_years: Path, tmp_path: Path, which: str) -> None:
    opened = store.open(of_years)
    what = {
        "groups": lambda: rates(opened, ["cable_type"]),
        "time": lambda: rates(opened, ["year", "cable_type"]),
        "failed": lambda: failed(opened, by=["parameter", "end"]),
        "curves": lambda: distribution(opened, CurveChoice("next", of="worst"), by=["quarter"]),
        "values": lambda: distribution(
            opened, CurveChoice("next"), Choice(Filters(job="SIM-3-0042")), against="tsb-67/cat5/channel"
        ),
    }[which]()
    once, again, pixels = tmp_path / "a.svg", tmp_path / "b.svg", tmp_path / "c.png"
    for out in (once, again, pixels):
        pictures.save(what, out, "Invented")
    assert once.read_bytes() == again.read_bytes()
    assert 2_000 < once.stat().st_size < 60_000
    assert ElementTree.parse(once).getroot().tag == "{http://www.w3.org/2000/svg}svg"
    assert pixels.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert not list(tmp_path.glob(".*"))


def test_series_differ_without_colour() -> None:
    """Each line has a dash or a marker of its own: a reader who sees no colour at all can tell them apart."""
    used = STYLES[: pictures.MOST_LINES]
    assert len({dash for _, dash in used}) == len(used)
    assert len(set(MARKERS)) == len(MARKERS) >= pictures.MOST_LINES


def test_many_groups_are_cut_and_say_so(of_years: Path) -> None:
    found = rates(store.open(of_years), ["job"], asked=Asked("none"))
    (panel,) = fields(pictures.of_rates(found).svg())
    assert f"the {pictures.MOST_ROWS} largest of {len(found.rows)} groups" in panel.texts
    assert len(panel.down) == pictures.MOST_ROWS


def test_a_time_that_nobody_knows_is_drawn_by_group(archive: Archive) -> None:
    of_verdicts(archive, 30, 2, tested_local=None, tested_found=None)
    (panel,) = fields(pictures.of_rates(rates(archive, ["year"])).svg())
    assert panel.down == ["unknown"]


def test_nothing_to_draw_is_told(archive: Archive, tmp_path: Path) -> None:
    for what in (rates(archive), failed(archive), distribution(archive, CurveChoice("next"))):
        with pytest.raises(Trouble, match="nothing to draw"):
            pictures.save(what, tmp_path / "none.svg")
    assert list(tmp_path.glob("*.svg")) == []


def test_the_command_draws(of_years: Path, tmp_path: Path) -> None:
    for words in (["--by", "year"], ["--what-failed"], ["--curves", "next"]):
        out = tmp_path / f"{words[0]}.png"
        result = run("rates", of_years, *words, "--plot", out)
        assert result.exit_code == 0 and out.stat().st_size > 10_000
        assert "is drawn" in result.stderr
