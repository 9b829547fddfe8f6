"""Page 1 in six lines: what is claimed, whether in time, what was certified, what was found now, proven since when, and
what the evidence cannot show."""

from __future__ import annotations

from archive.answers.claim import applications
from archive.answers.claim.claim_facts import ClaimFacts, Proven, TestedRecord, letters
from archive.answers.claim.compare import conflict_sentence
from archive.answers.claim.none_stands import none_stands
from archive.answers.claim.stated import not_measured
from archive.answers.claim.timing import in_time, span_line, span_text
from archive.answers.documents import FactsBlock
from archive.answers.wording import Wording, plain


def summary(facts: ClaimFacts, words: Wording) -> FactsBlock:
    """The lines, each with its name."""
    rows = [
        (words("Claimed"), " ".join(_claimed(facts, words))),
        (words("In time?"), " ".join([*_warranty(facts, words), *in_time(facts, words)])),
        (words("Certified"), " ".join(_certified(facts, words))),
        (words("Found now"), " ".join(_now(facts, words))),
        (words("Proven since"), " ".join(_proven(facts, words))),
        (words("Not shown"), " ".join(_not_shown(facts, words))),
    ]
    return FactsBlock(rows)


def _claimed(facts: ClaimFacts, words: Wording) -> list[str]:
    c, case = facts.stated, facts.case
    told = []
    symptom = c.symptom or (case.complaint if case else None)
    if symptom:
        told.append(words("“{symptom}”", symptom=symptom) + ("" if symptom[-1] in ".!?" else "."))
    if c.application:
        told.append(words("Application: {name}.", name=c.application) + _carries(facts, words))
    who = [
        (c.number, words("Claim {number}.", number=c.number)),
        (case and case.name != c.number, words("Case {name}.", name=case.name if case else "")),
        (c.claimant, words("By {name}.", name=c.claimant)),
        (facts.reason, words("Reason for this file: {reason}.", reason=facts.reason.rstrip("."))),
    ]
    told += [text for there, text in who if there]
    return told or [words("No facts of a claim were given for this file.")]


def _carries(facts: ClaimFacts, words: Wording) -> str:
    """Whether the record that is shown supports the application of the claim."""
    v = applications.of_claim(facts)
    if v is None:
        return ""
    verdict = words.marked(v["verdict"], provisional=v["provisional"])
    return " " + words("The accepted record against its link segment: {verdict}.", verdict=verdict)


def _warranty(facts: ClaimFacts, words: Wording) -> list[str]:
    w = facts.stated.warranty
    line = span_line(facts, words)
    names = ", ".join(x for x in (w.number, w.kind, w.issuer) if x)
    told = [words("Warranty {span}.", span=line)] if line else []
    return ([words("Warranty: {names}.", names=names)] if names else []) + told


def _certified(facts: ClaimFacts, words: Wording) -> list[str]:
    s = facts.standing
    if s is None:
        told = [words("No record stands for this link."), none_stands(facts, words), conflict_sentence(facts, words)]
        return [text for text in told if text]
    when, why = words.day(s.record["tested_local"]) or words("an unknown day"), words.reason(s.state)
    first = (
        words("Accepted record, tested {when} ({why}).", when=when, why=why)
        if facts.role == "accepted"
        else words("No record is accepted; the current one was tested {when} ({why}).", when=when, why=why)
    )
    told = [first, verdict_line(s, words)]
    required = plain(facts.job.get("required_limit"))
    if facts.required_kept is False:
        told.append(words("The job requires another limit: {limit}.", limit=required))
    beside = [t for t in facts.tests if not t.standing and _is_trace(t) and not _is_trace(s)]
    told += _beside(beside, words)
    elsewhere = [t for t in facts.tests if t.accepted and not t.standing and t.job != s.job and t.job]
    told += [_elsewhere(t, words) for t in elsewhere]
    told_of = (*beside, *elsewhere)
    later = [t for t in facts.tests if not t.standing and _after(t, s) and not any(t is x for x in told_of)]
    if later:
        told += [_later(t, words) for t in later[:3]]
        told += [words("Further later tests: {count}.", count=len(later) - 3)] if len(later) > 3 else []
    return told


