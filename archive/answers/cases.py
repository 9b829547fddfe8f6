"""Cases beside other answers: of which links, in which words; what a person states of one, checked."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from archive.answers.link import ArchivedLink
from archive.errors import Trouble
from archive.store import Archive, clock
from archive.store.events.cases import CLOSE, DECIDE, NOTE, OPEN, Case, add_step, cases, one_case, open_case
from archive.store.ledger import LedgerEntry
from archive.store.ledger.entry import Sign


def begin(
    archive: Archive, link: ArchivedLink, said: dict[str, Any], *, by: str | None, reason: str | None, sign: Sign | None
) -> LedgerEntry:
    """Opens a case of a link, over the record that is shown of it. Errors: Trouble, as open_case."""
    place = {"link_label": link.label, "job_id": link.home["job_id"], "site": link.home["site"]}
    address = "" if link.standing is None else str(link.standing["address"])
    return open_case(archive, address, {**checked(said), **place}, by=by, reason=reason, sign=sign)


def go_on(
    archive: Archive,
    name: str,
    action: str,
    said: dict[str, Any],
    *,
    by: str | None,
    reason: str | None,
    sign: Sign | None,
) -> LedgerEntry:
    """Adds a step to a case. Errors: Trouble, as add_step."""
    return add_step(archive, one_case(archive, name), action, checked(said), by=by, reason=reason, sign=sign)


def checked(said: dict[str, Any]) -> dict[str, Any]:
    """What is stated of a step: a day that is one (by default today, in UTC), costs in figures with their currency.

    Errors: Trouble.
    """
    day = said.get("day") or clock.now().date().isoformat()
    try:
        day = date.fromisoformat(day).isoformat()
    except ValueError:
        raise Trouble(
            "not a date", code="case.not-a-day", where="--day", found=day, expected="such as 2026-05-03"
        ) from None
    if said.get("cost") is not None:
        try:
            cost = Decimal(said["cost"])
            sound = cost.is_finite() and cost >= 0
        except InvalidOperation:
            sound = False
        if not sound:
            raise Trouble(
                "costs are a number",
                code="case.not-a-cost",
                where="--cost",
                found=said["cost"],
                expected="such as 1250.00",
            )
        if not said.get("currency"):
            raise Trouble("costs in which currency?", code="case.no-currency", expected="--currency, such as EUR")
    return {**said, "day": day}


def names_by_link(archive: Archive, keys: Iterable[str | None]) -> dict[str, list[str]]:
    """Of links (records.link) the names of their cases."""
    found: dict[str, list[str]] = {}
    wanted = {k for k in keys if k}
    for c in cases(archive) if wanted else ():
        if c.key in wanted:
            found.setdefault(str(c.key), []).append(c.name)
    return found


def sentence(case: Case) -> str:
    """A case in one line."""
    parts = [
        f"{case.last('link_label') or 'link redacted'}, {case.state}",
        f"opened {case.day_of(OPEN)}",
        f"decided {case.day_of(DECIDE)}: {case.last('decision') or 'redacted'}" if case.day_of(DECIDE) else "",
        f"closed {case.day_of(CLOSE)}" if case.day_of(CLOSE) else "",
        f"cause: {case.last('cause')}" if case.last("cause") else "",
        f"cost: {case.last('cost')} {case.last('currency')}" if case.last("cost") else "",
    ]
    return f"{case.name}: {', '.join(p for p in parts if p)}"


def step_text(action: str, case: Case, number: int) -> str:
    """A step of a case in words, for the history of its link."""
    step = next(s for s in case.steps if s.number == number)
    verbs = {OPEN: "opened", NOTE: "noted", DECIDE: "decided", CLOSE: "closed"}
    said = step.said
    parts = [said.get("decision"), said.get("text"), f"cause: {said['cause']}" if said.get("cause") else None]
    parts += [f"cost: {said['cost']} {said.get('currency', '')}".strip() if said.get("cost") else None]
    texts = "; ".join(p for p in parts if p)
    if not said or (action in (OPEN, NOTE) and "text" not in said):  # these two cannot be made without one
        texts = "; ".join(p for p in (texts, "its text was redacted") if p)
    return f"case {case.name} {verbs[action]}" + (f": {texts}" if texts else "")


__all__ = [
    "CLOSE",
    "DECIDE",
    "NOTE",
    "OPEN",
    "Case",
    "begin",
    "cases",
    "checked",
    "go_on",
    "names_by_link",
    "one_case",
    "sentence",
    "step_text",
]
