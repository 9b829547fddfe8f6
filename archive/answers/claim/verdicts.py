"""Everybody's verdicts on a record: side by side on the first page, and all of them in one table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from archive import vocabulary
from archive.answers.claim.claim_facts import (
    ASSESSMENT,
    DEPOSIT,
    NEWEST,
    NOW,
    ClaimFacts,
    Row,
    StatedVerdict,
    TestedRecord,
    letters,
)
from archive.answers.documents import TableBlock, VerdictCard, VerdictCards, stressed
from archive.answers.wording import Wording, plain

Verdict = Mapping[str, Any]


def opinions(facts: ClaimFacts, words: Wording) -> VerdictCards | None:
    """The instrument, this program under the limit of the day and under today's edition, and the fresh test."""
    s = facts.standing
    items: list[VerdictCard] = []
    if s is not None:
        items.append(instrument(s, words))
        first = next((x for x in s.stated if x.kind == DEPOSIT), None)
        if first is not None:
            items.append(_program(words("This program, limit of its day"), first.verdict, s.record, words))
        later = next((x for x in s.stated if x.kind == NEWEST), None)
        if later is not None:
            newest = words("This program, newest edition it holds") if facts.newest_edition else ""
            items.append(_program(newest or words("This program, today's edition"), later.verdict, s.record, words))
        if facts.newest_edition:
            lines = [facts.newest_edition, words("This program holds no lines of this edition.")]
            items.append(VerdictCard(words("This program, today's edition"), words.verdict(None), lines))
    for name, t in conflicting(facts):
        v = t.verdict()
        who = words("Record {name}, {when}", name=name, when=_day(t, words))
        items += [_program(who, v, t.record, words)] if v else []
    if facts.retest is not None and (v := facts.retest.verdict()) is not None:
        when = words.day(facts.retest.record["tested_local"]) or words("day not stated")
        items.append(_program(words("Fresh test, {when}", when=when), v, facts.retest.record, words))
    return VerdictCards(items) if items else None


def conflicting(facts: ClaimFacts) -> list[tuple[str, TestedRecord]]:
    """The two latest records that contradict each other, with their letters, where none stands because of them."""
    return letters(facts)[-2:]


def _day(tested: TestedRecord, words: Wording) -> str:
    return words.day(tested.record["tested_local"]) or words("day not stated")


def instrument(tested: TestedRecord, words: Wording) -> VerdictCard:
    """What the instrument itself said."""
    r = tested.record
    when = words.day(r["tested_local"])
    lines = [plain(r["limit_found"]) or words("no limit named")]
    if r["reported_marginal"]:
        lines.append(words("marked as marginal"))
    word = words.verdict(r["reported_verdict"]) if r["reported_verdict"] else words("no verdict")
    who = words("The instrument, {when}", when=when) if when else words("The instrument")
    return VerdictCard(who, word, lines, grave=r["reported_verdict"] == "fail")


def _program(who: str, v: Verdict, record: Row, words: Wording) -> VerdictCard:
    lines = [plain(v["limit_id"]) or words("limit unknown: {found}", found=plain(v["limit_found"]) or words("none"))]
    leading = leading_text(v, words)
    if leading:
        lines.append(words("leading margin {margin}", margin=leading))
    elif v["verdict"] == "fail" and v["reason"]:
        lines.append(words.told(plain(v["reason"]).split("; ")[0]))
    elif v["verdict"] in ("pass", "fail"):
        lines.append(words("no leading margin"))
    short = [
        (v["provisional"], words("provisional")),
        (v["marginal"], words("marginal")),
        (v["within_resolution"], words("within the resolution of the export")),
        (v["agrees"] is False, _differs(v, record, words)),
    ]
    marks = [text for there, text in short if there]
    if marks:
        lines.append(", ".join(marks))
    if v["verdict"] == "not graded" and v["reason"]:
        lines.append(words.told(plain(v["reason"])))
    return VerdictCard(who, words.verdict(v["verdict"]), lines, grave=v["verdict"] == "fail")


def verdict_table(tested: TestedRecord, words: Wording) -> TableBlock:
    """Every verdict on one record: the instrument's, and one row for each that this program said and when."""
    r = tested.record
    marked = words("marginal, as it marked it") if r["reported_marginal"] else ""
    reported = words.verdict(r["reported_verdict"]) if r["reported_verdict"] else words("none")
    first = [words("the instrument"), words.day(r["tested_local"]), plain(r["limit_found"]), reported, "", marked]
    rows = [(r["reported_verdict"] == "fail", first)]
    for s in tested.stated:
        v = s.verdict
        who, when = _who(s, tested, words)
        limit = plain(v["limit_id"]) or words("unknown: {found}", found=plain(v["limit_found"]) or words("none named"))
        cells = [who, when, limit, words.verdict(v["verdict"]), leading_text(v, words), "; ".join(notes(s, r, words))]
        rows.append((v["verdict"] == "fail", cells))
    head = [words(h) for h in ("said by", "when", "limit", "verdict", "leading margin", "with this said")]
    return stressed(head, rows, weights=(1.4, 0, 1.9, 0, 1.7, 2.2))


