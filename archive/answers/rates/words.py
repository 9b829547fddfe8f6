"""Rates, what failed and distributions as lines of text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from archive.answers import count_text
from archive.answers.columns import aligned
from archive.answers.count_text import percent, points
from archive.answers.rates.compare import p_text
from archive.answers.rates.rates import Rates, sensitivity
from archive.vocabulary.counted import counted

if TYPE_CHECKING:
    from archive.answers.rates.distributions import Distribution
    from archive.answers.rates.first_failures import FirstFailures
    from archive.answers.rates.pareto import Failed
    from archive.answers.rates.readiness import Readiness
    from archive.answers.rates.trend import Trend

_MOST = 12
"""Sentences of one kind that are printed; --json has them all."""


def rates_lines(found: Rates, width: int = 80) -> Iterator[str]:
    """A table of the groups, their total, and what may be relied on."""
    if not found.rows:
        yield "no record counts here"
        return
    yield from aligned(rates_table(found), left=len(found.fields), width=width)
    uncertain = sensitivity(found.total) if found.total["tests"] else ""
    if uncertain:
        yield uncertain
    if found.counts is not None:
        yield from ("", *count_text.sums(found.counts), *count_text.beside(found.counts))
    yield ""
    yield (
        "Intervals are of the rate at which such jobs pass: links of one job go together, so that all of them are "
        "worth as many independent links as the table says. Of these links themselves the count is exact."
    )
    yield from told_lines(found)


def rates_table(found: Rates) -> list[list[str]]:
    """Heads and rows of the groups, and of all of them."""
    head = [f.name for f in found.fields]
    head += ["links", "jobs", "worth", "pass", "95 % interval", "first", "first time", "95 % interval", "fixed"]
    of_parameters = any(f.name == "parameter" for f in found.fields)
    head += ["marginal", "provisional", "margin, median" if of_parameters else "leading margin, median", "5 %"]
    standardised = "within_difference" in found.rows[0]
    head += ["at the mix of all", "others", "within", "95 % interval"] if standardised else []
    head.append("")
    lines = [[*(_word(r[f.name]) for f in found.fields), *_cells(r, standardised)] for r in found.rows]
    if len(found.rows) > 1 and found.total["tests"]:
        total = _cells({**found.total, "within_difference": None}, standardised)
        lines.append([*(["all", *[""] * len(found.fields)][: len(found.fields)]), *total])
    return [head, *lines]


def told_lines(found: Rates) -> Iterator[str]:
    """The sentences that may be relied on, and at what error."""
    if not (found.told or found.closing):
        return
    yield ""
    shown: dict[str, int] = {}
    for told in found.told:
        shown[told.kind] = shown.get(told.kind, 0) + 1
        if shown[told.kind] <= _MOST:
            yield told.sentence
    left = sum(n - _MOST for n in shown.values() if n > _MOST)
    if left:
        yield f"{left} more: --json has them all"
    yield from found.closing
    if found.expected_false_alarms:
        yield (
            f"Who differs, and what moves it: about {false_alarms(found.expected_false_alarms)} expected where nothing "
            "does."
        )


def false_alarms(number: float) -> str:
    """How many of them, in words."""
    return f"{number:g} {'false alarm' if number == 1 else 'false alarms'}"


def trend_lines(found: Trend, width: int = 80) -> Iterator[str]:
    """Periods, what the chart tells, and the units."""
    if not found.points:
        yield "no first test counts here"
        return
    yield from aligned(trend_table(found), left=1, width=width)
    if found.units.units:
        yield ""
        units = [
            [
                u.serial,
                str(u.jobs),
                "" if u.slope is None else f"{u.slope:+.3f}",
                "" if u.low is None or u.high is None else f"{u.low:+.3f} to {u.high:+.3f}",
                "" if u.p is None else p_text(u.p),
                "told" if u.told else f"cannot be told from {', '.join(u.confounded_with)}" if u.slope is None else "",
            ]
            for u in found.units.units
        ]
        head = ["unit", "jobs", f"dB a month, {found.margin} margin", "95 % interval", "p", ""]
        yield from aligned([head, *units], left=1, width=width)
    yield ""
    told = found.sentences()
    yield from told
    if not told and found.judged:
        yield "Nothing changes more than jobs alike do, and no unit drifts more than others."
    yield f"About {false_alarms(found.plain()['expected_false_alarms'])} expected where nothing changes."


def trend_table(found: Trend) -> list[list[str]]:
    """Heads and rows of the periods."""
    head = [found.of, "links", "jobs", "first time", "95 % interval", "limits", ""]
    alarms: dict[str, list[str]] = {}
    for a in found.alarms:
        alarms.setdefault(a["period"], []).append(f"{a['kind']} {a['direction']}")
    lines = [
        [
            p["period"],
            str(p["n"]),
            str(p["jobs"]),
            percent(p["rate"]),
            interval(p["rate"], p["low"], p["high"]),
            "" if p["limit_low"] is None else f"{100 * p['limit_low']:.1f} to {100 * p['limit_high']:.1f}",
            ", ".join(alarms.get(p["period"], [])),
        ]
        for p in found.points
    ]
    return [head, *lines]


def first_failure_lines(found: FirstFailures, width: int = 80) -> Iterator[str]:
    """Shares with a claim by so many years."""
    if not found.rows:
        yield "no link counts here"
        return
    names = [f.name for f in found.fields]
    head = [*names, "years", "links", "jobs", "still watched", "claims", "share", "95 % interval"]
    lines = []
    for r in found.rows:
        ends = f"upper limit {100 * r['high']:.1f} %" if r["low"] is None else interval(r["share"], r["low"], r["high"])
        numbers = [str(r[n]) for n in ("years", "links", "jobs", "at_risk", "claims")]
        lines.append([*(_word(r[n]) for n in names), *numbers, percent(r["share"]), ends])
    yield from aligned([head, *lines], left=len(names), width=width)


def ready_lines(found: Readiness, width: int = 80) -> Iterator[str]:
    """A table of groups and applications, what would have to be measured, and what no measurement can tell."""
    if not found.rows:
        yield "no link counts here"
        return
    names = [f.name for f in found.fields]
    head = [*names, "application", "links", "carry", "do not", "cannot be told", "carry, of all", "fully told", "carry"]
    head += ["95 % interval", "provisional"]
    lines = [
        [
            *(_word(r[n]) for n in names),
            r["application"],
            str(r["links"]),
            str(r["carry"]),
            str(r["do_not"]),
            str(r["cannot_be_told"]),
            f"{100 * r['low']:.1f} to {100 * r['high']:.1f} %",
            str(r["rate_links"]),
            percent(r["rate"]),
            interval(r["rate"], r["rate_low"], r["rate_high"]),
            str(r["provisional"]),
        ]
        for r in found.rows
    ]
    yield from aligned([head, *lines], left=len(names) + 1, width=width)
    for application, needed in found.to_measure.items():
        if needed:
            yield f"{application}: to tell more, measure {'; '.join(needed)}"
    for application, unknown in found.not_known.items():
        if unknown:
            yield f"{application}: no measurement tells more of these: {'; '.join(unknown)}"


def failed_lines(found: Failed, width: int = 80) -> Iterator[str]:
    """A table of what failed."""
    if not found.rows:
        yield "nothing failed, or nothing says what"
        return
    yield from aligned(failed_table(found), left=len(found.parts), width=width)
    which = {"all": "in any test", "current": "by the test that counts now", "first": "at the first test"}[found.tests]
    yield f"{counted(found.failing, 'link')} failing {which}; one that fails in several ways is in several rows"


def failed_table(found: Failed) -> list[list[str]]:
    """Heads and rows of what failed."""
    head = [*found.parts, "links", f"of {found.failing} failing", "failures", "worst margin", "median"]
    rows = []
    for r in found.rows:
        parts = [_word(r[p]) for p in found.parts]
        share = percent(r["share_of_links"])
        margins = [_number(r["worst_margin"]), _number(r["median_margin"])]
        rows.append([*parts, str(r["links"]), share, str(r["failures"]), *margins])
    return [head, *rows]


def spread_lines(found: Distribution, width: int = 80) -> Iterator[str]:
    """Of each spread the frequencies that matter: the ends, and where links come nearest to the limit."""
    if not found.spreads:
        yield "no chosen record has curves of this parameter"
        return
    margins = found.limit is not None
    unit = f"margin in {found.unit} against {found.limit}" if margins else found.unit
    yield f"{found.parameter}, {unit}, of {'each curve' if found.of == 'curves' else 'the worst curve of each link'}"
    kind = "margin_" if margins else ""
    head = ["group", "MHz", "curves", "worst", "5 %", "median", "95 %", "miss the limit", ""]
    lines = []
    for spread in found.spreads:
        rows = spread.rows()
        for at, why in sorted(_telling(rows, margins).items()):
            r = rows[at]
            numbers = [_number(r[f"{kind}{n}"]) for n in ("worst", "low", "median", "high")]
            share = "" if r["beyond"] is None else percent(r["beyond"])
            lines.append([spread.name, f"{r['frequency_mhz']:g}", str(r["curves"]), *numbers, share, ", ".join(why)])
    yield from aligned([head, *lines], left=1, width=width)


def _telling(rows: Sequence[dict[str, Any]], margins: bool) -> dict[int, list[str]]:
    """Places of the frequencies that are printed, and why."""
    why: dict[int, list[str]] = {0: ["lowest frequency"]}
    why.setdefault(len(rows) - 1, []).append("highest frequency")
    if margins:
        for name, words in (("margin_worst", "tightest of any"), ("margin_low", "tightest of 5 %")):
            known = [i for i, r in enumerate(rows) if r[name] is not None]
            if known:
                why.setdefault(min(known, key=lambda i: rows[i][name]), []).append(words)
        most = max(range(len(rows)), key=lambda i: rows[i]["beyond"] or 0.0)
        if rows[most]["beyond"]:
            why.setdefault(most, []).append("most miss it")
    else:
        why.setdefault(len(rows) // 2, []).append("middle")
    return why


def _cells(r: dict[str, Any], standardised: bool) -> list[str]:
    margin = _number(r["median_margin"])
    cells = [
        str(r["links"]),
        str(r["jobs"]),
        "" if r["effective_links"] is None else f"{r['effective_links']:.0f}",
        percent(r["rate"]),
        interval(r["rate"], r["low"], r["high"]),
        str(r["first_links"]),
        percent(r["first_time_rate"]),
        interval(r["first_time_rate"], r["first_time_low"], r["first_time_high"]),
        "" if r["fixed"] is None else str(r["fixed"]),
        "" if r["marginal_share"] is None else f"{percent(r['marginal_share'])} of {r['marginal_known']}",
        percent(r["provisional_share"]),
        margin + (f" {r['margin_unit']}" if r.get("margin_unit") and margin else ""),
        _number(r["p5_margin"]),
    ]
    if standardised:
        within = r["within_difference"]
        cells += (
            ["", "", "", ""]
            if within is None
            else [
                percent(r["standardised_rate"]),
                percent(r["standardised_others"]),
                points(100 * within, signed=True),
                f"{points(100 * r['within_low'], signed=True)} to {points(100 * r['within_high'], signed=True)}",
            ]
        )
    return [*cells, "small" if r["small"] else ""]


def interval(rate: float | None, low: float | None, high: float | None) -> str:
    """An interval in per cent, with as many decimals as keep it apart from the rate and from 0 and 100 %."""
    if rate is None or low is None or high is None:
        return ""
    for places in range(1, 6):
        a, p, b = (round(100 * v, places) for v in (low, rate, high))
        apart = (a < p or low == rate) and (p < b or high == rate)
        if apart and (a > 0 or low == 0) and (b < 100 or high == 1):
            break
    return f"{100 * low:.{places}f} to {100 * high:.{places}f}"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


def _word(value: Any) -> str:
    return "unknown" if value is None else str(value)
