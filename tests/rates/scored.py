"""Scores what an analyst's questions print over the archive of twenty years against what was planted in it.

Each sentence is right, wrong, or cannot be told from one archive. A sentence that no rule here knows is an error, so
that nothing is printed that is not scored. A group that is told to differ is rightly told if jobs of its circumstances
do differ so from the rest, by a third of a point at least.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from archive import store
from archive.answers.rates.rates import rates
from archive.answers.rates.source import Choice
from archive.answers.rates.trend import trend
from archive.answers.rates.words import rates_lines, trend_lines
from archive.store.catalogue.filters import Filters
from tests.rates import twenty_years as planted
from tests.rates.twenty_years import Truth

QUESTIONS: tuple[tuple[str, ...], ...] = (
    (),
    ("--by", "cable_type"),
    ("--by", "contractor"),
    ("--by", "crew"),
    ("--by", "quarter", "--cable-type", "cat6a/f-utp"),
    ("--trend", "month"),
)
"""How sure is the headline; how do cables pass; which contractor is better; is a crew worse; was a delivery bad; did
the rate change, and is it an instrument?"""
OTHERS: tuple[tuple[str, ...], ...] = (
    ("--by", "site"),
    ("--by", "serial"),
    ("--by", "year", "--cohort", "first-test"),
    ("--by", "length_band"),
    ("--trend", "quarter"),
)
"""Further questions, asked of larger archives."""
_WIDE = 10_000
LEAST = 1 / 300
"""A true difference of rates under this is none."""
RIGHT, WRONG, UNTOLD = "right", "wrong", "cannot be told"


@dataclass
class Scores:
    """sentences: (score, kind, sentence); held, asked: intervals of rates that hold the truth; expected: false alarms
    that the answers said they expect; alarms: sentences of what differs or changes."""

    sentences: list[tuple[str, str, str]] = field(default_factory=list)
    held: int = 0
    asked: int = 0
    expected: float = 0.0

    def of(self, score: str, kinds: str = "") -> list[str]:
        """Sentences with a score, of kinds that match."""
        return [s for got, kind, s in self.sentences if got == score and re.search(kinds, kind)]

    @property
    def alarms(self) -> list[str]:
        """Sentences that say that something differs, changes, drifts, or turns round."""
        return [s for _, kind, s in self.sentences if kind in ALARMS]


ALARMS = ("differs", "reversal", "mix", "no failure", "point", "smoothed", "change", "unit", "cable")


class _Known:
    """The truth as arrays, one entry per link whose first test counts."""

    def __init__(self, truth: Truth, words: tuple[str, ...]) -> None:
        cable = words[words.index("--cable-type") + 1] if "--cable-type" in words else ""
        self.truth = truth
        self.links = [x for x in truth.links if x.job.cable.startswith(cable)]
        jobs = [x.job for x in self.links]
        memo = {j.number: planted.expected(j.logit) for j in {j.number: j for j in jobs}.values()}
        self.p = np.array([memo[j.number] for j in jobs])
        self.job = np.array([j.number for j in jobs])
        self.words = {
            name: np.array([_words(j, x)[name] for j, x in zip(jobs, self.links, strict=True)]) for name in WORDS
        }
        self.cable = cable

    def rate(self, some: Any) -> float:
        """Rate at which such jobs pass the first test."""
        return float(self.p[some].mean())

    def difference(self, noun: str, group: str, without: list[str]) -> float:
        """A group less all the others that are not told apart from them."""
        here = self.words[noun] == group
        return self.rate(here) - self.rate(~here & ~np.isin(self.words[noun], without))

    def within(self, noun: str, group: str, of: str, against: str) -> tuple[float, float]:
        """Crude difference and that within strata (Mantel-Haenszel), of true rates."""
        here = self.words[noun] == group
        rest = ~here if against == "all others" else self.words[noun] == against
        total = weight = 0.0
        for word in np.unique(self.words[of]):
            a, b = here & (self.words[of] == word), rest & (self.words[of] == word)
            if a.any() and b.any():
                w = a.sum() * b.sum() / (a.sum() + b.sum())
                total, weight = total + w * (self.rate(a) - self.rate(b)), weight + w
        return self.rate(here) - self.rate(rest), total / weight


def _words(job: planted.Job, link: planted.Link) -> dict[str, str]:
    """What the words of a question are for a test of a link."""
    year, month = planted.FIRST_YEAR + job.month // 12, job.month % 12
    return {
        "cable type": job.cable,
        "contractor": job.contractor,
        "crew": job.crew,
        "site": job.site,
        "serial": job.told_serial or "unknown",
        "year": str(year),
        "quarter": f"{year}-Q{month // 3 + 1}",
        "month": f"{year}-{month + 1:02d}",
        "limit": planted.LIMITS[job.cable],
        "evidence": job.kind,
        "length band": _band(link.length),
    }


WORDS = ("cable type", "contractor", "crew", "site", "serial", "year", "quarter", "month", "limit", "evidence")
WORDS += ("length band",)


def _band(length: float) -> str:
    ends = [15, 30, 45, 60, 75, 90]
    at = sum(length > e for e in ends)
    return f"to {ends[0]} m" if not at else f"{ends[at - 1]} to {ends[at] if at < len(ends) else 100} m"


def scored(archive: Path, truth: Truth, questions: tuple[tuple[str, ...], ...] = QUESTIONS) -> Scores:
    """Asks all questions and scores what is printed."""
    out = Scores()
    archives = store.open(archive)
    for words in questions:
        known = _Known(truth, words)
        document, lines = _asked(archives, words)
        out.expected += document["expected_false_alarms"]
        noun = words[1].replace("_", " ") if words else ""
        told = [t["group"] for t in document.get("differences", ()) if t["differs"]]
        printed = _sentences(lines, document) + document["notes"]
        listed = [t["sentence"] if isinstance(t, dict) else t for t in document["told"]]
        for sentence in printed + [t for t in listed if t not in printed]:
            out.sentences += [(s, kind, sentence) for s, kind in _score(sentence, known, noun, told, document)]
        if "rows" in document and noun in known.words:
            _intervals(out, document["rows"], known, noun)
    return out


def _asked(archive: Any, words: tuple[str, ...]) -> tuple[dict[str, Any], list[str]]:
    """The document and the lines that the command prints before they are folded, without running it twice."""
    said = dict(zip(words[::2], words[1::2], strict=True))
    choice = Choice(Filters(cable_type=said.get("--cable-type")), cohort=said.get("--cohort"))
    if "--trend" in said:
        made = trend(archive, said["--trend"], choice)
        return made.plain(), list(trend_lines(made, _WIDE))
    found = rates(archive, [w for w in (said.get("--by"),) if w], choice)
    return found.plain() | {"cohort": choice.cohort}, list(rates_lines(found, _WIDE))


def _sentences(lines: list[str], document: dict[str, Any]) -> list[str]:
    """Lines after the tables."""
    tables = len(document.get("rows", document.get("points", ()))) + 1 + (len(document.get("rows", ())) > 1)
    lines = lines[tables:]
    if document.get("drift"):
        lines = lines[len(document["drift"]) + 2 :]
    return [line for line in lines if line.strip()]


def _intervals(out: Scores, rows: list[dict[str, Any]], known: _Known, noun: str) -> None:
    for row in rows:
        here = known.words[noun] == str(row[noun.replace(" ", "_")] or "unknown")
        if here.any() and row["first_time_low"] is not None:
            out.asked += 1
            out.held += row["first_time_low"] <= known.rate(here) <= row["first_time_high"]


def _judge(right: bool) -> str:
    return RIGHT if right else WRONG


Rule = Callable[[re.Match[str], _Known, str, list[str], dict[str, Any]], Iterator[tuple[str, str]]]


def _score(
    sentence: str, known: _Known, noun: str, told: list[str], document: dict[str, Any]
) -> Iterator[tuple[str, str]]:
    for pattern, rule in RULES:
        found = re.match(pattern, sentence)
        if found:
            yield from rule(found, known, noun, told, document)
            return
    raise AssertionError(f"no rule scores this sentence: {sentence}")


def _differs(m: re.Match[str], known: _Known, noun: str, told: list[str], _d: Any) -> Iterator[tuple[str, str]]:
    group = m["group"]
    true = known.difference(noun, group, [t for t in told if t != group])
    yield _judge(true * (1 if m["way"] == "more" else -1) >= LEAST), "differs"


def _no_failure(_m: re.Match[str], *_rest: Any) -> Iterator[tuple[str, str]]:
    yield WRONG, "no failure"  # nothing was left out


def _reversal(m: re.Match[str], known: _Known, noun: str, _t: Any, _d: Any) -> Iterator[tuple[str, str]]:
    _, within = known.within(noun, m["group"], m["field"], m["against"])
    here = known.words[noun] == m["group"]
    share = float((known.words[m["field"]][here] == m["word"]).mean())
    ok = within * (1 if m["way"] == "better" else -1) >= LEAST and abs(100 * share - float(m["share"])) < 2
    yield _judge(ok), "reversal"


def _mix(m: re.Match[str], known: _Known, noun: str, _t: Any, _d: Any) -> Iterator[tuple[str, str]]:
    crude, within = known.within(noun, m["group"], m["field"], m["against"])
    moved, said = 100 * (crude - within), float(m["moved"])
    yield _judge(moved * said > 0 and abs(moved) >= abs(said) / 2), "mix"


def _none_other(_m: re.Match[str], known: _Known, noun: str, told: list[str], document: Any) -> Iterator[Any]:
    """Right unless a group that was not told is worse than what would be told, with jobs enough."""
    power = next((re.match(_POWER, c) for c in document["closing"] if re.match(_POWER, c)), None)
    if power is None:
        yield UNTOLD, "no other differs"
        return
    missed = []
    for row in document["rows"]:
        group = str(row[noun.replace(" ", "_")] or "unknown")
        here = known.words[noun] == group
        if here.any() and group not in told and row["first_jobs"] >= int(power["jobs"]):
            missed += [group] if 100 * known.rate(here) < float(power["low"]) else []
    yield _judge(not missed), "no other differs"


def _untold(kind: str) -> Rule:
    def rule(*_all: Any) -> Iterator[tuple[str, str]]:
        yield UNTOLD, kind

    return rule


def _sensitivity(m: re.Match[str], known: _Known, _n: str, _t: Any, document: Any) -> Iterator[tuple[str, str]]:
    truth = known.truth
    want = {
        "copied": sum(j.cable.startswith(known.cable) for j in truth.copied),
        "in doubt": sum(c.startswith(known.cable) for c in truth.reused),
        "with a later fail of less evidence": sum(x.later_fail for x in known.links),
    }
    if document["rows"] and "first_links" in document["rows"][0] and document.get("cohort"):
        want = {k: v for k, v in want.items() if k.startswith("with")}
    said = {words: int(n.replace(",", "")) for n, words in re.findall(r"([\d,]+) ([a-z][a-z ]+)", m["listed"])}
    now = 100 * sum(x.passes_now for x in known.links) / len(known.links)
    ok = all(want[k] == v for k, v in said.items()) and float(m["low"]) <= now + 0.05
    yield _judge(ok and now <= float(m["high"]) + 0.05), "sensitivity"


def _by_instrument(m: re.Match[str], known: _Known, _n: str, _t: Any, _d: Any) -> Iterator[tuple[str, str]]:
    want = sum(x.evidence != "full-sweep" for x in known.links)
    yield _judge(_whole(m["number"]) == want), "by instrument"


def _one_job(m: re.Match[str], known: _Known, noun: str, _t: Any, document: Any) -> Iterator[tuple[str, str]]:
    """By the tests that decide now, and their jobs."""
    jobs: dict[str, set[str]] = {}
    for x in known.links:
        begun = document.get("cohort") or noun in ("cable type", "length band")
        jobs.setdefault(_words(x.job if begun else x.now, x)[noun], set()).add(x.now_of)
    yield _judge(_whole(m["number"]) == sum(len(j) == 1 for j in jobs.values())), "one job"


def _small(m: re.Match[str], known: _Known, noun: str, _t: Any, document: Any) -> Iterator[tuple[str, str]]:
    now: dict[str, int] = {}
    for x in known.links:
        word = _words(x.now, x)[noun]
        now[word] = now.get(word, 0) + 1
    first = {w: int((known.words[noun] == w).sum()) for w in np.unique(known.words[noun]).tolist()}
    want = sum(max(now.get(w, 0), first.get(w, 0)) < 20 for w in {*now, *first})
    # tests that are in doubt, or of copies, can be a group of no link
    want += sum(str(row[noun.replace(" ", "_")] or "unknown") not in {*now, *first} for row in document["rows"])
    yield _judge(_whole(m["number"]) == want), "small groups"


def _periods(kind: str) -> Rule:
    def rule(m: re.Match[str], known: _Known, _n: str, _t: Any, document: Any) -> Iterator[tuple[str, str]]:
        periods = [p["period"] for p in document["points"]]
        noun = document["trend"]
        rates = np.array([known.rate(known.words[noun] == p) for p in periods])
        before = -2
        for period, way in re.findall(r"(\S+) \((lower|higher)\)", m["listed"]):
            at = periods.index(period)
            if kind == "smoothed" and at == before + 1:
                before = at
                continue  # a line that stays outside left its limits once
            before = at
            some = rates[max(0, at - 11) : at + 1] if kind == "smoothed" else rates[at : at + 1]
            weight = 0.8 ** np.arange(len(some))[::-1]
            apart = float((some * weight).sum() / weight.sum()) - float(known.p.mean())
            yield _judge(apart * (1 if way == "higher" else -1) >= LEAST), kind

    return rule


def _change(m: re.Match[str], known: _Known, _n: str, _t: Any, document: Any) -> Iterator[tuple[str, str]]:
    noun = document["trend"]
    late = known.words[noun] >= m["period"]
    apart = known.rate(late) - known.rate(~late)
    said = float(m["after"]) - float(m["before"])
    yield _judge(apart * said > 0 and abs(100 * apart) >= abs(said) / 3), "change"


def _unit(m: re.Match[str], known: _Known, *_rest: Any) -> Iterator[tuple[str, str]]:
    ok = known.truth.world.planted and m["serial"] == planted.DRIFT_UNIT and m["way"] == "loses"
    yield _judge(ok and float(m["low"]) <= -planted.DRIFT <= float(m["high"])), "unit"


def _cable(m: re.Match[str], known: _Known, *_rest: Any) -> Iterator[tuple[str, str]]:
    """By the mean effect of the lots of that cable then, against the median over all periods."""
    lots = known.truth.world.lots
    cells: dict[tuple[str, str], list[float]] = {}
    for x in {x.job.number: x.job for x in known.links}.values():
        year, month = planted.FIRST_YEAR + x.month // 12, x.month % 12
        for period in (f"{year}", f"{year}-H{month // 6 + 1}", f"{year}-Q{month // 3 + 1}"):
            cells.setdefault((x.cable, period), []).append(lots[x.lot].effect)
    same = [float(np.mean(v)) for (_, p), v in cells.items() if p[4:6] == m["period"][4:6]]
    true = float(np.mean(cells[m["cable"], m["period"]])) - float(np.median(same))
    said = float(m["size"]) * (-1 if m["way"] == "less" else 1)
    yield _judge(true * said > 0 and abs(true) >= abs(said) / 2), "cable"


def _nothing_changes(_m: re.Match[str], known: _Known, *_rest: Any) -> Iterator[tuple[str, str]]:
    yield _judge(not known.truth.world.planted), "nothing changes"


def _whole(number: str) -> int:
    """A printed number, with its marks between thousands."""
    return int(number.replace(",", ""))


_NUMBER = r"[+-]?[\d.]+"
_POWER = (
    r"With (?P<jobs>\d+) jobs? against (?P<rest>\d+), an? .+ at (?P<low>[\d.]+) % against (?P<high>[\d.]+) % would be "
    r"told in at least 4 of 5 cases; smaller differences may be there unseen\.$"
)
RULES: tuple[tuple[str, Rule], ...] = (
    (r"(?P<group>.+) passes(?: the first test)? (?P<way>less|more) often than ", _differs),
    (r".+ has no failure", _no_failure),
    (
        r"Crude, (?P<group>.+) is [\d.]+ points (?:worse|better) than (?P<against>.+); within (?P<field>[a-z ]+) it is "
        r"[\d.]+ points (?P<way>worse|better) .* The order turns round because (?P<share>[\d.]+) % of the links of .+ "
        r"are of (?:cable type |limit |length band |model |year |site |evidence |operator )(?P<word>\S+), of the",
        _reversal,
    ),
    (
        rf"The mix of (?P<field>[a-z ]+) moves (?P<group>.+) by (?P<moved>{_NUMBER}) points: crude {_NUMBER} against "
        r"(?P<against>.+), within ",
        _mix,
    ),
    (r"No (?:other )?\S.+ differs more than jobs alike do", _none_other),
    (_POWER, _untold("power")),
    (r"\d+ more: --json has them all", _untold("not printed")),
    (r"The search ends here", _untold("end of the search")),
    (r".*(?:about|About) [\d.]+ false alarms? expected", _untold("false alarms expected")),
    (
        r"If all that is uncertain went one way, (?P<low>[\d.]+) to (?P<high>[\d.]+) % would pass: (?P<listed>.+)\.$",
        _sensitivity,
    ),
    (r"Intervals are of the rate|are worth as many independent links", _untold("what an interval is")),
    (r"(?P<number>[\d,]+) links? rests? on the instrument's verdict alone", _by_instrument),
    (r"\d+ groups are too many to search", _untold("not searched")),
    (r"(?P<number>[\d,]+) of [\d,]+ groups? (?:is|are) one job", _one_job),
    (r"(?P<number>[\d,]+) of [\d,]+ groups? (?:has|have) fewer than 20 links", _small),
    (r"(?P<listed>.+): outside the limits", _periods("point")),
    (r"(?P<listed>.+): where the smoothed line leaves its limits", _periods("smoothed")),
    (
        r"First-time rate changed at (?P<period>\S+): (?P<before>[\d.]+) % before, (?P<after>[\d.]+) % from then on",
        _change,
    ),
    (
        r"Unit (?P<serial>\S+) (?P<way>loses|gains) [\d.]+ dB a month more than the typical unit \((?P<low>[\d.]+) to "
        r"(?P<high>[\d.]+)\)",
        _unit,
    ),
    (r"Cable (?P<cable>\S+) tested in (?P<period>\S+) .* has (?P<size>[\d.]+) dB (?P<way>less|more) margin", _cable),
    (r"Nothing changes more than jobs alike do", _nothing_changes),
    (r"no link of another group is like those of", _untold("not compared")),
)
