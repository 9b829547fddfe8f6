"""Points that are for information only: the limit is dashed there, nothing is hatched, and the caption counts them."""

import re

import numpy as np
import pytest

from archive.answers.claim.curve_figures import figures, line_of
from archive.answers.claim.left_out import stretch
from archive.answers.plots import LINEAR, LeftOut, Panel, PlotCurve, PlotLayout, plot
from archive.answers.wording import ENGLISH
from archive.demo.simulator import simulate
from archive.grading import grade

F = np.linspace(0, 100, 201)
WIDE = PlotLayout(width=1000, scale=LINEAR)


def panel(left_out):
    curves = (PlotCurve("1-2", F, np.where(F < 10, 7.0, 30.0)), PlotCurve("3-6", F, np.full(len(F), 25.0)))
    return Panel("local end", curves, PlotCurve("limit", F, np.full(len(F), 20.0)), "min", left_out=left_out)


def paths(svg, what):
    """Where the first run of each path of a kind begins and ends, in dots."""
    found = []
    for path in re.findall(rf'<path d="([^"]*)" {what}', svg):
        run = re.match(r"M(-?[\d.]+)[^l]*l([^LZM]*)", path)
        if run is not None:  # what is left is a sample of the legend
            numbers = [float(n) for n in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", run[2])]
            found.append((float(run[1]), float(run[1]) + sum(numbers[::2])))
    return found


def drawn(left_out):
    svg = plot([panel(left_out)], title="", x_label="", y_label="", layout=WIDE)
    plain = plot([panel(None)], title="", x_label="", y_label="", layout=WIDE)
    ((left, right),) = paths(plain, 'fill="url\\(#fail\\)"')
    heavy = 'fill="none" stroke="#1a1a1a" stroke-width="2.0" stroke-linejoin="round"'

    def values(what):
        return [tuple(100 * (x - left) / (right - left) for x in ends) for ends in paths(svg, what)]

    hatched, solid = values('fill="url\\(#fail\\)"'), values(heavy + "/")
    return hatched, solid[:1], values(heavy + ' stroke-dasharray="5 3"/')[:1], svg


def test_nothing_is_hatched_where_no_curve_is_judged_and_the_limit_is_dashed():
    hatched, solid, dashed, svg = drawn(LeftOut((0.0, 12.0), (0.0, 10.0)))
    assert hatched == [pytest.approx((10.5, 100), abs=0.1)]
    assert dashed == [pytest.approx((0, 12.5), abs=0.1)], "up to where the line goes on"
    assert solid == [pytest.approx((12.5, 100), abs=0.1)]
    assert ">limit, for information<" in svg


def test_a_stretch_in_the_middle_parts_the_hatch():
    hatched, _, dashed, _ = drawn(LeftOut((40.0, 60.0), (45.0, 55.0)))
    assert hatched == [pytest.approx((0, 44.5), abs=0.1), pytest.approx((55.5, 100), abs=0.1)]
    assert dashed == [pytest.approx((40, 60.5), abs=0.1)]


def test_where_a_curve_is_judged_its_failing_side_stays_hatched():
    hatched, _, dashed, _ = drawn(LeftOut((0.0, 12.0)))
    assert hatched == [pytest.approx((0, 100), abs=0.1)] and len(dashed) == 1


def row(pairing, points, low, high, **more):
    return {
        "parameter": "return_loss", "end": "local", "pairing": pairing, "kind": "worst_margin",
        "left_out_points": points, "left_out_from_mhz": low, "left_out_to_mhz": high, **more,
    }  # fmt: skip


CURVES = panel(None).curves


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ([row("1-2", 21, 0.0, 10.0), row("3-6", 25, 0.0, 12.0)], LeftOut((0.0, 12.0), (0.0, 10.0))),
        ([row("1-2", 21, 0.0, 10.0)], LeftOut((0.0, 10.0))),
        ([row("1-2", 20, 0.0, 10.0), row("3-6", 25, 0.0, 12.0)], LeftOut((0.0, 12.0))),
        ([row("1-2", 21, 0.0, 10.0), row("3-6", 21, 20.0, 30.0)], LeftOut((0.0, 30.0))),
        ([row("1-2", None, None, None), row("3-6", None, None, None)], None),
        ([row("1-2", 21, 0.0, 10.0, end="remote"), row("1-2", 21, 0.0, 10.0, kind="overall")], None),
    ],
    ids=["both", "one is judged", "one is judged between", "nowhere together", "none", "of another end"],
)
def test_every_curve_must_be_left_out_at_every_point(rows, expected):
    assert stretch("return_loss", "local", CURVES, rows) == expected


def test_the_caption_counts_the_points_and_names_the_rule_with_its_letter():
    graded = grade(next(simulate(1, 3)))
    (verdict,) = graded["verdicts"].to_pylist()
    grades = graded["grades"].to_pylist()
    line = line_of(verdict["limit_id"])
    (loss,) = figures(graded, grades, line, ENGLISH, only=("return_loss",))
    said = re.fullmatch(r"return loss: (\d+) points from (\S+) to (\S+) MHz, (.*\([ABC]\))", verdict["left_out"])
    assert said is not None
    count, low, high, rule = said.groups()
    assert f"Left out, for information only: {count} points from {low} to {high} MHz, {rule}." in loss.caption
    assert ">limit, for information<" in loss.svg
    (crosstalk,) = figures(graded, grades, line, ENGLISH, only=("next",))
    assert "Left out" not in crosstalk.caption and "for information" not in crosstalk.svg
