"""The first page: what was certified, what this program says of it, and everything that weakens it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from archive.answers.claim.facts import ClaimFacts, Tested
from archive.answers.documents import Block, Facts, Notice, Para, Section, Table
from archive.answers.wording import Wording, plain


def front(facts: ClaimFacts, words: Wording) -> Section:
    """The first section, without a heading of its own."""
    blocks: list[Block] = [Para(_lead(facts, words), role="lead")]
    gaps = gaps_of(facts, words)
    if gaps:
        blocks.append(Notice(words("Before you rely on this record"), gaps))
    else:
        blocks.append(
            Notice(words("No gap was found"), [words("No rule that could look found a fault in this record.")], "note")
        )
    blocks.append(Facts(identity(facts, words), columns=2))
    if facts.standing is not None:
        blocks.append(verdict_table(facts.standing, words))
    blocks.append(
        Para(
            words(
                "This file states facts and the limits of the evidence for them. It is no legal opinion and gives no "
                "verdict on who is liable."
            ),
            role="small",
        )
    )
    return Section("", blocks)


def _lead(facts: ClaimFacts, words: Wording) -> str:
    s = facts.standing
    if s is None:
        return words("No record stands for this link. {why}", why=facts.why)
    r = s.record
    when = words.day(r["tested_local"]) or words("an unknown day")
    v = s.verdict()
    reported = words.verdict(r["reported_verdict"]) if r["reported_verdict"] else words("no verdict")
    if v is None:
        return words(
            "Tested on {when}. The instrument reported: {reported}. It has not been graded again.",
            when=when,
            reported=reported,
        )
    return words(
        "Tested on {when} against {limit}. The instrument reported: {reported}. Graded again: {verdict}.",
        when=when,
        limit=v["limit_id"] or plain(r["limit_found"]) or words("an unknown limit"),
        reported=reported,
        verdict=words.verdict(v["verdict"]),
    )


def identity(facts: ClaimFacts, words: Wording) -> list[tuple[str, str]]:
    """Names and values that say which link this is."""
    r: Mapping[str, Any] = facts.standing.record if facts.standing else {}
    place = ", ".join(
        plain(facts.place.get(k)) for k in ("building", "floor", "space", "panel", "port") if facts.place.get(k)
    )
    length = None
    if facts.standing is not None:
        lengths = [x["value"] for x in facts.standing.rows("readings") if x["quantity"] == "length"]
        length = max((x for x in lengths if x is not None), default=None)
    rows = [
        (words("link"), facts.link),
        (words("job"), plain(facts.job.get("job_id"))),
        (words("site"), plain(facts.job.get("site") or facts.place.get("site"))),
        (words("place"), place),
        (words("cable, as found"), plain(r.get("cable_found"))),
        (words("cable, brand-neutral"), plain(r.get("cable_type"))),
        (words("longest pair"), words.length(length)),
        (words("evidence"), plain(r.get("evidence")).replace("-", " ")),
        (words("tested"), words.day(r.get("tested_local"))),
        (words("tested by"), facts.people.get(plain(r.get("operator_key")), words("not stated"))),
        (words("contractor"), plain(facts.job.get("contractor"))),
        (words("client"), plain(facts.job.get("client"))),
    ]
    return [(name, value) for name, value in rows if value]


def verdict_table(tested: Tested, words: Wording) -> Table:
    """Every verdict on one record: the instrument's, and one row per limit it was graded against."""
    r = tested.record
    rows = [
        [
            words("the instrument"),
            plain(r["limit_found"]),
            words.verdict(r["reported_verdict"]) if r["reported_verdict"] else words("none"),
            words("marginal, as it marked it") if r["reported_marginal"] else "",
            "",
        ]
    ]
    for v in tested.rows("verdicts"):
        notes = [plain(v["reason"])]
        if v["marginal"]:
            notes.append(words("marginal ({basis})", basis=plain(v["marginal_basis"])))
        if v["provisional"]:
            notes.append(words("provisional: limit from memory, to be verified against the standard"))
        if v["confirmed_by"]:
            notes.append(words("limit confirmed: {who}", who=v["confirmed_by"]))
        if v["within_resolution"]:
            notes.append(words("the margin is within the resolution of the export"))
        if v["agrees"] is False:
            notes.append(words("disagrees with the instrument"))
        rows.append(
            [
                words("this program"),
                plain(v["limit_id"]) or words("unknown"),
                words.verdict(v["verdict"]),
                "; ".join(n for n in notes if n),
                worst_text(v, words),
            ]
        )
    return Table(
        [words("said by"), words("limit"), words("verdict"), words("with this said"), words("smallest margin")],
        rows,
        align="lllll",
        weights=(1.0, 1.9, 0.8, 2.2, 1.7),
    )


