"""Whether a claim is in time: the warranty, the days of failure, notice and fresh test, and spans between them."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from archive.answers.claim.claim_facts import ClaimFacts
from archive.answers.wording import Wording


class WarrantySpan(NamedTuple):
    """First and last day, ISO 8601, "" where it is not stated. by_claim: the claim states it, and the job does not."""

    first: str
    last: str
    by_claim: bool = False


def warranty_span(facts: ClaimFacts) -> WarrantySpan:
    """The warranty as the archive holds it for the job; where that states no day, as the claim states it."""
    first, last = (str(facts.job.get(k) or "")[:10] for k in ("warranty_start", "warranty_end"))
    if first or last:
        return WarrantySpan(first, last)
    stated = facts.stated.warranty
    if stated.first_day or stated.last_day:
        return WarrantySpan(_iso(stated.first_day), _iso(stated.last_day), True)
    return WarrantySpan("", "")


def span_line(facts: ClaimFacts, words: Wording) -> str:
    """From when to when the warranty runs; empty where nothing is stated."""
    w = warranty_span(facts)
    if not w.first and not w.last:
        return ""
    if not w.last:
        text = words("from {start}, end not stated", start=words.day(w.first))
    elif not w.first:
        text = words("until {end}, begin not stated", end=words.day(w.last))
    else:
        text = words("from {start} until {end}", start=words.day(w.first), end=words.day(w.last))
    return text + (" " + words("(as the claim states it; the archive holds no such day)") if w.by_claim else "")


def in_time(facts: ClaimFacts, words: Wording) -> list[str]:
    """Where the days of the claim lie against the warranty, one sentence for each day that is known."""
    w, c = warranty_span(facts), facts.stated
    told = []
    if not w.first and not w.last:
        told.append(words("No day of the warranty is stated, so nobody can tell from this file whether it is in time."))
    fresh = facts.retest.record["tested_local"] if facts.retest is not None else None
    opened = facts.case.day_of("open") if facts.case is not None else None
    days = [(words("failure"), _iso(c.failed_on)), (words("notice"), _iso(c.notified_on))]
    if not any(day for _, day in days):
        told.append(words("Neither a day of failure nor a day of notice is stated."))
    days += [(words("case opened"), opened or ""), (words("fresh test"), str(fresh or "")[:10])]
    grouped: dict[str, list[str]] = {}
    for what, day in days:
        if day:
            named = words("{what} on {day}", what=what, day=words.day(day))
            grouped.setdefault(_against(day, w, words), []).append(named)
    told += [f"{_upper(words.listed(named))}{where}." for where, named in grouped.items()]
    if c.failed_on and c.notified_on:
        waited, allowed = (c.notified_on - c.failed_on).days, c.warranty.notice_within_days
        if allowed is not None:
            told.append(
                words(
                    "Notice came {span} after the failure; the terms as stated allow {allowed}.",
                    span=days_text(waited, words),
                    allowed=days_text(allowed, words),
                )
            )
    return told


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _against(day: str, w: WarrantySpan, words: Wording) -> str:
    """Where a day lies against the warranty, as the end of a sentence."""
    if not w.first and not w.last:
        return ""
    if w.first and day < w.first:
        return words(": {span} before the warranty begins", span=span_text(day, w.first, words))
    if not w.last:
        return words(": after the warranty began; its end is not stated")
    if day > w.last:
        return words(": {span} after the warranty ended", span=span_text(w.last, day, words))
    if not w.first:
        return words(": before the warranty ends; its begin is not stated")
    return words(": within the warranty")


def contradictions(facts: ClaimFacts, words: Wording) -> list[str]:
    """Where the claim states other days of the warranty than the archive holds for the job."""
    stated, told = facts.stated.warranty, []
    for key, day, what in (
        ("warranty_start", stated.first_day, words("begin")),
        ("warranty_end", stated.last_day, words("end")),
    ):
        held = str(facts.job.get(key) or "")[:10]
        if held and day and held != day.isoformat():
            told.append(
                words(
                    "The claim states another {what} of the warranty, {stated}, than the archive holds for the job, "
                    "{held}.",
                    what=what,
                    stated=words.day(day.isoformat()),
                    held=words.day(held),
                )
            )
    return told


def span_text(start: str, end: str, words: Wording) -> str:
    """Whole years and days from one day to a later one."""
    a, b = as_day(start), as_day(end)
    if a is None or b is None:
        return ""
    years = b.year - a.year
    while years and _plus(a, years) > b:
        years -= 1
    days = (b - _plus(a, years)).days
    if not years:
        return days_text(days, words)
    whole = words.counted(years, "{count} year", "{count} years")
    return words("{years} and {days}", years=whole, days=days_text(days, words)) if days else whole


def days_text(days: int, words: Wording) -> str:
    """A number of days: 1 day, 2 days."""
    return words.counted(days, "{count} day", "{count} days")


def as_day(text: str) -> date | None:
    """A day of an ISO 8601 text, None where it has none."""
    try:
        return date.fromisoformat(text[:10])
    except ValueError:
        return None


def _plus(day: date, years: int) -> date:
    """The same day some years later; 29 February becomes 1 March where there is none."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def _iso(day: date | None) -> str:
    return day.isoformat() if day else ""
