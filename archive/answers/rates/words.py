"""Rates, what failed and distributions as lines of text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from archive.answers import count_text
from archive.answers.count_text import percent
from archive.answers.rates.distributions import Distribution
from archive.answers.rates.pareto import Failed
from archive.answers.rates.rates import Rates

_MOST = 12
"""Differences that are listed; --json has them all."""


def rates_lines(found: Rates) -> Iterator[str]:
    """A table of the groups, their total, and the differences that hold."""
    if not found.rows:
        yield "no record counts here"
        return
    head = [f.name for f in found.fields]
    head += ["links", "pass", "95 % interval", "first time", "95 % interval", "fixed", "marginal", "provisional"]
    of_parameters = any(f.name == "parameter" for f in found.fields)
    head += ["margin, median" if of_parameters else "leading margin, median", "5 %", ""]
    lines = [[*(_word(r[f.name]) for f in found.fields), *_cells(r)] for r in found.rows]
    if len(found.rows) > 1 and found.total["tests"]:
        lines.append([*(["all", *[""] * len(found.fields)][: len(found.fields)]), *_cells(found.total)])
    yield from aligned([head, *lines], left=len(found.fields))
    if found.counts is not None:
        yield from ("", *count_text.sums(found.counts), *count_text.beside(found.counts))
    holding = [d for d in found.differences if d["differs"]]
    if found.differences:
        yield ""
        yield (
            f"{len(found.differences)} comparisons, {len(holding)} of them differ "
            "(score test, or Fisher's where few are expected; Holm's correction, 5 % over all)"
        )
    for d in holding[:_MOST]:
        what = "first time" if d["of"] == "first_time_rate" else "final"
        yield (
            f"  {d['a']}: {percent(d['share_a'])} of {d['links_a']}, {d['b']}: {percent(d['share_b'])} of "
            f"{d['links_b']} ({what}; p {_p(d['p_holm'])} corrected)"
        )
        for warning in d["warnings"]:
            yield f"    beware: {warning}"
    if len(holding) > _MOST:
        yield f"  {len(holding) - _MOST} more: --json has them all"


def failed_lines(found: Failed) -> Iterator[str]:
    """A table of what failed."""
    if not found.rows:
        yield "nothing failed, or nothing says what"
        return
    head = [*found.parts, "links", "of all failing", "failures", "worst margin", "median"]
    rows = []
    for r in found.rows:
        parts = [_word(r[p]) for p in found.parts]
        share = percent(r["share_of_links"])
        margins = [_number(r["worst_margin"]), _number(r["median_margin"])]
        rows.append([*parts, str(r["links"]), share, str(r["failures"]), *margins])
    yield from aligned([head, *rows], left=len(found.parts))
    yield f"{found.links} failing links, {found.failures} failures; one that fails in several ways is in several rows"


def spread_lines(found: Distribution) -> Iterator[str]:
    """A few frequencies of each spread; the tables hold all of them."""
    if not found.spreads:
        yield "no chosen record has curves of this parameter"
        return
    margins = found.limit is not None
    unit = f"margin in {found.unit} against {found.limit}" if margins else found.unit
    yield f"{found.parameter}, {unit}, of {'each curve' if found.of == 'curves' else 'the worst curve of each link'}"
    head = ["group", "MHz", "curves", "5 %", "median", "95 %", "miss the limit"]
    lines = []
    for spread in found.spreads:
        rows = spread.rows()
        for at in sorted({round(i * (len(rows) - 1) / 8) for i in range(9)}):
            r = rows[at]
            kind = "margin_" if margins else ""
            numbers = [_number(r[f"{kind}{n}"]) for n in ("low", "median", "high")]
            share = "" if r["beyond"] is None else percent(r["beyond"])
            lines.append([spread.name, f"{r['frequency_mhz']:g}", str(r["curves"]), *numbers, share])
    yield from aligned([head, *lines], left=1)
    for spread in found.spreads if margins else ():
        r = min((r for r in spread.rows() if r["margin_low"] is not None), key=lambda r: r["margin_low"])
        yield f"{spread.name}: tightest at {r['frequency_mhz']:g} MHz, where 5 % have {r['margin_low']:.2f} dB or less"


def aligned(lines: Sequence[Sequence[str]], left: int) -> Iterator[str]:
    """Lines in columns; the first `left` ones flush left, the others flush right."""
    widths = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    for line in lines:
        cells = (c.ljust(w) if i < left else c.rjust(w) for i, (c, w) in enumerate(zip(line, widths, strict=True)))
        yield "  ".join(cells).rstrip()


def _cells(r: dict[str, Any]) -> list[str]:
    return [
        str(r["links"]),
        percent(r["rate"]),
        _interval(r["low"], r["high"]),
        percent(r["first_time_rate"]),
        _interval(r["first_time_low"], r["first_time_high"]),
        "" if r["fixed"] is None else str(r["fixed"]),
        percent(r["marginal_share"]),
        percent(r["provisional_share"]),
        _number(r["median_margin"]) + (f" {r['margin_unit']}" if r.get("margin_unit") and r["median_margin"] else ""),
        _number(r["p5_margin"]),
        "small" if r["small"] else "",
    ]


def _interval(low: float | None, high: float | None) -> str:
    return "" if low is None or high is None else f"{100 * low:.1f} to {100 * high:.1f}"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


def _word(value: Any) -> str:
    return "unknown" if value is None else str(value)


def _p(value: float) -> str:
    return "below 0.0001" if value < 1e-4 else f"{value:.4f}"
