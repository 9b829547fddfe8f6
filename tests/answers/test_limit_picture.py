"""Pictures of limits, read back: every line with its values, memory thin, told apart without colour."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from archive import limits
from archive.answers import limit_picture
from tests.answers.reading_pictures import Field, fields

CHANNEL = "tia-568.2-d/cat6a/channel"


def test_the_same_limit_gives_the_same_picture(tmp_path: Path) -> None:
    for name in ("a.svg", "a.png", "a.pdf", "b.svg", "b.png", "b.pdf"):
        limit_picture.save(limits.get(CHANNEL), tmp_path / name)
    for form in ("svg", "png", "pdf"):
        assert (tmp_path / f"a.{form}").read_bytes() == (tmp_path / f"b.{form}").read_bytes()


@pytest.mark.parametrize("limit_id", [CHANNEL, "tsb-67/cat5/basic-link", "iso-11801-1/class-ea/channel"])
def test_a_picture_shows_every_line_and_only_its_values(limit_id: str) -> None:
    limit = limits.get(limit_id)
    panels = _panels(limit_id)
    titles = {p: title for title, names in limit_picture.PANELS for p in names}
    checked = 0
    for parameter, line in limit.lines.items():
        curves = [d for d in panels[titles[parameter]].lines if d.pen[2] in (limit_picture.FIRM, limit_picture.MEMORY)]
        step = (max(float(d.y.max()) for d in curves) - min(float(d.y.min()) for d in curves)) / 1000
        near = [d for d in curves if np.allclose(d.y, line.at(d.x.clip(*line.range_mhz)), atol=3 * step, rtol=0)]
        low, high = min(d.x.min() for d in near), max(d.x.max() for d in near)
        assert (low, high) == pytest.approx(line.range_mhz, rel=0.01), parameter
        checked += len(near)
    drawn = sum(d.pen[2] in (limit_picture.FIRM, limit_picture.MEMORY) for p in panels.values() for d in p.lines)
    assert checked >= drawn > 0, "nothing is drawn that is no line of the limit"


@pytest.mark.parametrize("limit_id", ["iso-11801-1/class-b/channel", "ieee-802.3/10base-t"])
def test_every_limit_with_a_line_can_be_drawn(limit_id: str) -> None:
    assert _panels(limit_id)


def test_memory_is_drawn_thin_and_styles_differ_within_a_panel() -> None:
    panels = _panels("iso-11801-1/class-ea/channel")
    widths = [d.pen[2] for d in panels["Return loss"].lines if d.pen[2] > 1]
    assert widths == [limit_picture.FIRM, limit_picture.MEMORY]
    alien = {d.pen[:2] for d in panels["Alien crosstalk"].lines if d.pen[2] > 1}
    assert len(alien) == len({colour for colour, _ in alien}) == len({dash for _, dash in alien}) == 4


def _panels(limit_id: str) -> dict[str, Field]:
    drawn = fields(limit_picture.draw(limits.get(limit_id)).svg(), log=True)
    titles = [title for title, _ in limit_picture.PANELS]
    return {re.sub(r" \(.*\)$", "", t): f for f in drawn for t in f.texts if re.sub(r" \(.*\)$", "", t) in titles}
