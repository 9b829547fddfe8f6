"""What a translated document says of itself."""

from __future__ import annotations

from archive.answers.documents import Block, Para
from archive.answers.wording import Wording


def translation_note(words: Wording) -> list[Block]:
    """That the English text counts, and who looked the translation over; nothing in an English document."""
    if words.original:
        return []
    text = words(
        "The English text counts. This translation was not yet looked over by a native speaker. Reasons why something "
        "was set aside, and what this program has no translation of, stand in English."
    )
    return [Para(text, "small")]
