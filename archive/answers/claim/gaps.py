"""Everything that a reader must know before relying on a record. It stands on the first page, never in an annex."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from archive.answers.claim.claim_facts import ASSESSMENT, DEPOSIT, NOW, ClaimFacts, StatedVerdict, TestedRecord
from archive.answers.claim.none_stands import none_stands
from archive.answers.claim.optical_evidence import agreement, compared
from archive.answers.claim.original_words import original_gap
from archive.answers.claim.timing import contradictions
from archive.answers.claim.verdicts import figures_that_differ, leading_text, names_of, provisional, reported_failures
from archive.answers.finding_text import finding_text
from archive.answers.wording import Wording, plain
from archive.grading.fiber import BOTH_ENDS, BOTH_WAYS
from archive.grading.graded_columns import REMEMBERED as FROM_MEMORY

_MOST = 6
_NOT_OF_ITS_OWN = frozenset(
    {"optical-fibers-with-equal-numbers", "optical-losses-under-two-links", "traces-of-both-ends-differ"}
)
"""Warnings that whoever relies on a record must know first: its numbers may be those of another fiber."""
_SAID = frozenset(
    {
        "verdict-contradicts-ours",
        "limit-not-resolved",
        "limit-missing",
        "calibration-missing",
        "calibration-expired",
        "instrument-missing",
        "remote-instrument-missing",
        "operator-missing",
        "date-missing",
        "zone-missing",
        "sweeps-missing",
    }
)
"""Rules whose findings a sentence of this page says already."""


def gaps(facts: ClaimFacts, words: Wording) -> list[str]:
    """One sentence per gap, the gravest first."""
    s = facts.standing
    found: list[str] = []
    if s is None:
        found.append(none_stands(facts, words))
    else:
        found += [*_evidence(s, words), *_verdicts(s, words), *_changed(s, words)]
        found += agreement([seen for seen in compared(facts) if seen.off], words)
    found += [*_terms(facts, words), *contradictions(facts, words)]
    found += _link(facts, words)
    found += [words("Of the ledger: {what}.", what=words.told(caution)) for caution in facts.cautions]
    if s is not None:
        found += [*_instruments(s, facts, words), *_findings(s, facts, words), *_identity(s, words)]
    return found


def _evidence(s: TestedRecord, words: Wording) -> Iterator[str]:
    if s.record["evidence"] == "worst-points":
        yield words("Partial evidence: only worst cases came along, no curves.")
    if s.record["evidence"] == "verdict-only":
        yield words("Partial evidence: only a verdict came along, no measurement.")
    if s.record["evidence"] == "optical-trace":
        yield words("Partial evidence: optical traces alone, no loss test.")
    lacking = original_gap(s.original, words)
    if lacking is not None:
        yield lacking


def _terms(facts: ClaimFacts, words: Wording) -> Iterator[str]:
    """Terms of the job that the record does not keep."""
    if facts.required_kept is False:
        yield words(
            "The job requires {required}; the record was tested to {limit}.",
            required=plain(facts.job.get("required_limit")),
            limit=plain(facts.standing.record["limit_found"]) if facts.standing else "",
        )


def _verdicts(s: TestedRecord, words: Wording) -> Iterator[str]:
    archived = [x for x in s.stated if x.kind == DEPOSIT]
    theirs = reported_failures(s, words) if s.record["reported_verdict"] == "fail" else ""
    if theirs:
        yield words("The instrument says fail, and its reason by the margins it reported is {what}.", what=theirs)
    if not archived:
        yield words("The record has not been graded again.")
    for stated in archived:
        v = stated.verdict
        limit = plain(v["limit_id"]) or plain(v["limit_found"]) or words("no limit")
        if v["verdict"] == "fail":
            yield words(
                "Fails {limit}: {worst}.", limit=limit, worst=leading_text(v, words) or words.told(plain(v["reason"]))
            )
        elif v["verdict"] == "not graded":
            yield words("Not graded against {limit}: {reason}.", limit=limit, reason=words.told(plain(v["reason"])))
        if any(mark in (v["reason"] or "") for mark in (BOTH_ENDS, BOTH_WAYS)):
            yield words(
                "The verdict under {limit} rests on a second record too, that of the other end; without it this record "
                "stands for one direction alone.",
                limit=limit,
            )
        if v["agrees"] is False and s.record["reported_verdict"] == v["verdict"]:
            yield words(
                "The instrument and this program come to the same verdict under {limit}, {verdict}; their figures "
                "differ: {what}.",
                limit=limit,
                verdict=words.verdict(v["verdict"]),
                what=figures_that_differ(s, v["limit_id"], words),
            )
        elif v["agrees"] is False:
            yield words(
                "This program and the instrument disagree under {limit}: the instrument said {theirs}, this program "
                "says {ours}.",
                limit=limit,
                theirs=words.verdict(s.record["reported_verdict"]),
                ours=words.verdict(v["verdict"]),
            )
        if v["within_resolution"]:
            yield words(
                "The deciding margin under {limit} is smaller than half a step of the export's numbers: neither pass "
                "nor fail is certain.",
                limit=limit,
            )
        if v["marginal"]:
            yield words("Marginal under {limit}: {basis}.", limit=limit, basis=words.told(plain(v["marginal_basis"])))
        if v["provisional"]:
            yield from _provisional(stated, limit, words)


def _provisional(stated: StatedVerdict, limit: str, words: Wording) -> Iterator[str]:
    because: dict[str, list[Mapping[str, Any]]] = {}
    for grade in stated.grades:
        if grade["provisional"]:
            for reason in (grade.get("provisional_because") or FROM_MEMORY).split("; "):
                because.setdefault(reason, []).append(grade)
    for reason, grades in because.items() or [(FROM_MEMORY, [])]:
        names = names_of(provisional(grades), words) or words("some parameters")
        if reason == FROM_MEMORY:
            yield words(
                "Provisional under {limit}: the limit lines of {names} are known to this program only from memory, to "
                "be verified against the standard.",
                limit=limit,
                names=names,
            )
        else:
            yield words(
                "Provisional under {limit}, for {names}: {reason}.", limit=limit, names=names, reason=words.told(reason)
            )


def _changed(s: TestedRecord, words: Wording) -> Iterator[str]:
    """Verdicts that are not what was archived with the record."""
    first = next((x for x in s.stated if x.kind == DEPOSIT), None)
    for x in s.stated:
        if first is None or x.kind == DEPOSIT or x.verdict["verdict"] == first.verdict["verdict"]:
            continue
        filled = {"limit": plain(x.verdict["limit_id"]), "verdict": words.verdict(x.verdict["verdict"])}
        why = (
            leading_text(x.verdict, words) if x.verdict["verdict"] == "fail" else words.told(plain(x.verdict["reason"]))
        )
        tail = f" ({why})" if why else ""
        if x.kind == ASSESSMENT:
            day = words.day(x.when[:10])
            yield words("Graded again on {when} against {limit}: {verdict}", when=day, **filled) + tail + "."
        elif x.kind == NOW:
            yield (
                words("The limits that this program holds today give another verdict: {verdict}", **filled) + tail + "."
            )
        else:
            yield words("Today's edition, {limit}, gives another verdict: {verdict}", **filled) + tail + "."


def _link(facts: ClaimFacts, words: Wording) -> Iterator[str]:
    """What the archive holds about the link besides the record that stands."""
    conflicts = [t for t in facts.tests if t.relation == "conflict" or t.state.startswith("in conflict")]
    if conflicts:
        yield words(
            "Records of one test with different values: {count}. None of them stands until somebody decides which is "
            "right.",
            count=len(conflicts),
        )
    for c in facts.around.copies:
        filled = {"link": c.link, "when": words.day(c.tested) or words("an unknown day"), "record": c.record}
        if c.of == "this link's":
            yield words(
                "The curves of this link are those of {link}, tested {when} (record {record}), number for number.",
                **filled,
            )
        else:
            yield words(
                "The same curves stand under {link} too, tested {when} (record {record}), number for number.", **filled
            )
    withdrawn = [t for t in facts.tests if t.state == "withdrawn"]
    if withdrawn:
        yield words("Withdrawn records of this link: {count}; they are listed below.", count=len(withdrawn))
    relabelled = [t for t in facts.tests if t.relation == "relabelled"]
    if relabelled:
        yield words("A test of this link was also deposited under another label: {count}.", count=len(relabelled))
    if facts.around.look_alikes:
        names = words.some(facts.around.look_alikes)
        yield words("Other links of the job have labels that are easily taken for this one: {names}.", names=names)
    failed = [t for t in facts.tests if (v := t.verdict()) is not None and v["verdict"] == "fail" and not t.standing]
    if failed:
        yield words("Other tests of this link that fail: {count}; they are listed below.", count=len(failed))
    for x in facts.around.set_aside[:_MOST]:
        place = ", ".join(t for t in (plain(x["path"]), plain(x["place"])) if t)
        yield words("Set aside and never read: {place}: {reason}.", place=place, reason=plain(x["reason"]))
    if facts.around.held:
        yield words("The job is on legal hold.")


def _instruments(s: TestedRecord, facts: ClaimFacts, words: Wording) -> Iterator[str]:
    r = s.record
    needed = ("local",) if r["medium"] == "fiber" else ("local", "remote")
    silent = [words.end(end) for end in needed if s.units[end] is None]
    for unit in filter(None, s.units.values()):
        serial = plain(unit["serial"]) or words("without serial number")
        due = unit["calibration_due"]
        if not unit["calibrated_on"] and not due and not certified(unit["serial"], facts):
            yield words("No calibration is stated or filed for unit {serial}.", serial=serial)
        elif due and r["tested_local"] and r["tested_local"][:10] > due[:10]:
            yield words(
                "The calibration of unit {serial} had run out on the day of the test: due {due}.",
                serial=serial,
                due=words.day(due),
            )
    if silent:
        yield words("The record names no instrument for: {ends}.", ends=", ".join(silent))
    if r["medium"] == "fiber" and not r["reference_method"] and r["evidence"] != "optical-trace":
        yield words("The record does not say how the optical reference was set.")


def certified(serial: str | None, facts: ClaimFacts) -> bool:
    """Whether a certificate is filed for a unit."""
    return any(serial and d.get("serial") == serial and d.get("kind") == "certificate" for d in facts.documents)


def _findings(s: TestedRecord, facts: ClaimFacts, words: Wording) -> Iterator[str]:
    # What the verdict already says is not said twice.
    rows = [f for f in [*s.rows("findings"), *facts.around.findings] if f["rule"] not in _SAID]
    raised = [f for f in rows if f["status"] == "raised"]
    errors = [f for f in raised if f["severity"] == "error" or f["rule"] in _NOT_OF_ITS_OWN]
    by_rule: dict[str, list[str]] = {}
    for f in errors:
        by_rule.setdefault(f["rule"], []).append(finding_text(f, words))
    for messages in list(by_rule.values())[:_MOST]:
        more = " " + words("More of this kind: {count}.", count=len(messages) - 1) if len(messages) > 1 else ""
        yield words("Finding: {message}", message=_sentence(messages[0])) + more
    if len(by_rule) > _MOST:
        yield words("More findings of the same weight: {count}; they are listed below.", count=len(by_rule) - _MOST)


def _identity(s: TestedRecord, words: Wording) -> Iterator[str]:
    r = s.record
    if not r["tested_local"]:
        yield words("The record does not say when it was tested.")
    elif r["tested_at"] is None:
        yield words("No time zone is stated for the test; its time is local time as found.")
    if s.operator is None:
        yield words("The record does not say who tested.")
    elif not s.operator:
        yield words("The name of who tested was taken out of the archive.")


def _sentence(text: str) -> str:
    """A text with a full stop, and none where there is no text."""
    text = text.strip()
    return text if not text or text[-1] in ".!?" else text + "."
