"""Pictures: drawn, whole, small, the same every time; told apart without colour."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from archive import store
from archive.answers.plots.axes import MARKERS
from archive.answers.plots.pen import PAIRS, curve_styles
from archive.answers.rates import pictures, rate_pictures
from archive.answers.rates.distributions import CurveChoice, Distribution, Spread, distribution
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
    assert 2_000 < once.stat().st_size < 100_000
    assert ElementTree.parse(once).getroot().tag == "{http://www.w3.org/2000/svg}svg"
    assert pixels.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert not list(tmp_path.glob(".*"))


def test_series_differ_without_colour() -> None:
    """Each line has a dash or a marker of its own: a reader who sees no colour at all can tell them apart."""
    used = curve_styles(rate_pictures.MOST_LINES)
    assert len({dash for _, dash in used}) == len(used)
    assert len(set(MARKERS)) == len(MARKERS) >= rate_pictures.MOST_LINES


def test_many_groups_are_a_funnel_of_all(of_years: Path) -> None:
    """48 jobs, the worst of which are named; that of 77.1 % is small and the third worst was once left out."""
    found = rates(store.open(of_years), ["job"], asked=Asked("none"))
    (panel,) = fields(rate_pictures.of_rates(found).svg())
    assert {"SIM-3-0036", "SIM-3-0025", "SIM-3-0047"} <= set(panel.texts)
    assert any(t.startswith("48 groups") for t in panel.texts)


def test_groups_stand_in_the_order_of_their_rates_with_what_they_are_of(of_years: Path) -> None:
    found = rates(store.open(of_years), ["cable_type"], Choice(Filters(since="2020-01-01")))
    sheet = rate_pictures.of_rates(found).svg()
    (panel,) = fields(sheet)
    first = {r["cable_type"]: r["first_time_rate"] for r in found.rows}
    assert [first[name] for name in panel.down] == sorted(first.values())
    assert "since 2020-01-01" in sheet and "2020-" in sheet and "certificates" in sheet


def test_a_small_group_does_not_stretch_the_axis(archive: Archive) -> None:
    of_verdicts(archive, 99, 1)
    of_verdicts(archive, 0, 2, prefix="B", source="b" * 64, cable_type="cat6/f-utp")
    (panel,) = fields(rate_pictures.of_rates(rates(archive, ["cable_type"])).svg())
    assert min(float(t.removesuffix(" %")) for t in panel.across if t.endswith("%") and t[0].isdigit()) > 50
    assert "< 0.0 % of 2" in panel.texts


def test_no_line_crosses_a_year_without_tests(archive: Archive) -> None:
    for year, prefix in ((2019, "A"), (2020, "B"), (2023, "C")):
        day = f"{year}-05-01T10:00"
        of_verdicts(archive, 30, 1, prefix=prefix, source=prefix.lower() * 64, tested_local=day, tested_found=day)
    (panel,) = fields(rate_pictures.of_rates(rates(archive, ["year"])).svg())
    assert panel.across == ["2019", "2020", "2021", "2022", "2023"]
    assert panel.texts.count("31") == 3
    drawn = [line for line in panel.lines if line.pen[0] == PAIRS[0][0] and np.ptp(line.x) > 0.1]
    assert [np.round(line.x).tolist() for line in drawn] == [[2019, 2020]]


def test_a_failure_at_one_frequency_is_drawn_and_marked() -> None:
    """Of 2,000 points three miss by 4 dB: the picture goes there, whatever is left out of the others."""
    f = np.geomspace(1, 500, 2000)
    margin = np.full(2000, 5.0)
    margin[1501:1504] = -4.0
    nothing = np.full(2000, np.nan)
    spread = Spread({}, "all", 20, f, np.full(2000, 20), *[nothing] * 4, nothing, *[margin] * 4, np.zeros(2000))
    sheet = pictures.of_distribution(Distribution("next", "dB", "a limit", "worst", [spread])).svg()
    panel = fields(sheet, log=True)[0]
    lowest = [line.y.min() for line in panel.lines if line.pen[0] == PAIRS[0][0] and len(line.x) > 10]
    assert len(lowest) == 4 and sorted(lowest)[2] < -3.9  # median, lower edge of the band, worst of any
    assert f"-4.00 dB at {f[1501]:g} MHz" in sheet


def test_a_time_that_nobody_knows_is_drawn_by_group(archive: Archive) -> None:
    of_verdicts(archive, 30, 2, tested_local=None, tested_found=None)
    (panel,) = fields(rate_pictures.of_rates(rates(archive, ["year"])).svg())
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
        assert "is drawn" in " ".join(result.stderr.split())