def worst_text(v: Mapping[str, Any], words: Wording) -> str:
    """The worst point of a verdict in one line."""
    from archive import vocabulary
    from archive.answers.wording import value_text

    if v["margin"] is None or v["parameter"] is None:
        return ""
    p = vocabulary.parameter(v["parameter"])
    parts = [f"{value_text(words, v['margin'], p.unit)} {p.unit}", p.name, plain(v["pairing"]), plain(v["end"])]
    if v["frequency_mhz"] is not None:
        parts.append(words.free(v["frequency_mhz"]) + " MHz")
    return ", ".join(x for x in parts if x)


def gaps_of(facts: ClaimFacts, words: Wording) -> Sequence[str]:
    """Everything a reader must know before relying on the record; on the first page, never in an annex."""
    s = facts.standing
    out: list[str] = []
    if s is None:
        out.append(facts.why or words("no record stands"))
    else:
        out.extend(_record_gaps(s, facts, words))
    conflicts = [t for t in facts.tests if t.relation == "conflict"]
    if conflicts:
        out.append(
            words(
                "Records of this link in conflict: {count}; none of them stands until somebody decides.",
                count=len(conflicts),
            )
        )
    failed = [t for t in facts.tests if (v := t.verdict()) is not None and v["verdict"] == "fail" and not t.standing]
    if failed:
        out.append(words("Other tests of this link that fail: {count}; they are listed below.", count=len(failed)))
    return out


def _record_gaps(s: Tested, facts: ClaimFacts, words: Wording) -> list[str]:
    r = s.record
    out: list[str] = []
    if r["evidence"] == "worst-points":
        out.append(words("Partial evidence: only worst cases came along, no curves."))
    if r["evidence"] == "verdict-only":
        out.append(words("Partial evidence: only a verdict came along, no measurement."))
    verdicts = s.rows("verdicts")
    if not verdicts:
        out.append(words("The record has not been graded again."))
    for v in verdicts:
        limit = plain(v["limit_id"]) or plain(v["limit_found"]) or words("no limit")
        if v["verdict"] == "fail":
            out.append(words("Fails {limit}: {worst}.", limit=limit, worst=worst_text(v, words)))
        elif v["verdict"] == "not graded":
            out.append(words("Not graded against {limit}: {reason}.", limit=limit, reason=plain(v["reason"])))
        if v["agrees"] is False:
            out.append(
                words("The verdict of this program and that of the instrument disagree under {limit}.", limit=limit)
            )
        if v["provisional"]:
            out.append(
                words("Provisional under {limit}: limit from memory, to be verified against the standard.", limit=limit)
            )
        if v["marginal"]:
            out.append(words("Marginal under {limit} ({basis}).", limit=limit, basis=plain(v["marginal_basis"])))
    if not r["tested_local"]:
        out.append(words("The record does not say when it was tested."))
    elif r["tested_at"] is None:
        out.append(words("No time zone is stated for the test; its time is local time as found."))
    if not r["operator_key"]:
        out.append(words("The record does not say who tested."))
    out.extend(_instrument_gaps(s, facts, words))
    errors = [f for f in s.rows("findings") if f["severity"] == "error" and f["status"] == "raised"]
    out.extend(words("Finding: {message}", message=f["message"]) for f in errors[:6])
    if len(errors) > 6:
        out.append(words("And {count} more findings of the same weight, listed below.", count=len(errors) - 6))
    return out


def _instrument_gaps(s: Tested, facts: ClaimFacts, words: Wording) -> list[str]:
    r = s.record
    out: list[str] = []
    units = {u["instrument_id"]: u for u in s.rows("instruments")}
    for key, name in (("local_instrument_id", words("local")), ("remote_instrument_id", words("remote"))):
        unit = units.get(r[key])
        if unit is None:
            if r["medium"] != "fiber" or key == "local_instrument_id":
                out.append(words("The record names no instrument at the {end} end.", end=name))
            continue
        serial = plain(unit["serial"]) or words("without serial number")
        filed = any(d.get("serial") == unit["serial"] and d.get("kind") == "certificate" for d in facts.documents)
        due = unit["calibration_due"]
        if not unit["calibrated_on"] and not due and not filed:
            out.append(words("No calibration is stated or filed for unit {serial}.", serial=serial))
        elif due and r["tested_local"] and r["tested_local"][:10] > due[:10]:
            out.append(
                words("Unit {serial} was out of calibration on the day: due {due}.", serial=serial, due=words.day(due))
            )
    return out
