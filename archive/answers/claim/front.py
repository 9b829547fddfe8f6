"""The first page: what is claimed, certified and found, everything that weakens it, and what file this is."""

from __future__ import annotations

from archive.answers.claim.claim_facts import ClaimFacts, TestedRecord
from archive.answers.claim.fresh_doubts import fresh_doubts
from archive.answers.claim.gaps import gaps
from archive.answers.claim.summary import summary
from archive.answers.claim.verdicts import opinions
from archive.answers.documents import Block, DocumentSection, FactsBlock, Notice, Para
from archive.answers.sealing.seal_note import seal_line
from archive.answers.translated import translation_note
from archive.answers.wording import Wording, plain


def front(facts: ClaimFacts, words: Wording) -> DocumentSection:
    """The first section, without a heading of its own."""
    blocks: list[Block] = translation_note(words)
    doubts = fresh_doubts(facts, words)
    if doubts:
        blocks.append(Notice(words("What makes the fresh test doubtful"), doubts))
    blocks.append(summary(facts, words))
    side_by_side = opinions(facts, words)
    if side_by_side is not None:
        blocks.append(side_by_side)
    known = gaps(facts, words)
    if known:
        blocks.append(Notice(words("Before you rely on this record"), known))
    else:
        found = words("No rule that could look found a fault in this record.")
        blocks.append(Notice(words("No gap was found"), [found], "note"))
    blocks.append(FactsBlock([*identity(facts, words), *this_file(facts, words)], columns=2))
    blocks.append(Para(seal_line(facts.seal, words), role="small"))
    blocks.append(
        Para(
            words(
                "This file states facts and the limits of the evidence for them. It is no legal opinion and gives no "
                "verdict on who is liable. It may be reproduced only as a whole."
            ),
            role="small",
        )
    )
    return DocumentSection("", blocks)


def identity(facts: ClaimFacts, words: Wording) -> list[tuple[str, str]]:
    """Names and values that say which link this is, beyond what the title says."""
    s = facts.standing
    r = s.record if s else {}
    names = [words(k) for k in ("building", "floor", "space", "panel", "port")]
    columns = ("building", "floor", "space", "panel", "port")
    place = ", ".join(f"{n} {facts.place[c]}" for n, c in zip(names, columns, strict=True) if facts.place.get(c))
    operator = s.operator if s else None
    tester = words("name taken out of the archive") if operator == "" else operator or words("not stated")
    rows = [
        (words("former labels"), ", ".join(facts.former_labels)),
        (words("place"), place),
        (words("cable, as found"), plain(r.get("cable_found"))),
        (words("drum or lot"), plain(r.get("cable_lot"))),
        (words("cable type"), _cable(s, words)),
        (words("longest fibre") if r.get("medium") == "fiber" else words("longest pair"), _length(facts, words)),
        (words("evidence"), words.term(r.get("evidence"))),
        (words("tested by"), tester if s else ""),
        (words("contractor"), plain(facts.job.get("contractor"))),
        (words("client"), plain(facts.job.get("client"))),
    ]
    return [(name, value) for name, value in rows if value]


def this_file(facts: ClaimFacts, words: Wording) -> list[tuple[str, str]]:
    """The number of the file, who makes it for whom, when, and by which clock."""
    c = facts.stated
    zone = plain(facts.job.get("zone")) or words("no zone stated")
    rows = [
        (words("number of this file"), facts.number),
        (words("made"), words("{when} UTC, by this machine's clock", when=words.day(facts.made[:16]))),
        (words("looked at as of"), words.day(facts.on)),
        (words("times"), words("of tests local ({zone}), of the archive UTC", zone=zone)),
        (words("made by"), c.maker or facts.issued_by or words("not stated")),
        (words("made for"), c.recipient or words("not stated")),
        (words("signature"), "\u00a0"),
    ]
    return [(name, value) for name, value in rows if value]


def _cable(tested: TestedRecord | None, words: Wording) -> str:
    """The type that counts, and what it rests on where that is not the record itself."""
    cable_type, basis = tested.cable if tested else (None, None)
    if cable_type is None:
        return ""
    said = {
        "settled": words("settled for these words in this archive"),
        "job": words("stated for the job"),
        "amended": words("corrected for this record"),
    }.get(basis or "")
    return f"{cable_type} ({said})" if said else cable_type


def _length(facts: ClaimFacts, words: Wording) -> str:
    rows = facts.standing.rows("readings") if facts.standing else []
    lengths = [x["value"] for x in rows if x["quantity"] == "length" and x["value"] is not None]
    return words.length(max(lengths, default=None))
