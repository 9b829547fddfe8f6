"""History and neighbours."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from archive import vocabulary
from archive.answers import count_text
from archive.answers.claim.claim_facts import ClaimFacts, TestedRecord
from archive.answers.claim.none_stands import none_stands
from archive.answers.claim.verdicts import verdict_table
from archive.answers.documents import Block, DocumentSection, Para, TableBlock, stressed
from archive.answers.wording import Wording, plain


def history(facts: ClaimFacts, words: Wording) -> DocumentSection:
    """Every test of the link, which one stands and why, and every event."""
    rows = [(t.standing, _test(t, words)) for t in facts.tests]
    head = [
        words(h) for h in ("tested", "kind", "limit, as found", "reported", "graded again", "evidence", "does it stand")
    ]
    weights = (0, 0, 1.5, 0, 0, 1.3, 2)
    blocks: list[Block] = [] if facts.standing else [Para(none_stands(facts, words))]
    blocks.append(stressed(head, rows, weights=weights))
    ids = [
        [
            words.day(t.record["tested_local"][:10] if t.record["tested_local"] else ""),
            t.record["record_id"],
            t.deposit,
            t.job,
        ]
        for t in facts.tests
    ]
    head = [words("tested"), words("record"), words("deposit"), words("job")]
    blocks.append(
        TableBlock(
            head, ids, weights=(1, 2.2, 1.4, 1), code=frozenset({1, 2}), caption=words("Their names in the archive")
        )
    )
    if facts.history:
        events = [
            [words.day(e["when"]), words.term(e["kind"]), words.told(plain(e["what"])), plain(e["by"])]
            for e in facts.history
        ]
        head = [words(h) for h in ("when", "event", "what", "by")]
        caption = words("Events of this link in the archive, newest first")
        blocks.append(TableBlock(head, events, caption=caption, weights=(0, 0, 3.4, 1.1)))
    return DocumentSection(words("Every test of this link"), blocks)


def _test(t: TestedRecord, words: Wording) -> list[str]:
    r, v = t.record, t.verdict()
    return [
        words.day(r["tested_local"], empty=words("not stated")),
        words.term(t.relation),
        plain(r["limit_found"]),
        words.verdict(r["reported_verdict"]) if r["reported_verdict"] else words("none"),
        words.verdict(v["verdict"]) if v else "",
        words.term(r["evidence"]),
        _state(t, words),
    ]


def _state(t: TestedRecord, words: Wording) -> str:
    if t.standing:
        return words("stands: {why}", why=words.reason(t.state))
    if t.accepted and t.job:
        return words("accepted in job {job}: {why}", job=t.job, why=words.reason(t.accepted))
    return words.reason(t.state)


def all_verdicts(facts: ClaimFacts, words: Wording) -> DocumentSection | None:
    """Every verdict on the record that the file is about."""
    if facts.standing is None:
        return None
    title = (
        words("Every verdict on the accepted record")
        if facts.role == "accepted"
        else words("Every verdict on the current record")
    )
    blocks: list[Block] = []
    if facts.counted is not None:
        counts = count_text.result(facts.counted, words)
        blocks.append(Para(words("In the counts of its job the link is: {outcome}.", outcome=counts)))
    return DocumentSection(title, [*blocks, verdict_table(facts.standing, words)])


def _leading(near: Mapping[str, Any], words: Wording) -> str:
    """The leading margin of a neighbour with its unit where that is not dB; empty where there is none."""
    if near["leading_parameter"] is None:
        return ""
    unit = vocabulary.parameter(near["leading_parameter"]).unit
    margin = words.margin(near["leading_margin"], unit)
    return margin if unit == "dB" else f"{margin}\u00a0{words.unit(unit)}"


def _units_and_crew(near: Mapping[str, Any], words: Wording) -> str:
    units = " ".join(dict.fromkeys(plain(near[k]) for k in ("local_serial", "remote_serial") if near[k]))
    crew = words("name taken out of the archive") if near["crew"] == "" else plain(near["crew"])
    return ", ".join(x for x in (units, words("its record could not be read") if near["unread"] else crew) if x)


def _cable_and_lot(near: Mapping[str, Any], words: Wording) -> str:
    lot = words("drum {lot}", lot=near["lot"]) if near["lot"] else ""
    return ", ".join(x for x in (plain(near["cable_found"]), lot) if x)


def neighbours(facts: ClaimFacts, words: Wording) -> DocumentSection | None:
    """Links of the same bundle or panel, for comparison; this link among them."""
    near = facts.neighbours
    if near is None:
        return None
    rows = [
        (
            n["link"] == facts.link,
            [
                plain(n["link"]),
                words.day((n["tested_local"] or "")[:10]),
                plain(n["limit_id"]),
                words.marked(n["verdict"], provisional=n["provisional"]),
                words.value(n["length_m"], "m"),
                _leading(n, words),
                words.parameter(n["leading_parameter"]) if n["leading_parameter"] else "",
                _units_and_crew(n, words),
                _cable_and_lot(n, words),
            ],
        )
        for n in near.rows
    ]
    nearness = {
        "bundle": words("Links of the same bundle, {name}, as the schedule has it", name=near.name),
        "panel": words("Links of the same panel, {name}", name=near.name),
        "order": words("Links of the same job; neither a bundle nor a panel is stated"),
    }[near.basis]
    intro = nearness + words(", those next to this one in the order of labels, from the records that stand.")
    head = [words(h) for h in ("link", "tested", "limit", "verdict")]
    head += [f"{words('length')}, {words.unit('m')}", words("leading margin"), words("of")]
    head += [words("units and crew"), words("cable and drum, as found")]
    table = stressed(head, rows, align="llllrrlll", weights=(1.1, 1.1, 1.7, 0, 0, 0.9, 0.9, 1.6, 1.3))
    return DocumentSection(words("Neighbours"), [Para(intro), table])
