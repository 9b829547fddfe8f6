"""Whether a file is sealed and by what, as its own first page says it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from archive.answers.wording import Wording

WhyNot = Literal["", "not asked", "forbidden", "no right", "second copy", "no key", "damage"]


@dataclass(frozen=True)
class SealNote:
    """What a file can say of its own seal, which is made after its pages.

    entered: a ledger entry names the seal; key: id of the key that signs it, "" for none; why_not: why there is no
    ledger entry, "" where there is one.
    """

    entered: bool = False
    key: str = ""
    why_not: WhyNot = "not asked"

    @property
    def sealed(self) -> bool:
        """Whether anything but the file itself vouches for it."""
        return self.entered or bool(self.key)


def seal_line(note: SealNote, words: Wording) -> str:
    """One sentence for the first page."""
    because = {
        "": "",
        "not asked": words("no seal was asked for"),
        "forbidden": words("an entry in the ledger was not wanted"),
        "no right": words("whoever made it may not write in the archive"),
        "second copy": words("it was made from a second copy"),
        "no key": words("the key that signs could not be used"),
        "damage": words("the ledger of the archive could not be written"),
    }[note.why_not]
    if note.entered and note.key:
        return words(
            "Sealed: seal.json beside this file holds the digest of every part, is signed with key {key}, and stands "
            "in the ledger. muniment verify FOLDER checks it.",
            key=note.key,
        )
    if note.entered:
        return words(
            "Sealed: seal.json beside this file holds the digest of every part, and stands in the ledger. muniment "
            "verify FOLDER checks it, against a head of the ledger that you hold."
        )
    if note.key:
        return words(
            "Sealed: seal.json beside this file holds the digest of every part and is signed with key {key}. It "
            "stands in no ledger: {why}.",
            key=note.key,
            why=because,
        )
    return words(
        "Not sealed: {why}. Only the text of the record is proven; pages, figures and everything else in this folder "
        "are as trustworthy as whoever handed them over.",
        why=because,
    )
