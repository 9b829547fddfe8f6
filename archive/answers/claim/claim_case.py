"""The case of a claim: taken from the ledger, and laid out step by step."""

from __future__ import annotations

from dataclasses import replace

from archive.answers.cases import CLOSE, DECIDE, NOTE, OPEN, one_case
from archive.answers.claim.claim_facts import ClaimFacts
from archive.answers.documents import DocumentSection, Para, TableBlock
from archive.answers.wording import Wording
from archive.errors import Trouble
from archive.store import Archive


def of_case(archive: Archive, facts: ClaimFacts, name: str) -> ClaimFacts:
    """The facts with their case. Errors: Trouble where there is none, or it is of another link."""
    case = one_case(archive, name)
    label = case.last("link_label")
    if label not in (None, facts.link, *facts.former_labels):
        raise Trouble(
            "this case is of another link",
            code="claim.case-of-another-link",
            where=facts.link,
            found=f"{case.name} is of {label}",
            expected=f"a case of {facts.link}",
        )
    return replace(facts, case=case)


def section(facts: ClaimFacts, words: Wording) -> DocumentSection | None:
    """Every step of the case; none where no case was named."""
    case = facts.case
    if case is None:
        return None
    actions = {OPEN: words("opened"), NOTE: words("noted"), DECIDE: words("decided"), CLOSE: words("closed")}
    decisions = {
        "accepted": words("accepted"),
        "rejected": words("rejected"),
        "settled": words("settled"),
        "withdrawn": words("withdrawn"),
    }
    rows = []
    for s in case.steps:
        said = s.said
        parts = [
            decisions.get(said.get("decision") or "", said.get("decision") or ""),
            said.get("text") or "",
            words("cause: {cause}", cause=said["cause"]) if said.get("cause") else "",
            words("cost: {cost} {currency}", cost=said["cost"], currency=said.get("currency") or "")
            if said.get("cost")
            else "",
        ]
        text = "; ".join(p for p in parts if p) if said else words("taken out of the archive")
        rows.append([words.day(said.get("day") or s.at[:10]), actions[s.action], text, str(s.number)])
    head = [words(h) for h in ("day", "step", "what", "ledger entry")]
    intro = words("Case {name}, as the ledger of the archive holds it.", name=case.name)
    return DocumentSection(
        words("The case"), [Para(intro), TableBlock(head, rows, weights=(1.1, 0, 4, 0), align="lllr")]
    )