def _who(s: StatedVerdict, tested: TestedRecord, words: Wording) -> tuple[str, str]:
    if s.kind == NOW:
        return words("this program, with the limits it holds today"), words("for this file")
    if s.kind == NEWEST:
        return words("this program, today's edition"), words("for this file")
    by = words(", by {name}", name=s.by) if s.by else ""
    if s.kind == ASSESSMENT:
        return words("this program, graded again later") + by, words.day(s.when[:10])
    if tested.deposit:
        return words("this program, when it was deposited"), words.day(s.when[:10])
    return words("this program"), words("for this file")


def notes(s: StatedVerdict, record: Row, words: Wording) -> list[str]:
    """What belongs to a verdict: reason, marks, which lines are provisional, who confirmed them."""
    v = s.verdict
    lines = names_of(provisional(s.grades), words) or words("a line")
    found = [
        (v["reason"], words.told(plain(v["reason"]))),
        (v["marginal"], words("marginal: {basis}", basis=words.told(plain(v["marginal_basis"])))),
        (v.get("decision"), words("decision rule: {rule}", rule=words.told(plain(v.get("decision"))))),
        (v["provisional"], words("provisional: {names}", names=lines)),
        (v.get("left_out"), words("left out: {points}", points=words.told(plain(v.get("left_out"))))),
        (v["confirmed_by"], words("limit lines confirmed: {who}", who=v["confirmed_by"])),
        (v["within_resolution"], words("the margin is within the resolution of the export")),
        (v["agrees"] is False, _differs(v, record, words)),
    ]
    return [text for there, text in found if there]


def _differs(v: Verdict, record: Row, words: Wording) -> str:
    """How a verdict differs from the instrument's: it disagrees only where the verdicts do."""
    if record["reported_verdict"] in (None, v["verdict"]):
        return words("a figure differs from the instrument's")
    return words("disagrees with the instrument")


def provisional(grades: Iterable[Mapping[str, Any]]) -> list[str]:
    """Parameters whose verdict is provisional."""
    found = {g["parameter"] for g in grades if g["provisional"]}
    return [p for p in vocabulary.parameters() if p in found]


def names_of(parameters: Sequence[str], words: Wording) -> str:
    """Printed names of parameters in a row."""
    return words.listed([words.parameter(p) for p in parameters])


def leading_text(v: Verdict, words: Wording) -> str:
    """The leading margin of a verdict and its place in one line; empty where there is none."""
    if v["leading_margin"] is None or v["leading_parameter"] is None:
        return ""
    p = vocabulary.parameter(v["leading_parameter"])
    margin = f"{words.margin(v['leading_margin'], p.unit)}\u00a0{words.unit(p.unit)}"
    parts = [margin, words.parameter(p.id), plain(v["leading_pairing"]), words.end(v["leading_end"])]
    if v["leading_frequency_mhz"] is not None:
        parts.append(words.free(v["leading_frequency_mhz"]) + "\u00a0MHz")
    return ", ".join(x for x in parts if x)


def reported_failures(tested: TestedRecord, words: Wording, most: int = 3) -> str:
    """Margins below zero that the instrument reported, the smallest of each parameter, the worst first; else empty."""
    below = [r for r in tested.rows("reported") if r["margin"] is not None and r["margin"] < 0]
    worst = {r["parameter"]: r for r in sorted(below, key=lambda r: -r["margin"])}
    texts = []
    for r in sorted(worst.values(), key=lambda r: r["margin"])[:most]:
        unit = vocabulary.parameter(r["parameter"]).unit
        said = words(
            "{parameter}, reported margin {margin} {unit}",
            parameter=words.parameter(r["parameter"]),
            margin=words.margin(r["margin"], unit),
            unit=words.unit(unit),
        )
        at = f"{words.free(r['frequency_mhz'])} MHz" if r["frequency_mhz"] is not None else ""
        texts.append(", ".join(x for x in (said, plain(r["pairing"]), words.end(r["end"]), at) if x))
    return "; ".join(texts)


def figures_that_differ(tested: TestedRecord, limit_id: str | None, words: Wording, most: int = 3) -> str:
    """Parameters whose margin is another here than the instrument reported, the largest differences first."""
    found: dict[str, float] = {}
    for g in tested.grades(limit_id):
        if g["agrees"] is False and None not in (g["margin"], g["reported_margin"]):
            change = abs(g["margin"] - g["reported_margin"])
            found[g["parameter"]] = max(change, found.get(g["parameter"], 0.0))
    largest = sorted(found, key=lambda p: -found[p])[:most]
    texts = [
        words(
            "{parameter} by {difference} {unit}",
            parameter=words.parameter(p),
            difference=words.margin(found[p], vocabulary.parameter(p).unit),
            unit=words.unit(vocabulary.parameter(p).unit),
        )
        for p in largest
    ]
    return words.listed(texts) if texts else words("see the worst cases")
