"""What a claim file says where no record of its link has the role that it asks for."""

from __future__ import annotations

from archive.answers.claim.claim_facts import ClaimFacts
from archive.answers.wording import Wording


def none_stands(facts: ClaimFacts, words: Wording) -> str:
    """That none has, and why each does not."""
    why = "; ".join(words.reason(r) for r in facts.reasons)
    if facts.role == "accepted":
        return words("No record of {link} is accepted: {why}.", link=facts.link, why=why)
    return words("No record of {link} is current: {why}.", link=facts.link, why=why)