def _not_shown(facts: ClaimFacts, words: Wording) -> list[str]:
    """What no record can show, and what this one holds no measurement of."""
    unmeasured = not_measured(facts, words)
    told = words("Not measured, as far as the record shows: {names}.", names=", ".join(unmeasured))
    beyond = words(
        "Whether the link measured was the link named, whether the instrument was connected as the standard asks, and "
        "how the link is today."
    )
    return [beyond, *([told] if unmeasured else [])]


def _is_trace(t: TestedRecord) -> bool:
    return bool(t.record["evidence"] == "optical-trace")


def _beside(traces: list[TestedRecord], words: Wording) -> list[str]:
    """What the traces of a link come to, which stand beside its loss test; empty without any."""
    said = [v["verdict"] if (v := t.verdict()) else "not graded" for t in traces]
    if not said:
        return []
    return [
        words(
            "Optical traces beside this loss test: {fails} fail, {passes} pass, {others} not graded.",
            fails=said.count("fail"),
            passes=said.count("pass"),
            others=len(said) - said.count("fail") - said.count("pass"),
        )
    ]


def _after(t: TestedRecord, s: TestedRecord) -> bool:
    return (t.record["tested_local"] or "") > (s.record["tested_local"] or "")


def _elsewhere(t: TestedRecord, words: Wording) -> str:
    """What the accepted record of another job comes to: a claim under that job is another claim."""
    v = t.verdict()
    return words(
        "Also accepted in job {job}, tested {when}: {verdict}; --job {job} makes the file of that job.",
        job=t.job,
        when=words.day((t.record["tested_local"] or "")[:10]) or words("an unknown day"),
        verdict=words.verdict(v["verdict"] if v else None),
    )


def _later(t: TestedRecord, words: Wording) -> str:
    v = t.verdict()
    return words(
        "Later tested in job {job} on {when}: {verdict}.",
        job=t.job or words("not stated"),
        when=words.day((t.record["tested_local"] or "")[:10]) or words("an unknown day"),
        verdict=words.verdict(v["verdict"] if v else None),
    )


def verdict_line(t: TestedRecord, words: Wording) -> str:
    """What the instrument and this program say of a test, in a few words; the boxes beneath say more."""
    v = t.verdict()
    reported = t.record["reported_verdict"]
    theirs = words.verdict(reported) if reported else words("no verdict")
    if v is None:
        return words("Instrument: {theirs}.", theirs=theirs)
    ours = words.marked(v["verdict"], marginal=v["marginal"], provisional=v["provisional"])
    return words("Instrument: {theirs}; this program: {ours}.", theirs=theirs, ours=ours)


def _now(facts: ClaimFacts, words: Wording) -> list[str]:
    new = facts.retest
    if new is None:
        return [words("No fresh test came with this file.")]
    when = words.day(new.record["tested_local"]) or words("an unknown day")
    return [words("Fresh test of {when}.", when=when), verdict_line(new, words)]


def _proven(facts: ClaimFacts, words: Wording) -> list[str]:
    s, p = facts.standing, facts.proven
    if s is not None and p is not None:
        told = _since(s, p, words)
    elif facts.disputed:
        named = zip(letters(facts), facts.disputed, strict=False)
        told = [f"{name}: {text}" for (name, t), proven in named for text in [" ".join(_since(t, proven.since, words))]]
    else:
        return [words("No record stands, so none is proven here.")]
    return [*told, words("Of the time before that day the record itself is the only evidence.")]


def _since(t: TestedRecord, p: Proven, words: Wording) -> list[str]:
    """Since when the ledger holds a record, and who vouches for that."""
    tested = (t.record["tested_local"] or "")[:10]
    told = [
        words(
            "Archived {when} (UTC, by the clock of the machine that archived it), {span} after the test.",
            when=words.day(p.archived),
            span=span_text(tested, p.archived, words),
        )
        if tested and tested <= p.archived[:10]
        else words("Archived {when} (UTC, by the clock of the machine that archived it).", when=words.day(p.archived))
    ]
    told.append(words("Signed with key {key}.", key=p.signed[:16]) if p.signed else words("Not signed."))
    told.append(
        words("Time stamped {day}.", day=words.day(min(p.stamped))) if p.stamped else words("No time stamp covers it.")
    )
    return told
