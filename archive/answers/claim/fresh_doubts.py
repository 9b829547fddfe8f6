"""What makes a fresh test doubtful as a test of the link that was certified. Facts alone; no guess why."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from archive import limits
from archive.answers.claim.claim_facts import ClaimFacts, TestedRecord
from archive.answers.claim.curve_figures import curves_of
from archive.answers.finding_text import finding_text
from archive.answers.wording import Wording, plain
from archive.vocabulary.cables import UNKNOWN

_SAID = frozenset({"verdict-contradicts-ours", "limit-not-resolved", "limit-missing", "zone-missing"})
"""Rules whose findings page 1 says in another place, or that say nothing of the link."""
_MOST = 5
_TELLING = ("next", "return_loss")
_LENGTH_M, _LENGTH_SHARE = 1.0, 0.05
"""Lengths differ where they do by both: another velocity factor set on the instrument explains less (common practice,
no source)."""


def fresh_doubts(facts: ClaimFacts, words: Wording) -> list[str]:
    """One sentence for each; none where there is no fresh test."""
    new, old = facts.retest, facts.standing
    if new is None:
        return []
    told = [*_label(new, facts, words), *_archived(facts, words), *_before_failure(new, facts, words)]
    if old is not None:
        told += [*_equal(old, new, words), *_otherwise(old, new, words)]
        if (new.record["tested_local"] or "9") <= (old.record["tested_local"] or ""):
            told.append(words("The fresh test is not later than the certified one."))
    told += _findings(new, words)
    return told


def _label(new: TestedRecord, facts: ClaimFacts, words: Wording) -> Iterator[str]:
    label = plain(new.record["link_label"])
    if label not in (facts.link, *facts.former_labels):
        yield words("The fresh test is of another label: {label}.", label=label or words("none"))


def _archived(facts: ClaimFacts, words: Wording) -> Iterator[str]:
    """Other records of the archive that it equals."""
    equal = facts.compared.equal
    for e in equal[:_MOST]:
        filled = {
            "link": e.link or words("no label"),
            "when": words.day(e.tested) or words("an unknown day"),
            "record": e.record,
        }
        if e.whole:
            yield words(
                "The archive holds this test already, digit for digit: {link}'s test of {when} (record {record}).",
                **filled,
            )
        else:
            yield words(
                "Its curves are digit for digit those of {link}'s test of {when} (record {record}).",
                **filled,
            )
    if len(equal) > _MOST:
        yield words("Further records of the archive that it equals so: {count}.", count=len(equal) - _MOST)


def _before_failure(new: TestedRecord, facts: ClaimFacts, words: Wording) -> Iterator[str]:
    """A test before the failure cannot show it."""
    tested, failed = (new.record["tested_local"] or "")[:10], facts.stated.failed_on
    if not tested:
        yield words("The fresh test does not say when it was made.")
    elif failed is not None and tested < failed.isoformat():
        yield words(
            "The fresh test, of {when}, is older than the failure, stated for {failed}.",
            when=words.day(tested),
            failed=words.day(failed.isoformat()),
        )


def _equal(old: TestedRecord, new: TestedRecord, words: Wording) -> Iterator[str]:
    """Curves that are those of the certified test. Short links share insertion loss honestly, so it never counts."""
    before, after = curves_of(old.batch), curves_of(new.batch)
    shared = equal = 0
    for parameter in _TELLING:
        for end, curves in before.get(parameter, {}).items():
            there = {c.label: c for c in after.get(parameter, {}).get(end, [])}
            for c in curves:
                if c.label in there:
                    shared += 1
                    other = there[c.label]
                    equal += np.array_equal(c.x, other.x) and np.array_equal(c.y, other.y)
    if equal:
        yield words(
            "Its curves are those of the certified test, number for number: {equal} of {shared} of near-end crosstalk "
            "and return loss. Two measurements never agree so.",
            equal=equal,
            shared=shared,
        )


def _otherwise(old: TestedRecord, new: TestedRecord, words: Wording) -> Iterator[str]:
    """Configuration, cable and length that are not those of the certified test."""
    configurations = [_configuration(t) for t in (old, new)]
    if all(configurations) and configurations[0] != configurations[1]:
        yield words(
            "It is of another configuration: {new}; the certified test is of {old}.",
            old=words.term(configurations[0]),
            new=words.term(configurations[1]),
        )
    types = [plain(t.record["cable_type"]) for t in (old, new)]
    known = all(t and t != UNKNOWN for t in types)
    if known and _differ(*types):
        yield words("It states another cable: {new}; the certified test states {old}.", old=types[0], new=types[1])
    lengths = [_length(t) for t in (old, new)]
    if lengths[0] is not None and lengths[1] is not None:
        change = abs(lengths[1] - lengths[0])
        if change > _LENGTH_M and change > _LENGTH_SHARE * lengths[0]:
            yield words(
                "Its longest pair is {new} long; that of the certified test {old}.",
                old=words.length(lengths[0]),
                new=words.length(lengths[1]),
            )


def _differ(one: str, other: str) -> bool:
    """Whether two cable types contradict each other in a part that both state."""
    return any(a != b and UNKNOWN not in (a, b) for a, b in zip(one.split("/"), other.split("/"), strict=False))


def _configuration(t: TestedRecord) -> str:
    """What was inside the test, as the record or else the limit that it names says."""
    if t.record["configuration"]:
        return str(t.record["configuration"])
    parts = (limits.find(t.record["limit_found"] or "").limit_id or "").split("/")
    return parts[2] if len(parts) == 3 else ""


def _length(t: TestedRecord) -> float | None:
    values = [r["value"] for r in t.rows("readings") if r["quantity"] == "length" and r["value"] is not None]
    return max(values, default=None)


def _findings(new: TestedRecord, words: Wording) -> Iterator[str]:
    """What the rules found on the fresh test, errors and lapsed or missing calibrations."""
    raised = [f for f in new.rows("findings") if f["status"] == "raised" and f["severity"] == "error"]
    by_rule: dict[str, list[str]] = {}
    for f in raised:
        if f["rule"] not in _SAID:
            by_rule.setdefault(f["rule"], []).append(finding_text(f, words))
    for rule, messages in by_rule.items():
        text = words("{rule}: {message}", rule=_upper(words.term(rule)), message=messages[0].rstrip("."))
        more = len(messages) - 1
        yield text + (words.counted(more, " (and {count} more)", " (and {count} more)") if more else "") + "."


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
