"""A finding in the language of a document: the rule's own sentence, translated, with what was found filled in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from archive.answers.wording import Wording, plain
from archive.validation import catalogue


def finding_text(finding: Mapping[str, Any], words: Wording) -> str:
    """What was found. Where a rule of today tells it in another sentence than was stored, that stored one stands."""
    message = plain(finding.get("message"))
    declared = catalogue.rules().get(plain(finding.get("rule")))
    if declared is None:
        return message
    filled = {name: plain(finding.get(name)) for name in ("where", "found", "expected")}
    if declared.message.format(**filled) != message:
        return words.told(message)
    return words(declared.message, **{name: words.told(text) for name, text in filled.items()})


def remedy_text(finding: Mapping[str, Any], words: Wording) -> str:
    """What to do about it."""
    return words(plain(finding.get("remedy")))
