"""Pictures of rates, of what failed and of margins: for a report, for readers who do not see red from green, in grey.

matplotlib without pyplot; imported only when a picture is asked for. Series differ by colour, by dash and by marker.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from archive import vocabulary
from archive.answers.plots.pen import STYLES
from archive.answers.rates.distributions import Distribution
from archive.answers.rates.fields import FIELDS, TIMES
from archive.answers.rates.pareto import Failed
from archive.answers.rates.rates import Rates
from archive.atomic import atomic_write
from archive.errors import Trouble

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMS = (".svg", ".png", ".pdf")
INK, SOFT, GRID = "#1a1a1a", "#5c5c5c", "#dcdcdc"
MARKERS = "osD^vPXhd"
MOST_ROWS, MOST_LINES, MOST_BARS = 40, 6, 20
TICKS = (1, 2, 4, 10, 20, 31.25, 62.5, 100, 250, 500, 1000, 2000)
_POINTS = 200


def save(what: Rates | Failed | Distribution, out: Path, title: str = "") -> None:
    """Draws into a file whose ending says what it is: .svg, .png or .pdf; written aside, then renamed.

    title: said above, such as the name of the archive. Errors: Trouble for another ending, or nothing to draw.
    """
    if out.suffix.lower() not in FORMS:
        raise Trouble(
            "a picture of this kind cannot be drawn",
            code="picture.unknown-form",
            where=str(out),
            expected=", ".join(FORMS),
        )
    import matplotlib

    form = out.suffix.lower()
    metadata: dict[str, Any] = {".png": {}, ".svg": {"Date": None}, ".pdf": {"CreationDate": None}}[form]
    settings: Any = {"svg.hashsalt": "muniment", "svg.fonttype": "path", "font.size": 9, "path.simplify_threshold": 0.3}
    with atomic_write(out) as temporary, matplotlib.rc_context(settings):
        if isinstance(what, Rates):
            figure = of_rates(what, title)
        elif isinstance(what, Failed):
            figure = of_failed(what, title)
        else:
            figure = of_distribution(what, title)
        figure.savefig(temporary, format=form[1:], dpi=160, metadata=metadata)


def of_rates(found: Rates, title: str = "") -> Figure:
    """Rates with their intervals: over time where a field is one of time, else one line per group."""
    if not any(r["links"] or r["first_links"] for r in found.rows):
        raise Trouble("there is nothing to draw: no link is graded", code="picture.nothing-to-draw")
    time = next((f.name for f in found.fields if f.name in TIMES), None)
    if time and all(r[time] is None for r in found.rows):
        time = None
    return _over_time(found, time, title) if time else _by_group(found, title)


def _by_group(found: Rates, title: str) -> Figure:
    rows = [r for r in found.rows if r["links"] or r["first_links"]]
    left_out = len(rows) - MOST_ROWS
    if left_out > 0:
        largest = sorted(rows, key=lambda r: -r["links"])[:MOST_ROWS]
        rows = [r for r in rows if any(r is x for x in largest)]
    height = 1.7 + 0.42 * len(rows)
    figure, axis = _sheet(8.2, height, title or "Pass rates", _of(found))
    edge = 1.0
    for i, row in enumerate(rows):
        for shift, kind, marker, filled in ((0.13, "", "o", True), (-0.13, "first_time_", "s", False)):
            rate, low, high = row[f"{kind}rate"], row[f"{kind}low"], row[f"{kind}high"]
            if rate is None:
                continue
            colour = STYLES[0 if filled else 1][0]
            edge = min(edge, low)
            axis.plot([low, high], [i - shift] * 2, color=colour, linewidth=1.5, solid_capstyle="butt")
            face = colour if filled else "white"
            axis.plot(rate, i - shift, marker, color=colour, markerfacecolor=face, markersize=5.5, markeredgewidth=1.3)
    bottom = max(0.0, edge - 0.06 * (1 - edge) - 0.002)
    axis.set_xlim(bottom, 1 + 0.012 * (1 - bottom))
    axis.set_ylim(len(rows) - 0.45, -0.6)
    axis.set_yticks(range(len(rows)), [found.name(r) for r in rows])
    for i, row in enumerate(rows):
        words = f"{row['links']:,} links" + (", small" if row["small"] else "")
        place = axis.get_yaxis_transform()
        axis.text(1.01, i, words, transform=place, fontsize=8, color=SOFT, va="center")
    _percent(axis.xaxis)
    axis.grid(True, axis="x", color=GRID, linewidth=0.6)
    axis.tick_params(axis="y", length=0)
    axis.set_axisbelow(True)
    blue, orange = STYLES[0][0], STYLES[1][0]
    axis.plot([], [], "o-", color=blue, markersize=5.5, label="final")
    axis.plot([], [], "s-", color=orange, markerfacecolor="white", markersize=5.5, label="at the first test")
    _legend(axis, 2)
    axis.set_xlabel("share of links that pass, with Wilson's 95 % interval")
    if left_out > 0:
        axis.set_title(f"the {MOST_ROWS} largest of {MOST_ROWS + left_out} groups", loc="right", fontsize=8, color=SOFT)
    return figure


def _over_time(found: Rates, time: str, title: str) -> Figure:
    others = [f for f in found.fields if f.name != time]
    times = _times(time, {r[time] for r in found.rows if r[time] is not None})
    lines: dict[tuple[Any, ...], dict[Any, dict[str, Any]]] = {}
    for row in found.rows:
        if row[time] is not None:
            lines.setdefault(tuple(row[f.name] for f in others), {})[row[time]] = row
    weight = {key: sum(r["links"] for r in line.values()) for key, line in lines.items()}
    kept = sorted(lines, key=lambda k: -weight[k])[:MOST_LINES]
    kept = [k for k in lines if k in kept]
    figure, axes = _sheet(8.2, 5.6, title or "Pass rates", _of(found), rows=2)
    for axis, kind, words in zip(axes, ("first_time_", ""), ("at the first test", "final"), strict=True):
        edge = 1.0
        for n, key in enumerate(kept):
            colour, dash = STYLES[n % len(STYLES)]
            line = [(times.index(t), r) for t, r in lines[key].items() if r[f"{kind}rate"] is not None]
            line.sort(key=lambda p: p[0])
            x = np.array([i for i, _ in line], float) + (n - (len(kept) - 1) / 2) * min(0.12, 0.6 / len(kept))
            y, low, high = (np.array([r[f"{kind}{w}"] for _, r in line]) for w in ("rate", "low", "high"))
            if not len(x):
                continue
            edge = min(edge, float(low.min()))
            name = ", ".join("unknown" if v is None else str(v) for v in key) or "all links"
            axis.vlines(x, low, high, color=colour, linewidth=1.1)
            dashes = {"dashes": [float(d) / 1.5 for d in dash.split()]} if dash else {}
            axis.plot(
                x,
                y,
                color=colour,
                marker=MARKERS[n],
                markersize=4.5,
                linewidth=1.2,
                markerfacecolor="white",
                label=name,
                **dashes,
            )
        axis.set_ylim(max(0.0, edge - 0.08 * (1 - edge) - 0.002), 1 + 0.03 * (1 - edge) + 0.001)
        _percent(axis.yaxis)
        axis.set_title(f"Share of links that pass, {words}", loc="left", fontsize=9.5, fontweight="bold")
        axis.grid(True, axis="y", color=GRID, linewidth=0.6)
        axis.set_axisbelow(True)
        axis.spines[["top", "right"]].set_visible(False)
        axis.set_xlim(-0.5, len(times) - 0.5)
        step = max(1, -(-len(times) // (14 if time == "year" else 8)))
        axis.set_xticks(range(0, len(times), step), [str(t) for t in times[::step]])
    if len(lines) > len(kept):
        axes[0].set_title(f"the {len(kept)} largest of {len(lines)} groups", loc="right", fontsize=8, color=SOFT)
    axes[1].set_xlabel("vertical lines: Wilson's 95 % interval")
    if others:
        _legend(axes[1], 2 if len(kept) > 1 else 1, below=0.3)
    return figure


def _times(time: str, there: set[Any]) -> list[Any]:
    """Every year, quarter or month from the first to the last."""
    field = FIELDS[time]
    numbers = [field.said(str(t)) for t in there]
    return [field.shown(n) for n in range(min(numbers), max(numbers) + 1)]


def of_failed(found: Failed, title: str = "") -> Figure:
    """What failed, the most links first: bars of links, the failures beside them in words."""
    if not found.rows:
        raise Trouble("there is nothing to draw: nothing failed, or nothing says what", code="picture.nothing-to-draw")
    rows = found.rows[:MOST_BARS]
    sub = f"{found.links:,} links with {found.failures:,} failures; one link may fail in several ways"
    figure, axis = _sheet(8.2, 1.5 + 0.34 * len(rows), title or "What failed", sub)
    most = max(r["links"] for r in rows)
    for i, row in enumerate(rows):
        axis.barh(i, row["links"], height=0.62, color="#8fbcd9", edgecolor=STYLES[0][0], linewidth=0.9)
        words = f"{_many(row['links'], 'link')}, {100 * row['share_of_links']:.0f} %; "
        words += _many(row["failures"], "failure")
        axis.text(row["links"] + 0.012 * most, i, words, va="center", fontsize=8, color=INK)
    axis.set_ylim(len(rows) - 0.4, -0.6)
    axis.set_xlim(0, most * 1.42)
    axis.set_yticks(range(len(rows)), [_failed_name(found, r) for r in rows])
    axis.tick_params(axis="y", length=0)
    axis.grid(True, axis="x", color=GRID, linewidth=0.6)
    axis.set_axisbelow(True)
    axis.set_xlabel("failing links")
    if len(found.rows) > len(rows):
        axis.set_title(f"the first {len(rows)} of {len(found.rows)}", loc="right", fontsize=8, color=SOFT)
    return figure


def _many(number: int, word: str) -> str:
    return f"{number:,} {word}{'' if number == 1 else 's'}"


def _failed_name(found: Failed, row: dict[str, Any]) -> str:
    known = vocabulary.parameters()
    words = []
    for part in found.parts:
        value = row[part]
        if part == "parameter" and value in known:
            value = known[value].name
        if value is not None:
            words.append(str(value))
    return ", ".join(words) or "no part named"


def of_distribution(found: Distribution, title: str = "") -> Figure:
    """Margins over frequency where there is a limit, else values: the median, and the band from 5 to 95 %."""
    if not found.spreads:
        raise Trouble(
            "there is nothing to draw: no chosen record has curves of this parameter", code="picture.nothing-to-draw"
        )
    margins = found.limit is not None
    name = vocabulary.parameter(found.parameter).name
    what = "each pair or combination" if found.of == "curves" else "the worst of each link"
    sub = f"{what}; the band holds 5 to 95 % of them" + (f"; margin against {found.limit}" if margins else "")
    words = f"Margin of {name}" if margins else name[:1].upper() + name[1:]
    figure, axis = _sheet(8.2, 4.6, f"{title}: {words}" if title else words, sub)
    lowest = 0.0
    for n, spread in enumerate(found.spreads):
        colour, dash = STYLES[n % len(STYLES)]
        low, median, high = (
            (spread.margin_low, spread.margin_median, spread.margin_high)
            if margins
            else (spread.low, spread.median, spread.high)
        )
        good = ~np.isnan(median)
        if not good.any():
            continue
        at = _some(spread.frequencies_mhz[good])
        f, low, median, high = (x[good][at] for x in (spread.frequencies_mhz, low, median, high))
        lowest = min(lowest, float(low.min()))
        axis.fill_between(f, low, high, color=colour, alpha=0.13, linewidth=0)
        dashes = {"dashes": [float(d) / 1.5 for d in dash.split()]} if dash else {}
        label = (
            f"{spread.name}, {spread.records:,} links"
            if len(found.spreads) > 1
            else f"median of {spread.records:,} links"
        )
        axis.plot(f, median, color=colour, linewidth=1.7, label=label, **dashes)
        for edge in (low, high):
            axis.plot(f, edge, color=colour, linewidth=0.7, **dashes)
    axis.set_xscale("log")
    first = min(float(s.frequencies_mhz[0]) for s in found.spreads)
    last = max(float(s.frequencies_mhz[-1]) for s in found.spreads)
    axis.set_xlim(first, last)
    ticks = [t for t in TICKS if first <= t <= last]
    axis.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axis.minorticks_off()
    axis.set_xlabel("MHz")
    axis.set_ylabel(f"margin, {found.unit}" if margins else found.unit)
    axis.grid(True, color=GRID, linewidth=0.6)
    axis.set_axisbelow(True)
    if margins:
        axis.axhline(0, color=INK, linewidth=1.6)
        bottom = min(axis.get_ylim()[0], lowest - 0.5, -0.6)
        axis.set_ylim(bottom, axis.get_ylim()[1])
        axis.axhspan(bottom, 0, facecolor="none", edgecolor="#bdb5ab", hatch="///", linewidth=0)
        axis.text(0.995, 0.015, "misses the limit", transform=axis.transAxes, ha="right", fontsize=8, color=SOFT)
    else:
        _limit_line(axis, found)
    _legend(axis, 2 if len(found.spreads) > 1 else 1, below=0.17)
    return figure


def _limit_line(axis: Axes, found: Distribution) -> None:
    spread = found.spreads[0]
    if not np.isnan(spread.limit).all():
        axis.plot(spread.frequencies_mhz, spread.limit, color=INK, linewidth=1.8, label="limit")


def _some(frequencies: Any) -> Any:
    """Points enough for a picture, even on its logarithmic axis."""
    if len(frequencies) <= _POINTS:
        return np.arange(len(frequencies))
    wanted = np.geomspace(frequencies[0], frequencies[-1], _POINTS)
    return np.unique(np.searchsorted(frequencies, wanted * (1 - 1e-9)).clip(0, len(frequencies) - 1))


def _sheet(width: float, height: float, title: str, under: str, rows: int = 1) -> tuple[Figure, Any]:
    """A figure with its heading, and its axes."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    top = 0.62 / height
    figure.get_layout_engine().set(rect=(0, 0, 1, 1 - top), h_pad=0.06, w_pad=0.08)  # type: ignore[union-attr,call-arg]
    figure.text(0.012, 1 - 0.2 / height, title, fontsize=12, fontweight="bold", va="center", color=INK)
    figure.text(0.012, 1 - 0.45 / height, under, fontsize=8.5, va="center", color=SOFT)
    if rows > 1:
        return figure, figure.subplots(rows, 1, sharex=True)
    axis = figure.subplots()
    axis.spines[["top", "right"]].set_visible(False)
    return figure, axis


def _of(found: Rates) -> str:
    t = found.total
    words = [f"{t['links']:,} links, {t['tests']:,} tests"]
    if t["not_graded"]:
        words.append(f"{t['not_graded']:,} links not graded are in no rate")
    if t["by_instrument"]:
        words.append(f"{t['by_instrument']:,} by the instrument's verdict alone")
    return "; ".join(words)


def _percent(axis: Any) -> None:
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    axis.set_major_locator(MaxNLocator(6, steps=[1, 2, 2.5, 5, 10]))
    axis.set_major_formatter(FuncFormatter(lambda share, _place: f"{100 * share:.6g} %"))


def _legend(axis: Axes, columns: int, below: float = 0.0) -> None:
    place: Any = (0.5, -below) if below else (0.0, 1.0)
    where: Any = "upper center" if below else "lower left"
    axis.legend(
        fontsize=8, frameon=False, handlelength=3.0, ncols=columns, loc=where, bbox_to_anchor=place, borderaxespad=0.2
    )
